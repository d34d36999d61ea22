// Which signals share an axis, and with which pen each is drawn.

/** Order of the panels; other units follow. */
const ORDER = ["V", "A", "W", "J", "degC"];
/** A signal this much smaller than the largest of its unit gets an axis with its like. */
const SMALLER = 6;

/** How many colours there are. */
const COLOURS = 7;
const DASHES = [[], [9, 4], [10, 3, 2, 3], [4, 3], [14, 4, 4, 4], [7, 2, 2, 2, 2, 2], [2, 3]];
/** Of a second, third and fourth result. */
const BESIDE = [[], [5, 2], [2, 2], [8, 2, 2, 2]];

/** The pen of that number in a panel. */
function pen(number, file) {
  return {
    /** Number of the colour: which it is depends on the ground. */
    colour: number % COLOURS,
    dash: file === 0 ? DASHES[number % DASHES.length] : BESIDE[file % BESIDE.length],
    width: file === 0 ? 1.6 : 1.2,
  };
}

/** Whether a signal is a line that is on or off. */
function isLogic(signal) {
  return signal.holds && signal.unit === "" && signal.min >= 0 && signal.max <= 1;
}

function size(signal) {
  return Math.max(Math.abs(signal.min), Math.abs(signal.max)) || 0;
}

/** The panels from top to bottom: `{ unit, logic, signals }`, each signal with its `pen`. */
export function panels(signals) {
  const units = [...new Set(signals.map((signal) => signal.unit))];
  const rank = (unit) => (ORDER.indexOf(unit) + 1 || ORDER.length + 1) + (unit === "" ? 1 : 0);
  units.sort((a, b) => rank(a) - rank(b));
  const out = [];
  const lines = [];
  for (const unit of units) {
    const own = signals.filter((signal) => signal.unit === unit);
    lines.push(...own.filter((signal) => isLogic(signal) && !signal.ownAxis));
    const others = own.filter((signal) => !isLogic(signal) && !signal.ownAxis);
    others.sort((a, b) => size(b) - size(a));
    let group = null;
    for (const signal of others) {
      // Temperatures belong together, whatever they are.
      const fits = group && (unit === "degC" || unit === "K" || size(signal) * SMALLER >= size(group[0]));
      if (!fits) {
        group = [];
        out.push({ unit, logic: false, signals: group });
      }
      group.push(signal);
    }
    for (const signal of own.filter((s) => s.ownAxis)) {
      // The same signal of another result stays with it.
      const twin = out.find((p) => p.ownAxis && p.signals[0].name === signal.name && p.unit === unit);
      if (twin) {
        twin.signals.push(signal);
      } else {
        out.push({ unit, logic: false, ownAxis: true, signals: [signal] });
      }
    }
  }
  if (lines.length > 0) {
    out.push({ unit: "", logic: true, signals: lines });
  }
  for (const panel of out) {
    const order = (s) => s.file * 1e6 + (s.group === "w" ? 0 : 1e5) + s.index;
    panel.signals = [...panel.signals].sort((a, b) => order(a) - order(b));
    const numbers = new Map();
    for (const signal of panel.signals) {
      const key = `${signal.group} ${signal.name}`;
      if (!numbers.has(key)) {
        numbers.set(key, numbers.size);
      }
      signal.pen = { ...pen(numbers.get(key), signal.file), hold: signal.holds };
    }
  }
  return out;
}
