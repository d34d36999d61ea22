// The sheet: happenings above, a panel for each axis, the common time axis below, cursors across.

import { Across, Upright } from "./axes.js";
import { printed, quantity, time } from "./numbers.js";
import { draw as trace, range } from "./traces.js";

const HEAD = 17;
const GAP = 9;
/** Height of the time axis. */
export const FOOT = 40;
const LANE = 24;
const SMALL = 62;
/** Happenings whose lines are drawn; more would hide what happened. */
const EVENTS = 40;
/** Letters of a happening on the sheet. */
const LONGEST = 36;

/** Names above a panel, in as many rows as they need. */
function legend(surface, panel, nameOf, width, first) {
  const entries = [];
  let [row, x] = [first, 0];
  for (const signal of panel.signals) {
    const name = nameOf(signal);
    const needs = 30 + surface.measure(name, 12) + 14;
    if (x > 0 && x + needs > width) {
      row += 1;
      x = 0;
    }
    entries.push({ signal, name, row, x });
    x += needs;
  }
  return { entries, rows: row + 1 };
}

/** Where everything is above the time axis; as high as it must be, at least `height`. */
export function layout(surface, panels, view, width, height, nameOf) {
  const narrow = width < 560;
  const [left, right] = [narrow ? 46 : 62, width - (narrow ? 8 : 16)];
  const top = 47;
  // Names begin where the longest title of an axis ends, on a narrow sheet below it.
  const titles = panels.filter((panel) => !panel.logic).map((panel) => {
    const unit = printed(panel.unit);
    return surface.measure(unit ? `${quantity(panel.unit)} (${unit})` : quantity(panel.unit), 12, true);
  });
  const names = narrow ? left : 28 + Math.max(0, ...titles);
  const placed = panels.map((panel) => ({
    panel, names: panel.logic ? null : legend(surface, panel, nameOf, right - names, narrow ? 1 : 0),
  }));
  const heads = placed.reduce((sum, p) => sum + (p.names ? p.names.rows * HEAD : 0) + GAP, 0);
  const lanes = placed.filter((p) => p.panel.logic).reduce((sum, p) => sum + p.panel.signals.length * LANE, 0);
  const count = placed.filter((p) => !p.panel.logic).length;
  const rest = height - top - heads - lanes;
  const each = Math.max(narrow ? 96 : SMALL, count > 0 ? rest / count : 0);
  let y = top;
  for (const p of placed) {
    p.head = y;
    p.top = y + (p.names ? p.names.rows * HEAD : 0);
    p.bottom = p.top + (p.panel.logic ? p.panel.signals.length * LANE : each);
    y = p.bottom + GAP;
  }
  const bottom = placed.length > 0 ? y - GAP : height;
  return {
    placed, top, bottom, left, right, width, narrow, names, height: bottom,
    across: new Across(view.from, view.to, left, right),
  };
}

/** A line down through all panels, but not through the names between them. */
function down(surface, place, x, colour, width, dash) {
  for (const p of place.placed) {
    surface.line([x, p.top - 3, x, p.bottom + 1], colour, width, dash);
  }
}

/** A happening in few words. */
function called(event) {
  const text = event.kind === "event"
    ? event.note || event.subject
    : event.kind === event.subject ? event.kind : `${event.kind} ${event.subject}`;
  return text.length > LONGEST ? `${text.slice(0, LONGEST - 1)}…` : text;
}

function happenings(surface, place, look, events) {
  const { across, left, right } = place;
  const seen = events.filter((e) => e.at >= across.from && e.at <= across.to);
  const drawn = seen.length <= EVENTS ? seen : [];
  const free = [-Infinity, -Infinity];
  for (const event of drawn) {
    const x = across.x(event.at);
    down(surface, place, x, look.mark, 1, event.kind === "edge" ? [1, 3] : [3, 3]);
    const text = called(event);
    const wide = surface.measure(text, 11);
    const at = Math.min(x + 3, right - wide);
    // In the second row where the first is taken; where both are, the line must do.
    const row = free.findIndex((end) => at > end);
    if (row >= 0 && at >= left - 2) {
      surface.text(text, at, 12 + 13 * row, look.grey, { size: 11 });
      surface.line([x, 3 + 13 * row, x, 15 + 13 * row], look.mark);
      free[row] = at + wide + 8;
    }
  }
  if (drawn.length === 0 && seen.length > 0) {
    surface.text(`${seen.length} happenings here`, left, 13, look.grey, { size: 11 });
  }
}

function frame(surface, place, p, look, upright) {
  const { across, left, right } = place;
  for (const tick of across.ticks()) {
    const x = across.x(tick.at);
    surface.line([x, p.top, x, p.bottom], look.grid);
  }
  if (upright) {
    for (const tick of upright.ticks()) {
      const y = upright.y(tick.at);
      surface.line([left, y, right, y], tick.at === 0 ? look.axis : look.grid);
      surface.text(tick.label, left - 6, y + 4, look.grey, { anchor: "end", size: 11 });
    }
  }
  surface.line([left, p.top, left, p.bottom], look.axis);
  surface.line([left, p.bottom, right, p.bottom], look.axis);
}

const coloured = (pen, look) => ({ ...pen, colour: look.traces[pen.colour] });

