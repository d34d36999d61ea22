// What the program is asked. Every answer belongs to the address of this page, which holds the token.

async function ask(what, values, signal) {
  const answer = await fetch(values ? address(what, values) : what, { signal, cache: "no-store" });
  if (!answer.ok) {
    throw new Error((await answer.text()).trim() || `the program answers ${answer.status}`);
  }
  return answer;
}

/** An answer in JSON. */
export async function getJson(what, values, signal) {
  return (await ask(what, values, signal)).json();
}

/** The address of something: values are numbers, lists of numbers and single letters. */
export function address(what, values) {
  // A plus sign means a space in addresses; numbers do without.
  const text = (value) => (Array.isArray(value) ? value.join(",") : String(value)).replaceAll("+", "");
  const parts = Object.entries(values).map(([key, value]) => `${key}=${text(value)}`);
  return `${what}?${parts.join("&")}`;
}

/**
 * A stretch of time of some signals: instants `begins`, and per signal `values` (samples) or `pairs` (minimum and
 * maximum of each block of samples).
 */
export async function windowOf(file, group, signals, from, to, count) {
  const answer = await ask("window", { f: file, g: group, s: signals, from, to, n: count });
  const bytes = await answer.arrayBuffer();
  const [block, entries, , first, after, length, end] = new Float64Array(bytes, 0, 8);
  const begins = new Float64Array(bytes, 64, entries);
  let at = 64 + 8 * entries;
  const traces = new Map();
  for (const signal of signals) {
    if (block === 1) {
      traces.set(signal, { values: new Float64Array(bytes, at, entries) });
    } else {
      traces.set(signal, { pairs: new Float32Array(bytes, at, 2 * entries) });
    }
    // Both are eight bytes an entry.
    at += 8 * entries;
  }
  const whole = first === 0 && after === length;
  return {
    block, entries, begins, end, length, traces, count,
    // Where the record has no more, the window has all there is.
    from: first === 0 ? -Infinity : from,
    to: after === length ? Infinity : to,
    whole,
  };
}
