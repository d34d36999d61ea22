// The drawing: events above, a panel for each axis, the common time axis with the cursors' instants below.

import { ValueAxis } from "./axes.js";
import { CURSORS, LABELS } from "./cursors.js";
import { LANE } from "./layout.js";
import { SET_BY_SCENARIO, kindName } from "./lists.js";
import { formatted } from "./numbers.js";
import { draw as trace, range } from "./traces.js";

/** Height of the time axis. */
export const FOOT = 62;
/** Height of the row of the cursors' instants in it. */
const INSTANTS = 32;
/** Events whose lines are drawn; more would hide the waveforms. */
const EVENTS = 40;
/** Letters of an event on the plot. */
const LONGEST = 36;

/** A line down through all panels, but not through what is between them. */
function down(surface, place, x, colour, width, dash) {
  for (const p of place.placed) {
    surface.line([x, p.top - 3, x, p.bottom + 1], colour, width, dash);
  }
}

/** An event in few words. */
function words(event) {
  const text = event.kind === SET_BY_SCENARIO
    ? event.note || event.subject
    : event.kind === event.subject ? kindName(event.kind) : `${kindName(event.kind)} ${event.subject}`;
  return text.length > LONGEST ? `${text.slice(0, LONGEST - 1)}…` : text;
}

function events(surface, place, colours, all) {
  const { times, left, right } = place;
  const seen = all.filter((e) => e.at >= times.from && e.at <= times.to);
  const drawn = seen.length <= EVENTS ? seen : [];
  const free = [-Infinity, -Infinity];
  for (const event of drawn) {
    const x = times.x(event.at);
    down(surface, place, x, colours.mark, 1, event.kind === "edge" ? [1, 3] : [3, 3]);
    const text = words(event);
    const wide = surface.measure(text, 11);
    const at = Math.min(x + 4, right - wide);
    // In the second row where the first is taken; where both are, the line must do.
    const row = free.findIndex((end) => at > end);
    if (row >= 0 && at >= left - 2) {
      surface.text(text, at, 12 + 13 * row, colours.grey, { size: 11 });
      surface.line([x, 3 + 13 * row, x, 15 + 13 * row], colours.mark);
      free[row] = at + wide + 8;
    }
  }
  if (drawn.length === 0 && seen.length > 0) {
    surface.text(`${seen.length} events here`, left, 13, colours.grey, { size: 11 });
  }
}

function frame(surface, place, p, colours, axis) {
  const { times, left, right } = place;
  for (const tick of times.ticks()) {
    const x = times.x(tick.at);
    surface.line([x, p.top, x, p.bottom], colours.grid);
  }
  if (axis) {
    for (const tick of axis.ticks()) {
      const y = axis.y(tick.at);
      surface.line([left, y, right, y], tick.at === 0 ? colours.axis : colours.grid);
      surface.text(tick.label, left - 6, y + 4, colours.grey, { anchor: "end", size: 11 });
    }
  }
  surface.line([left, p.top, left, p.bottom], colours.axis);
  surface.line([left, p.bottom, right, p.bottom], colours.axis);
}

const coloured = (pen, colours) => ({ ...pen, colour: colours.traces[pen.colour] });

function title(surface, place, p, colours, text) {
  surface.text(text, place.above ? 6 : 10, p.title + 12, colours.ink, { size: 12, bold: true });
}

function waves(surface, place, p, colours, record, settings) {
  const { times, left, right } = place;
  let [low, high] = [Infinity, -Infinity];
  const parts = [];
  for (const signal of p.panel.signals) {
    const found = record.windowFor(signal, times.from, times.to);
    if (found) {
      parts.push([signal, found]);
    }
    const seen = settings.scaled ? found && range(found, times.from, times.to) : [signal.min, signal.max];
    if (seen && Number.isFinite(seen[0]) && Number.isFinite(seen[1])) {
      low = Math.min(low, seen[0]);
      high = Math.max(high, seen[1]);
    }
  }
  // While a drag lasts the axes stay, so that the eye has something to hold.
  const held = settings.held?.get(p.panel.signals[0].id);
  const axis = held
    ? Object.assign(Object.create(ValueAxis.prototype), held, { top: p.top, bottom: p.bottom })
    : new ValueAxis(low, high, p.panel.unit, p.top, p.bottom);
  p.axis = axis;
  frame(surface, place, p, colours, axis);
  title(surface, place, p, colours, axis.title());
  surface.within(left, p.top - 1, right - left, p.bottom - p.top + 2, () => {
    for (const [signal, found] of parts) {
      trace(surface, found, times, axis, coloured(signal.pen, colours));
    }
  });
}

