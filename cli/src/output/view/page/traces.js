// One signal as strokes: its samples where they can be distinguished, else the range of values in each pixel column.

import { lower } from "./record.js";

/** Smallest and largest value of a trace between two instants; `null` where there is none. */
export function range({ window, trace, shift }, from, to) {
  const begin = Math.max(0, lower(window.begins, from - shift) - 1);
  const end = Math.min(window.entries, lower(window.begins, to - shift) + 1);
  let low = Infinity;
  let high = -Infinity;
  const numbers = trace.values ?? trace.pairs;
  const [first, last] = trace.values ? [begin, end] : [2 * begin, 2 * end];
  for (let k = first; k < last; k += 1) {
    const x = numbers[k];
    if (Number.isFinite(x)) {
      low = x < low ? x : low;
      high = x > high ? x : high;
    }
  }
  return low <= high ? [low, high] : null;
}

/** Draws a trace within a panel. */
export function draw(surface, { window, trace, shift }, times, axis, pen) {
  const begin = Math.max(0, lower(window.begins, times.from - shift) - 1);
  const end = Math.min(window.entries, lower(window.begins, times.to - shift) + 1);
  if (end <= begin) {
    return;
  }
  const pixels = times.right - times.left;
  const x = (k) => times.x((k < window.entries ? window.begins[k] : window.end) + shift);
  if (trace.values && end - begin <= 2 * pixels) {
    samples(surface, trace.values, begin, end, x, axis, pen, pixels);
  } else {
    ranges(surface, trace, begin, end, x, times, axis, pen);
  }
}

function samples(surface, values, begin, end, x, axis, pen, pixels) {
  let points = [];
  const all = [];
  const flush = () => {
    if (points.length === 2) {
      all.push(...points);
      surface.dots(points, pen.colour, 1.6);
    } else if (points.length > 2) {
      surface.line(points, pen.colour, pen.width, pen.dash);
    }
    points = [];
  };
  const marks = [];
  for (let k = begin; k < end; k += 1) {
    if (Number.isFinite(values[k])) {
      const place = [x(k), axis.y(values[k])];
      if (pen.hold && points.length > 0) {
        points.push(place[0], points.at(-1));
      }
      points.push(...place);
      marks.push(...place);
    } else {
      flush();
    }
  }
  flush();
  // Samples that stand apart are marked.
  if ((end - begin) * 7 < pixels) {
    surface.dots(marks, pen.colour, 2.4);
  }
}

function ranges(surface, trace, begin, end, x, times, axis, pen) {
  const columns = Math.ceil(times.right - times.left) + 2;
  const low = new Float64Array(columns).fill(Infinity);
  const high = new Float64Array(columns).fill(-Infinity);
  for (let k = begin; k < end; k += 1) {
    const a = trace.values ? trace.values[k] : trace.pairs[2 * k];
    const b = trace.values ? a : trace.pairs[2 * k + 1];
    if (Number.isNaN(a)) {
      continue;
    }
    const from = Math.max(0, Math.floor(x(k) - times.left) + 1);
    // Samples are joined by lines; blocks, and what holds its value, reach to the next one.
    const joined = trace.values && !pen.hold;
    const to = Math.min(columns - 1, joined ? from : Math.max(from, Math.floor(x(k + 1) - times.left)));
    for (let c = from; c <= to; c += 1) {
      low[c] = a < low[c] ? a : low[c];
      high[c] = b > high[c] ? b : high[c];
    }
  }
  let run = [];
  let thick = false;
  let last = null;
  const flush = () => {
    if (run.length === 0) {
      return;
    }
    if (thick) {
      const points = [];
      run.forEach(([px, top]) => points.push(px, top));
      [...run].reverse().forEach(([px, , bottom]) => points.push(px, bottom));
      surface.area(points, pen.colour, 1);
    } else {
      const points = run.flatMap(([px, top, bottom]) => [px, (top + bottom) / 2]);
      if (points.length === 2) {
        points.push(points[0] + 1, points[1]);
      }
      surface.line(points, pen.colour, pen.width, pen.dash);
    }
    run = [];
    thick = false;
    last = null;
  };
  for (let c = 0; c < columns; c += 1) {
    if (low[c] > high[c]) {
      // Columns without a sample between others with one are bridged; a gap in the data is not.
      continue;
    }
    let top = axis.y(high[c]);
    let bottom = axis.y(low[c]);
    if (last && c - last[0] > 2 && trace.pairs) {
      flush();
    }
    if (last && c - last[0] === 1) {
      // Neighbours touch, as the samples behind them do.
      if (top > last[2]) {
        top = last[2];
      }
      if (bottom < last[1]) {
        bottom = last[1];
      }
    }
    if (bottom - top > 1.5) {
      thick = true;
    }
    const own = [axis.y(high[c]), axis.y(low[c])];
    run.push([times.left + c - 0.5, top, bottom]);
    last = [c, own[0], own[1]];
  }
  flush();
}
