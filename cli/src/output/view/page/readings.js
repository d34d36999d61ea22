// Readings beside each panel, at its legend: values at the cursors, what lies between them; without cursors, the
// extremes of the record.

import { CURSORS, LABELS } from "./cursors.js";
import { make, swatch } from "./lists.js";
import { formatted, printed, quantity } from "./numbers.js";

/** Unit of a signal's integral over time. */
const INTEGRALS = { A: "C", W: "J", "": "s", V: "V s" };

/** Every reading: its head, and what it is in words. */
const READINGS = {
  t1: ["t₁", "value at cursor 1"],
  t2: ["t₂", "value at cursor 2"],
  integral: ["∫dt", "integral over the time between the cursors"],
  rms: ["rms", "root mean square between the cursors"],
  square: ["I²t", "integral of the current's square between the cursors"],
  energy: ["E", "energy between the cursors"],
  difference: ["Δ", "value at cursor 2 less that at cursor 1"],
  mean: ["mean", "mean over the time between the cursors"],
  min: ["min", "smallest value between the cursors"],
  max: ["max", "largest value between the cursors"],
};

/** What is read of each quantity, the most used first, and what comes with the details. */
const CHOICES = {
  V: [["t1", "t2", "integral", "rms"], ["difference", "mean", "min", "max"]],
  A: [["t1", "t2", "integral", "rms", "square", "energy"], ["difference", "mean", "min", "max"]],
  W: [["t1", "t2", "energy", "mean"], ["difference", "min", "max"]],
  J: [["t1", "t2", "difference"], ["mean", "min", "max"]],
  degC: [["t1", "t2", "difference", "max"], ["mean", "min"]],
};
const OTHERWISE = [["t1", "t2", "integral", "rms"], ["difference", "mean", "min", "max"]];

/** Heads of the columns of a panel, and of its details. */
function columns(panel) {
  return panel.logic ? [["t1", "t2", "integral"], []] : CHOICES[panel.unit] ?? OTHERWISE;
}

/** One reading of a signal, a number with its unit; null where it is not known. */
function read(page, signal, key) {
  const { cursors, integrals } = page;
  const at = (name) => cursors[name]?.values.get(signal.id)?.value ?? null;
  const found = integrals.found?.signals.get(signal.id);
  const unit = signal.unit;
  switch (key) {
    case "t1":
    case "t2":
      return [at(key), unit];
    case "difference":
      return [at("t1") === null || at("t2") === null ? null : at("t2") - at("t1"), unit === "degC" ? "K" : unit];
    case "energy":
      return [found?.[unit === "W" ? "integral" : "energy"] ?? null, "J"];
    case "integral":
      return [found?.integral ?? null, INTEGRALS[unit] ?? `${unit} s`];
    case "square":
      return [found?.square ?? null, "A²s"];
    default:
      return [found?.[key] ?? null, unit];
  }
}

/** The head of a reading in a panel. */
function label(key, panel) {
  if (panel.logic && key === "integral") {
    return "on for";
  }
  return key === "energy" && panel.unit === "W" ? "E = ∫dt" : READINGS[key][0];
}

/** A cell; the number in full is there to be read and copied. */
function cell(page, signal, key, panel, name = "td") {
  const [value, unit] = read(page, signal, key);
  const known = value !== null;
  const text = known ? formatted(value, unit, key === "square" ? 3 : 4) : "–";
  const attributes = known ? { title: `${value}${unit ? ` ${unit}` : ""}`, "data-value": String(value) } : {};
  return make(name, { ...attributes, "data-key": key, "data-label": label(key, panel) }, text);
}

function head(key, panel) {
  const words = READINGS[key][1];
  const name = CURSORS.includes(key) ? key : "";
  return make("th", { scope: "col", class: name, title: words, "aria-label": words }, label(key, panel));
}

function extreme(signal, key) {
  const attributes = { "data-key": `record-${key}`, "data-label": key, title: `${signal[key]} ${signal.unit}` };
  return make("td", attributes, formatted(signal[key], signal.unit, 4));
}

function signalName(page, signal, span) {
  const words = signal.words ? { title: signal.words } : {};
  return make("th", { scope: span > 1 ? "rowgroup" : "row", colspan: String(span), ...words },
    swatch(signal.pen, page.colours), page.record.nameOf(signal));
}

/** Rows of a signal: its name, its readings, its details; lines have all in one row. */
function rows(page, panel, signal, any) {
  const [first, more] = columns(panel);
  const name = page.record.nameOf(signal);
  if (panel.logic) {
    const cells = any ? first.map((key) => cell(page, signal, key, panel)) : [];
    return make("tbody", { "data-signal": name }, make("tr", {}, signalName(page, signal, 1), ...cells));
  }
  const keys = any ? first.map((key) => cell(page, signal, key, panel)) : [extreme(signal, "min"), extreme(signal, "max")];
  const body = make("tbody", { "data-signal": name }, make("tr", { class: "name" }, signalName(page, signal, any ? keys.length : keys.length + 1)),
    make("tr", { class: "values" }, ...keys));
  if (any && page.settings.details) {
    // The spaces between are where a narrow legend breaks the line.
    const parts = more.flatMap((key) => [make("span", { class: "detail", title: READINGS[key][1] }, `${READINGS[key][0]}\u00a0`,
      cell(page, signal, key, panel, "span")), " "]);
    body.append(make("tr", { class: "details" }, make("td", { colspan: String(first.length) }, ...parts)));
  }
  return body;
}

