// Numbers as engineers read them: SI prefixes (BIPM 2019, table 7), a proper minus, few digits.

const PREFIXES = [
  [12, "T"], [9, "G"], [6, "M"], [3, "k"], [0, ""],
  [-3, "m"], [-6, "µ"], [-9, "n"], [-12, "p"], [-15, "f"],
];
const PREFIXED = new Set(["V", "A", "W", "J", "s", "F", "H", "ohm", "C", "Hz", "S", "m", "Wb", "Pa", "N"]);
const QUANTITIES = {
  V: "voltage", A: "current", W: "power", J: "energy", degC: "temperature", K: "temperature difference",
  ohm: "resistance", C: "charge", s: "time", F: "capacitance", H: "inductance", Hz: "frequency", Wb: "flux linkage",
};

/** What a unit measures, in a word. */
export function quantity(unit) {
  return QUANTITIES[unit] ?? "value";
}

/** A unit as it is printed. */
export function printed(unit) {
  return unit === "1" ? "" : unit.replace("ohm", "Ω").replace("degC", "°C").replace("^2", "²").replace("^3", "³").replace("*", " ");
}

function takesPrefix(unit) {
  return PREFIXED.has(unit.split(/[/ *]/)[0]);
}

/** Units of longer times as the program's texts have them: from how many seconds on, the unit, its seconds. */
const LONG = [[172800, "d", 86400], [7200, "h", 3600], [120, "min", 60]];

/** The unit of a long time, and its seconds; nothing for a time below two minutes. */
export function long(seconds) {
  return LONG.find(([from]) => Math.abs(seconds) >= from)?.slice(1);
}

/** Power of ten and symbol that suit a size. */
export function prefix(size, unit) {
  if (!takesPrefix(unit) || !(size > 0) || !Number.isFinite(size)) {
    return [0, ""];
  }
  const power = Math.floor((Math.log10(size) + 1e-9) / 3) * 3;
  const bounded = Math.min(unit === "s" ? 0 : 12, Math.max(-15, power));
  return PREFIXES.find((p) => p[0] === bounded);
}

/** Divides by a power of ten such that 0.3 stays 0.3: negative powers multiply by a whole number. */
export function scaled(value, power) {
  return power < 0 ? value * 10 ** -power : value / 10 ** power;
}

/** Digits with a minus sign proper. */
export function signed(text) {
  const zero = /^-[0.]+$/.test(text);
  return zero ? text.slice(1) : text.replace("-", "−");
}

/** So many decimals. */
export function fixed(value, decimals) {
  return signed(value.toFixed(Math.min(20, Math.max(0, decimals))));
}

/** A value with its unit and a prefix, rounded to so many digits. */
export function formatted(value, unit, digits = 5) {
  if (value === null || value === undefined) {
    return "–";
  }
  if (!Number.isFinite(value)) {
    return Number.isNaN(value) ? "no number" : value > 0 ? "∞" : "−∞";
  }
  const symbol = printed(unit);
  // Rounded first, so that 999.999 does not come out as 1000.0 of a prefix too small.
  const rounded = Number(value.toPrecision(digits));
  const [name, one] = (unit === "s" && long(rounded)) || [];
  if (name) {
    return `${signed(String(Number((value / one).toPrecision(digits))))}\u202f${name}`;
  }
  const [power, letter] = prefix(Math.abs(rounded), unit);
  const x = scaled(rounded, power);
  let text;
  if (Number.isInteger(value) && power === 0 && Math.abs(value) < 10 ** digits) {
    text = String(value);
  } else if (Math.abs(x) >= 1e6 || Math.abs(x) < 1e-3) {
    text = x.toExponential(Math.max(0, digits - 1)).replace(/e([+-])(\d+)/, (_, sign, n) => " × 10" + raised(sign, n));
  } else {
    const decimals = digits - 1 - Math.floor(Math.log10(Math.abs(x)));
    text = x.toFixed(Math.min(20, Math.max(0, decimals)));
  }
  const joined = letter + symbol;
  return signed(text) + (joined ? "\u202f" + joined : "");
}

function raised(sign, digits) {
  const small = "⁰¹²³⁴⁵⁶⁷⁸⁹";
  return (sign === "-" ? "⁻" : "") + [...digits].map((d) => small[d]).join("");
}

/** An instant or a stretch of time, with the digits that tell it from its neighbours at a resolution (s). */
export function time(t, resolution = 0) {
  if (t === null || !Number.isFinite(t)) {
    return "–";
  }
  const size = Math.abs(t);
  const digits = resolution > 0 && size > 0 ? Math.ceil(Math.log10(size / resolution)) + 1 : 6;
  return formatted(t, "s", Math.min(15, Math.max(4, digits)));
}

/** 1, 2 or 5 times a power of ten, no smaller than x. */
export function roundStep(x) {
  const ten = 10 ** Math.floor(Math.log10(x));
  const m = x / ten;
  const nice = [1, 2, 5].find((n) => m <= n * (1 + 1e-9)) ?? 10;
  return nice * ten;
}

/** Multiples of a step from one bound to another, computed without adding up. */
export function multiples(from, to, step) {
  const out = [];
  const first = Math.ceil(from / step - 1e-9);
  const last = Math.floor(to / step + 1e-9);
  for (let k = first; k <= last && out.length < 1000; k += 1) {
    // Division by the inverse keeps 0.3 from becoming 0.30000000000000004.
    out.push(step < 1 ? k / (1 / step) : k * step);
  }
  return out;
}

/** Decimals that show multiples of a step. */
export function decimalsOf(step) {
  return Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
}

/** A number out of JSON, where what JSON cannot hold is a text. */
export function number(x) {
  return x === null || x === undefined ? null : Number(x);
}

/** A time as typed ("-12.5 us", "3ms", "1e-6", "30 min"), s; NaN where it cannot be read. */
export function typedTime(text) {
  const longer = /^\s*([+\-−]?[\d.]+)\s*(min|h|d)\s*$/i.exec(text);
  if (longer) {
    const one = LONG.find(([, name]) => name === longer[2].toLowerCase())[2];
    return Number(longer[1].replace("−", "-")) * one;
  }
  const parts = /^\s*([+\-−]?[\d.]+(?:e[+-]?\d+)?)\s*([munpµμk]?)s?\s*$/i.exec(text);
  if (!parts) {
    return NaN;
  }
  const letter = { u: -6, µ: -6, μ: -6, m: -3, n: -9, p: -12, k: 3 }[parts[2].toLowerCase()] ?? 0;
  return scaled(Number(parts[1].replace("−", "-")), -letter);
}