function heading(surface, place, p, look, upright) {
  surface.text(upright.title(), place.narrow ? 4 : 8, p.head + 12, look.ink, { size: 12, bold: true });
  const begin = place.names;
  for (const { signal, name, row, x } of p.names.entries) {
    const y = p.head + row * HEAD + 8;
    const pen = coloured(signal.pen, look);
    surface.line([begin + x, y, begin + x + 26, y], pen.colour, 2, pen.dash);
    surface.text(name, begin + x + 30, y + 4, look.ink);
  }
}

function waves(surface, place, p, look, record, settings) {
  const { across, left, right } = place;
  let [low, high] = [Infinity, -Infinity];
  const parts = [];
  for (const signal of p.panel.signals) {
    const found = record.windowFor(signal, across.from, across.to);
    if (found) {
      parts.push([signal, found]);
    }
    const seen = settings.fit ? found && range(found, across.from, across.to) : [signal.min, signal.max];
    if (seen && Number.isFinite(seen[0]) && Number.isFinite(seen[1])) {
      low = Math.min(low, seen[0]);
      high = Math.max(high, seen[1]);
    }
  }
  // While a drag lasts the axes stay, so that the eye has something to hold.
  const held = settings.held?.get(p.panel.signals[0].id);
  const upright = held
    ? Object.assign(Object.create(Upright.prototype), held, { top: p.top, bottom: p.bottom })
    : new Upright(low, high, p.panel.unit, p.top, p.bottom);
  p.upright = upright;
  frame(surface, place, p, look, upright);
  heading(surface, place, p, look, upright);
  surface.within(left, p.top - 1, right - left, p.bottom - p.top + 2, () => {
    for (const [signal, found] of parts) {
      trace(surface, found, across, upright, coloured(signal.pen, look));
    }
  });
}

function lanes(surface, place, p, look, record) {
  const { across, left, right } = place;
  frame(surface, place, p, look, null);
  p.panel.signals.forEach((signal, k) => {
    const top = p.top + k * LANE;
    const upright = new Upright(0, 1, "", top + 6, top + LANE - 4);
    Object.assign(upright, { low: 0, high: 1 });
    const found = record.windowFor(signal, across.from, across.to);
    if (k > 0) {
      surface.line([left, top, right, top], look.grid);
    }
    surface.within(left, top, right - left, LANE, () => {
      if (found) {
        trace(surface, found, across, upright, { ...coloured(signal.pen, look), dash: [] });
      }
    });
    const name = record.nameOf(signal);
    // Names of lines stand on the sheet's ground, so that the trace does not run through them.
    const wide = surface.measure(name, 11);
    surface.box(left + 3, top + 4, wide + 8, 15, look.veil);
    surface.text(name, left + 7, top + 15, look.ink, { size: 11 });
    for (const [label, y] of [["1", top + 10], ["0", top + LANE - 2]]) {
      surface.text(label, left - 6, y, look.grey, { anchor: "end", size: 9 });
    }
  });
}

/** A cursor, with a dot where it meets each line that it reads. */
function cursor(surface, place, look, name, { time: at, settled, values }) {
  const x = place.across.x(at);
  if (x < place.left - 1 || x > place.right + 1) {
    return;
  }
  const colour = look.cursors[name];
  down(surface, place, x, colour, 1.4, name === "B" ? [6, 3] : []);
  for (const p of settled ? place.placed.filter((one) => one.upright) : []) {
    for (const signal of p.panel.signals) {
      const value = values.get(signal.id)?.value;
      const y = Number.isFinite(value) ? p.upright.y(value) : NaN;
      if (y >= p.top && y <= p.bottom) {
        surface.dots([x, y], colour, 3);
      }
    }
  }
  surface.box(x - 8, 29, 16, 15, colour);
  surface.text(name, x, 41, look.paper, { anchor: "middle", size: 11, bold: true });
}

/** The time axis, below the panels; its upper edge is at `y`. */
export function foot(surface, place, look, y) {
  const { across, left, right } = place;
  surface.box(0, y, place.width, FOOT, look.paper);
  surface.line([left, y + 0.5, right, y + 0.5], look.axis);
  for (const tick of across.ticks()) {
    const x = across.x(tick.at);
    surface.line([x, y, x, y + 4], look.axis);
    const wide = surface.measure(tick.label, 11);
    const at = Math.min(Math.max(x, wide / 2), place.width - 2 - wide / 2);
    surface.text(tick.label, at, y + 17, look.grey, { anchor: "middle", size: 11 });
  }
  surface.text(across.title(), (left + right) / 2, y + 33, look.ink, { anchor: "middle", size: 12, bold: true });
}

/** Draws everything above the time axis. */
export function sheet(surface, place, look, record, cursors, settings) {
  surface.box(0, 0, place.width, place.height, look.paper);
  if (place.placed.length === 0) {
    surface.text("No signal is chosen.", place.width / 2, place.height / 2, look.grey, { anchor: "middle", size: 14 });
    return;
  }
  happenings(surface, place, look, record.marks());
  for (const p of place.placed) {
    if (p.panel.logic) {
      lanes(surface, place, p, look, record);
    } else {
      waves(surface, place, p, look, record, settings);
    }
  }
  for (const name of ["A", "B"]) {
    if (cursors[name]) {
      cursor(surface, place, look, name, cursors[name]);
    }
  }
}

/** Both cursors in words, for the picture that is saved. */
export function caption(cursors, resolution) {
  const parts = ["A", "B"].filter((name) => cursors[name]).map((name) => `${name}: ${time(cursors[name].time, resolution)}`);
  if (cursors.A && cursors.B) {
    parts.push(`B − A: ${time(cursors.B.time - cursors.A.time, resolution)}`);
  }
  return parts.join("   ");
}