function lanes(surface, place, p, colours, record) {
  const { times, left, right } = place;
  frame(surface, place, p, colours, null);
  title(surface, place, p, colours, "lines");
  p.panel.signals.forEach((signal, k) => {
    const top = p.top + k * LANE;
    const axis = new ValueAxis(0, 1, "", top + 6, top + LANE - 4);
    Object.assign(axis, { low: 0, high: 1 });
    const found = record.windowFor(signal, times.from, times.to);
    if (k > 0) {
      surface.line([left, top, right, top], colours.grid);
    }
    surface.within(left, top, right - left, LANE, () => {
      if (found) {
        trace(surface, found, times, axis, { ...coloured(signal.pen, colours), dash: [] });
      }
    });
    if (place.above) {
      // Names of lines stand on the plot's ground, so that the trace does not run through them.
      const name = record.nameOf(signal);
      surface.box(left + 3, top + 4, surface.measure(name, 11) + 8, 15, colours.veil);
      surface.text(name, left + 7, top + 15, colours.ink, { size: 11 });
    }
    for (const [label, y] of [["1", top + 10], ["0", top + LANE - 2]]) {
      surface.text(label, left - 6, y, colours.grey, { anchor: "end", size: 9 });
    }
  });
}

/** A cursor, with a dot where it meets each line that it reads. */
function cursor(surface, place, colours, name, { time: at, settled, values }) {
  const x = place.times.x(at);
  if (x < place.left - 1 || x > place.right + 1) {
    return;
  }
  const colour = colours.cursors[name];
  down(surface, place, x, colour, 1.4, []);
  for (const p of settled ? place.placed.filter((one) => one.axis) : []) {
    for (const signal of p.panel.signals) {
      const value = values.get(signal.id)?.value;
      const y = Number.isFinite(value) ? p.axis.y(value) : NaN;
      if (y >= p.top && y <= p.bottom) {
        surface.dots([x, y], colours.paper, 4.2);
        surface.dots([x, y], colour, 2.8);
      }
    }
  }
}

/** The time between the cursors, as a drawing's dimension: arrows from one to the other, Δt between them. */
function dimension(surface, place, colours, interval, y, text) {
  const bounded = (t) => Math.min(place.right, Math.max(place.left, place.times.x(t)));
  const [a, b] = interval.map((one) => bounded(one.time));
  const row = y + INSTANTS;
  if (b - a < 1) {
    return;
  }
  const inside = (t) => t >= place.times.from && t <= place.times.to;
  const [begin, end] = [a + 11, b - 11];
  const wide = surface.measure(text, 11) + 10;
  if (end - begin > 14) {
    surface.line([begin, row, end, row], colours.grey, 1);
    if (inside(interval[0].time)) {
      surface.line([begin + 5, row - 3, begin, row, begin + 5, row + 3], colours.grey, 1);
    }
    if (inside(interval[1].time)) {
      surface.line([end - 5, row - 3, end, row, end - 5, row + 3], colours.grey, 1);
    }
  }
  const fits = end - begin > wide + 16;
  const after = b + 14 + wide < place.right ? b + 14 + wide / 2 : a - 14 - wide / 2;
  const x = fits ? (a + b) / 2 : Math.max(after, wide / 2);
  surface.box(x - wide / 2, row - 8, wide, 16, colours.paper);
  surface.text(text, x, row + 4, colours.ink, { anchor: "middle", size: 11 });
}

