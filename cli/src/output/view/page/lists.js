// The lists at the side: signals to choose, events to go to. Names are set as text, never as markup.

import { printed, quantity, time, formatted } from "./numbers.js";

/** The kind of the events that a scenario sets. */
export const SET_BY_SCENARIO = "event";
/** Events in the list at most. */
const LISTED = 2000;

/** Name of a kind of event, as it is shown: those that the scenario sets are events like any other. */
export function kindName(kind) {
  return kind === SET_BY_SCENARIO ? "event" : kind;
}

/** An element with attributes and content. */
export function make(name, attributes = {}, ...content) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "class") {
      element.className = value;
    } else if (key.startsWith("on")) {
      element.addEventListener(key.slice(2), value);
    } else if (value !== false && value !== null) {
      element.setAttribute(key, value === true ? "" : value);
    }
  }
  element.append(...content);
  return element;
}

/** A stroke in a signal's colour and dash. */
export function swatch(pen, colours) {
  const space = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(space, "svg");
  svg.setAttribute("viewBox", "0 0 26 10");
  svg.setAttribute("class", "swatch");
  svg.setAttribute("aria-hidden", "true");
  if (pen) {
    const line = document.createElementNS(space, "line");
    const how = { x1: 0, y1: 5, x2: 26, y2: 5, "stroke-width": 2.4, "stroke-dasharray": pen.dash.join(" ") };
    how.stroke = colours.traces[pen.colour];
    Object.entries(how).forEach(([key, value]) => value !== "" && line.setAttribute(key, value));
    svg.append(line);
  }
  return svg;
}

function heading(unit) {
  if (unit === "") {
    return "lines and numbers";
  }
  return `${quantity(unit)} (${printed(unit)})`;
}

function signalRow(page, signal) {
  const id = `signal-${signal.id}`;
  const box = make("input", { type: "checkbox", id, checked: signal.shown });
  box.checked = signal.shown;
  box.addEventListener("change", () => page.choose(signal, box.checked));
  const name = make("label", { for: id, title: signal.words || signal.name }, page.record.nameOf(signal));
  const ownAxis = make("button", {
    type: "button", class: "minor", "aria-pressed": String(signal.ownAxis),
    title: "An axis of its own", "aria-label": `An axis of its own for ${page.record.nameOf(signal)}`,
    onclick: () => page.ownAxis(signal),
  }, "own axis");
  ownAxis.hidden = !signal.shown;
  const mark = swatch(signal.shown ? signal.pen : null, page.colours);
  return make("li", { class: "signal", "data-name": page.record.nameOf(signal) }, box, mark, name, ownAxis);
}

/** The signals by unit, those that match what is searched for. */
export function signals(page, list, wanted) {
  const words = wanted.toLowerCase().split(/\s+/).filter(Boolean);
  const matches = (signal) => {
    const text = `${page.record.nameOf(signal)} ${signal.words} ${quantity(signal.unit)} ${printed(signal.unit)}`.toLowerCase();
    return words.every((word) => text.includes(word));
  };
  const focused = list.contains(document.activeElement) ? document.activeElement.id : "";
  const found = page.record.signals.filter(matches);
  const order = ["V", "A", "W", "J", "degC"];
  const rank = (unit) => (unit === "" ? 99 : order.indexOf(unit) + 1 || 50);
  const units = [...new Set(found.map((s) => s.unit))].sort((a, b) => rank(a) - rank(b));
  const groups = units.map((unit) => {
    const own = found.filter((s) => s.unit === unit);
    const all = own.every((s) => s.shown);
    const toggle = make("button", {
      type: "button", class: "minor", "aria-label": `${all ? "No" : "All"} ${heading(unit)}`,
      onclick: () => page.chooseAll(own, !all),
    }, all ? "none" : "all");
    const head = make("h3", {}, heading(unit), toggle);
    return make("section", {}, head, make("ul", {}, ...own.map((signal) => signalRow(page, signal))));
  });
  if (found.length === 0) {
    groups.push(make("p", { class: "small" }, "No signal matches."));
  }
  for (const file of page.record.files.slice(1)) {
    const field = make("input", {
      type: "text", value: time(file.shift), "aria-label": `Shift of result ${file.label} in time`, size: 10,
      onchange: (event) => page.shift(file, event.target),
    });
    groups.push(make("p", { class: "shift" }, make("label", {}, `Shift ${file.label} (${file.name}) by `, field)));
  }
  list.replaceChildren(...groups);
  if (focused) {
    document.getElementById(focused)?.focus();
  }
}

/** The events; a press goes there. */
export function events(page, list, choice) {
  const all = page.record.events();
  const kinds = [...page.record.kinds()].map(([kind, count]) => {
    const shown = !page.record.hiddenKinds.has(kind);
    return make("button", {
      type: "button", class: "kind", id: `kind-${kind}`, "aria-pressed": String(shown),
      title: shown ? `hide ${kindName(kind)}` : `show ${kindName(kind)}`, onclick: () => page.hideKind(kind, shown),
    }, `${kindName(kind)} ${count}`);
  });
  const focused = choice.contains(document.activeElement) ? document.activeElement.id : "";
  choice.replaceChildren(...kinds);
  if (focused) {
    document.getElementById(focused)?.focus();
  }
  const marks = page.record.marks();
  const kept = marks.slice(0, LISTED);
  const items = kept.map((event) => {
    const value = Number.isFinite(event.value) ? formatted(event.value, event.unit, 4) : "";
    const file = page.record.files[event.file].label;
    const head = make("span", { class: "when" }, time(event.at, 1e-7));
    const what = make("b", {}, kindName(event.kind));
    const subject = event.subject === event.kind ? "" : event.subject;
    const rest = [subject, event.note, value].filter(Boolean).join(" · ");
    const from = file ? `${file}: ` : "";
    const button = make("button", { type: "button", onclick: () => page.jump(event) }, from, head, " ", what, " ", rest);
    return make("li", {}, button);
  });
  if (items.length === 0) {
    items.push(make("li", { class: "small" }, all.length > 0 ? "No kind is chosen." : "No events recorded."));
  }
  if (kept.length < marks.length) {
    items.push(make("li", { class: "small" }, `and ${marks.length - kept.length} more: N goes from one to the next`));
  }
  list.replaceChildren(...items);
}
