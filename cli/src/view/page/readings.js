// The table below the sheet: values at the cursors, and what lies between them.

import { make, swatch } from "./lists.js";
import { time, told } from "./numbers.js";

/** Unit of a signal's integral over time. */
const INTEGRALS = { A: "C", W: "J", "": "s", V: "V s", C: "C s", J: "J s" };
/** Of the integral of its square, where that has a use: the let-through of a current. */
const SQUARES = { A: "A²s" };

const COLUMNS = [
  ["A", "value at cursor A"], ["B", "value at cursor B"], ["B − A", "difference"],
  ["min", "smallest value between the cursors"], ["max", "largest value between the cursors"],
  ["mean", "mean over the time between the cursors"], ["rms", "root mean square between the cursors"],
  ["∫ dt", "integral over the time between the cursors"],
  ["I²t", "integral of a current's square over the time between the cursors"],
];

/** A cell; the number in full is there to be read and copied. */
function cell(value, unit, key) {
  const known = value !== null && value !== undefined;
  const text = known ? told(value, unit) : "–";
  const attributes = known ? { title: `${value}${unit ? ` ${unit}` : ""}`, "data-value": String(value) } : {};
  return make("td", { ...attributes, "data-key": key }, text);
}

function row(page, signal, between) {
  const { A, B } = page.cursors;
  const at = (cursor) => cursor?.values.get(signal.id)?.value ?? null;
  const [a, b] = [at(A), at(B)];
  const found = between?.signals.get(signal.id);
  const difference = signal.unit === "degC" ? "K" : signal.unit;
  const celsius = signal.unit === "degC";
  const head = make("th", { scope: "row" }, swatch(signal.pen, page.look), page.record.nameOf(signal));
  return make("tr", { "data-signal": page.record.nameOf(signal) }, head,
    cell(a, signal.unit, "a"), cell(b, signal.unit, "b"),
    cell(a === null || b === null ? null : b - a, difference, "difference"),
    cell(found?.min, signal.unit, "min"), cell(found?.max, signal.unit, "max"),
    cell(found?.mean, signal.unit, "mean"),
    // Squares of degrees mean nothing.
    cell(celsius ? null : found?.rms, signal.unit, "rms"),
    cell(celsius ? null : found?.integral, INTEGRALS[signal.unit] ?? `${signal.unit} s`, "integral"),
    cell(found && SQUARES[signal.unit] ? found.square : null, SQUARES[signal.unit] ?? "", "square"));
}

/** Fills the table. */
export function table(page, element) {
  const between = page.between.found;
  const heads = COLUMNS.map(([text, title]) => make("th", { scope: "col", title }, text));
  element.tHead.replaceChildren(make("tr", {}, make("th", { scope: "col" }, "signal"), ...heads));
  const rows = page.panels.flatMap((panel) => panel.signals.map((signal) => row(page, signal, between)));
  element.tBodies[0].replaceChildren(...rows);
}

/** The cursors' instants, and how far the sums have come. */
export function span(page, element) {
  const { A, B } = page.cursors;
  element.closest("section").classList.toggle("bare", !A && !B);
  const resolution = page.record.resolution() / 1000;
  const part = (name, t) => make("span", { class: "reading", "data-cursor": name, "data-value": String(t) },
    make("b", {}, name), ` ${time(t, resolution)}`);
  const parts = [];
  if (A) {
    parts.push(part("A", A.time));
  }
  if (B) {
    parts.push(part("B", B.time));
  }
  if (A && B) {
    const difference = B.time - A.time;
    parts.push(part("B − A", difference));
    if (difference !== 0) {
      parts.push(make("span", { class: "reading" }, `1/(B − A) ${told(1 / Math.abs(difference), "Hz")}`));
    }
    const { found } = page.between;
    if (found && found.share < 1) {
      parts.push(make("span", { class: "reading" }, `adding up: ${Math.floor(100 * found.share)}\u202f%`));
    }
  }
  if (parts.length === 0) {
    const touched = matchMedia("(hover: none)").matches;
    const how = touched ? "Tap the sheet to set the cursor chosen above." : "Click the sheet for cursor A, Shift and click for cursor B.";
    parts.push(make("span", { class: "small" }, how));
  }
  element.replaceChildren(...parts);
}

/** The choice of a voltage and a current, and the energy of both between the cursors. */
export class Energy {
  constructor(page, element) {
    this.page = page;
    this.choices = ["V", "A"].map((unit, k) => make("select", {
      "aria-label": unit === "V" ? "Voltage of the energy" : "Current of the energy",
      onchange: (event) => {
        page.between.pair[k] = event.target.value;
        page.between.start();
        page.told();
      },
    }));
    this.result = make("output", { id: "energy-result" });
    element.append(make("b", {}, "Energy"), " ∫ ", this.choices[0], " · ", this.choices[1], " dt  ", this.result);
    this.known = "";
  }

  draw() {
    const { record, between } = this.page;
    const known = record.signals.map((signal) => signal.id + signal.name).join("\n");
    if (known !== this.known) {
      this.known = known;
      ["V", "A"].forEach((unit, k) => {
        const fitting = record.signals.filter((signal) => signal.unit === unit && signal.group === "w");
        const options = fitting.map((signal) => make("option", { value: signal.id }, record.nameOf(signal)));
        const none = make("option", { value: "" }, unit === "V" ? "voltage …" : "current …");
        this.choices[k].replaceChildren(none, ...options);
        this.choices[k].value = between.pair[k];
      });
    }
    const energy = between.found?.energy;
    const ready = between.pair.every(Boolean);
    this.result.textContent = energy
      ? `= ${told(energy.value, "J")}, on average ${told(energy.power, "W")}`
      : ready && !between.found ? "set both cursors" : "";
    this.result.dataset.value = energy ? String(energy.value) : "";
  }
}