function heads(panel, any) {
  const [first] = columns(panel);
  if (any) {
    const name = panel.logic ? [make("td", {})] : [];
    return make("tr", {}, ...name, ...first.map((key) => head(key, panel)));
  }
  const words = { min: "smallest value in the record", max: "largest value in the record" };
  const keys = panel.logic ? [] : ["min", "max"];
  return make("tr", {}, ...keys.map((key) => make("th", { scope: "col", title: words[key], "aria-label": words[key] },
    key === "min" ? "record min" : "max")), make("td"));
}

/** What a panel shows, in words. */
export function panelName(panel) {
  const unit = printed(panel.unit);
  return panel.logic ? "lines" : unit ? `${quantity(panel.unit)} (${unit})` : quantity(panel.unit);
}

export class Readings {
  constructor(page, element) {
    this.page = page;
    this.element = element;
    this.tables = [];
  }

  /** Makes a section for each panel. */
  build() {
    this.tables = this.page.panels.map((panel) => {
      const table = make("table", {}, make("caption", { class: "heard" }, `Readings: ${panelName(panel)}`), make("thead"));
      const section = make("section", { class: panel.logic ? "legend lines" : "legend", "data-unit": panel.unit }, table);
      return { panel, table, section };
    });
    this.element.replaceChildren(...this.tables.map(({ section }) => section));
    this.fill();
  }

  /** The head of the energies: the choice of the voltage that makes them of currents. */
  pairing(panel) {
    const { record, integrals } = this.page;
    const names = new Set(record.signals.filter((s) => s.unit === "V" && s.group === "w").map((s) => s.name));
    const own = integrals.voltage !== "" || panel.signals.some((signal) => integrals.partner(signal));
    const options = [make("option", { value: "" }, own ? "E own v" : "E with…")];
    options.push(...[...names].map((name) => make("option", { value: name }, `E with ${name}`)));
    const select = make("select", {
      "aria-label": "Energy between the cursors, of the currents and this voltage",
      onchange: () => {
        integrals.voltage = select.value;
        this.element.querySelectorAll("thead select").forEach((other) => { other.value = select.value; });
        integrals.start();
        this.page.refill();
      },
    }, ...options);
    select.value = integrals.voltage;
    const words = "∫ v · i dt between the cursors: of each current and the voltage of its component, or one that is chosen";
    return make("th", { scope: "col", title: words }, select);
  }

  /** Writes the numbers; the sections' heights may change. */
  fill() {
    const any = CURSORS.some((name) => this.page.cursors[name]);
    this.element.classList.toggle("bare", !any);
    for (const { panel, table } of this.tables) {
      table.querySelectorAll("tbody").forEach((body) => body.remove());
      table.append(...panel.signals.map((signal) => rows(this.page, panel, signal, any)));
      // The head stays while its columns do, so that a choice in it keeps the focus.
      if (table.dataset.any !== String(any)) {
        table.dataset.any = String(any);
        const head = heads(panel, any);
        if (any && panel.unit === "A") {
          head.lastElementChild.replaceWith(this.pairing(panel));
        }
        table.tHead.replaceChildren(head);
      }
    }
  }

  /** Heights of the sections, px. */
  heights() {
    return this.tables.map(({ section }) => section.offsetHeight);
  }

  /** Puts each section beside its panel, or above it. */
  put(placed) {
    this.tables.forEach(({ section }, k) => {
      section.style.transform = `translateY(${placed[k].legend}px)`;
    });
  }
}

/** Readings of a signal in words, for the picture that is saved. */
export function readingsOf(page, panel, signal) {
  const parts = columns(panel)[0].map((key) => {
    const [value, unit] = read(page, signal, key);
    return value === null ? "" : `${label(key, panel)} ${formatted(value, unit, 4)}`;
  });
  return parts.filter(Boolean).join("\u2003");
}

/** The cursors' instants on their buttons, Δt and 1/Δt beside them. */
export function instants(page) {
  const { cursors, integrals, record } = page;
  const precise = (t) => page.time(t);
  for (const name of CURSORS) {
    const output = document.getElementById(`at-${name}`);
    const cursor = cursors[name];
    output.textContent = cursor ? precise(cursor.time) : "–";
    output.dataset.value = cursor ? String(cursor.time) : "";
    document.getElementById(`use-${name}`).setAttribute("aria-label",
      `Cursor ${name === "t1" ? 1 : 2}${cursor ? ` at ${precise(cursor.time)}` : ", not set"}`);
  }
  const element = document.getElementById("interval");
  const parts = [];
  const reading = (key, label, value, text) => make("span", { class: "reading", "data-key": key, "data-value": String(value) },
    make("b", {}, label), ` ${text}`);
  if (cursors.t1 && cursors.t2) {
    const difference = cursors.t2.time - cursors.t1.time;
    parts.push(reading("dt", "Δt", difference, precise(difference)));
    if (difference !== 0) {
      parts.push(reading("rate", "1/Δt", 1 / difference, formatted(1 / Math.abs(difference), "Hz", 4)));
    }
    if (integrals.found && integrals.found.share < 1) {
      parts.push(make("span", { class: "small" }, `adding up: ${Math.floor(100 * integrals.found.share)}\u202f%`));
    }
  } else if (record.files.length > 0) {
    const touched = matchMedia("(hover: none)").matches;
    const missing = cursors.t1 ? "t2" : "t1";
    const click = missing === "t2" ? "Shift and click" : "Click";
    const how = touched ? `Choose ${LABELS[missing]} and tap the waveforms.` : `${click} the waveforms to set ${LABELS[missing]}, or press ${missing.slice(1)}.`;
    parts.push(make("span", { class: "small" }, how));
  }
  element.replaceChildren(...parts);
}