/** The time axis, below the panels; its upper edge is at `y`. */
export function foot(surface, place, colours, y, cursors, instant) {
  const { times, left, right } = place;
  surface.box(0, y, place.width, FOOT, colours.paper);
  surface.line([left, y + 0.5, right, y + 0.5], colours.axis);
  const interval = cursors.interval();
  if (interval) {
    const [a, b] = interval.map((one) => Math.min(right, Math.max(left, times.x(one.time))));
    surface.box(a, y + 1, b - a, 3, colours.axis);
  }
  const seen = CURSORS.filter((name) => cursors[name]).map((name) => [name, times.x(cursors[name].time)])
    .filter(([, x]) => x >= left - 1 && x <= right + 1);
  for (const [name, x] of seen) {
    surface.line([x, y, x, y + INSTANTS - 8], colours.cursors[name], 1.4);
  }
  for (const tick of times.ticks()) {
    const x = times.x(tick.at);
    surface.line([x, y, x, y + 4], colours.axis);
    const wide = surface.measure(tick.label, 11);
    const at = Math.min(Math.max(x, wide / 2), place.width - 2 - wide / 2);
    // A cursor's line does not run through a label.
    surface.box(at - wide / 2 - 1, y + 7, wide + 2, 12, colours.paper);
    surface.text(tick.label, at, y + 17, colours.grey, { anchor: "middle", size: 11 });
  }
  if (interval) {
    dimension(surface, place, colours, interval, y, `Δt ${instant(interval[1].time - interval[0].time)}`);
  }
  for (const [name, x] of seen) {
    surface.box(x - 9, y + INSTANTS - 8, 18, 16, colours.cursors[name]);
    surface.text(LABELS[name], x, y + INSTANTS + 4, colours.paper, { anchor: "middle", size: 12, bold: true });
  }
  surface.text(times.title(), (left + right) / 2, y + FOOT - 6, colours.ink, { anchor: "middle", size: 12, bold: true });
}

/** Draws everything above the time axis. */
export function sheet(surface, place, colours, record, cursors, settings) {
  surface.box(0, 0, place.width, place.height, colours.paper);
  if (place.placed.length === 0) {
    surface.text("No signal is chosen.", place.width / 2, place.height / 2, colours.grey, { anchor: "middle", size: 14 });
    return;
  }
  const interval = cursors.interval();
  if (interval) {
    const [a, b] = interval.map((one) => Math.min(place.right, Math.max(place.left, place.times.x(one.time))));
    for (const p of place.placed) {
      surface.box(a, p.top, b - a, p.bottom - p.top, colours.between);
    }
  }
  events(surface, place, colours, record.marks());
  for (const p of place.placed) {
    if (p.panel.logic) {
      lanes(surface, place, p, colours, record);
    } else {
      waves(surface, place, p, colours, record, settings);
    }
  }
  for (const name of CURSORS) {
    if (cursors[name]) {
      cursor(surface, place, colours, name, cursors[name]);
    }
  }
}

/** Height of a signal in a drawn legend, with its readings. */
export const ENTRY = 34;

/** Names and readings beside the panels, for the picture that is saved. */
export function legend(surface, place, colours, record, readings) {
  const x = place.right + 16;
  for (const p of place.placed) {
    p.panel.signals.forEach((signal, k) => {
      const y = p.panel.logic ? p.top + k * LANE + 12 : p.title + 10 + k * ENTRY;
      const pen = coloured(signal.pen, colours);
      surface.line([x, y - 4, x + 24, y - 4], pen.colour, 2, p.panel.logic ? [] : pen.dash);
      const name = record.nameOf(signal);
      surface.text(name, x + 30, y, colours.ink);
      const text = readings(p.panel, signal);
      const beside = x + 40 + surface.measure(name, 12);
      surface.text(text, p.panel.logic ? beside : x + 30, p.panel.logic ? y : y + 14, colours.grey, { size: 11 });
    });
  }
}

/** Both cursors in words, for the picture that is saved. */
export function caption(cursors, instant) {
  const parts = CURSORS.filter((name) => cursors[name]).map((name) => `${LABELS[name]} = ${instant(cursors[name].time)}`);
  if (cursors.t1 && cursors.t2) {
    const difference = cursors.t2.time - cursors.t1.time;
    parts.push(`Δt = ${instant(difference)}`);
    if (difference !== 0) {
      parts.push(`1/Δt = ${formatted(1 / Math.abs(difference), "Hz", 4)}`);
    }
  }
  return parts.join("\u2003");
}
