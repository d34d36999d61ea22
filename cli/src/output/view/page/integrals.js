// Integrals between the cursors: over all samples, added up from pieces that the program computes.

import { number } from "./numbers.js";
import { getJson } from "./server.js";

/** A sum that keeps what rounding loses (Neumaier 1974). */
class Sum {
  sum = 0;
  lost = 0;

  add(x) {
    const next = this.sum + x;
    this.lost += Math.abs(this.sum) >= Math.abs(x) ? this.sum - next + x : x - next + this.sum;
    this.sum = next;
  }

  total() {
    return Number.isFinite(this.lost) ? this.sum + this.lost : this.sum;
  }
}

/** The component whose current a signal is. */
function component(signal) {
  return signal.unit === "A" ? /^(.+)\.current$/.exec(signal.name)?.[1] : undefined;
}

export class Integrals {
  constructor(page) {
    this.page = page;
    /** Name of the voltage that currents are multiplied by; empty: the voltage of their own component. */
    this.voltage = "";
    this.found = null;
    this.stop = null;
    this.wait = 0;
  }

  /** The voltage that makes an energy of a current, of the same result. */
  partner(signal) {
    const { record } = this.page;
    const own = component(signal);
    const wanted = this.voltage || (own && `${own}.voltage`);
    const fits = (s) => s.name === wanted && s.unit === "V" && s.file === signal.file && s.group === signal.group;
    return signal.unit === "A" && wanted ? record.signals.find(fits) : undefined;
  }

  /** Begins anew, soon. */
  start() {
    this.stop?.abort();
    clearTimeout(this.wait);
    const { t1, t2 } = this.page.cursors;
    const interval = t1?.settled && t2?.settled && this.page.cursors.interval();
    this.found = interval ? { share: 0, signals: new Map() } : null;
    if (interval) {
      const stop = new AbortController();
      this.stop = stop;
      this.wait = setTimeout(() => this.gather(interval, stop.signal), 120);
    }
  }

  async gather([first, last], signal) {
    const { record } = this.page;
    const found = { share: 0, signals: new Map() };
    const tasks = [];
    let all = 0;
    record.files.forEach((file, f) => {
      for (const group of file.groups) {
        const chosen = record.shown().filter((s) => s.file === f && s.group === group);
        const pairs = chosen.map((s) => [s, this.partner(s)]).filter(([, voltage]) => voltage);
        const from = first.samples.get(`${f}${group}`)?.[0];
        const to = last.samples.get(`${f}${group}`)?.[1];
        if (chosen.length > 0 && Number.isInteger(from) && Number.isInteger(to) && from < to) {
          const { shift } = record.files[f];
          tasks.push({ f, group, chosen, pairs, from, to, a: first.time - shift, b: last.time - shift });
          all += to - from;
        }
      }
    });
    let done = 0;
    try {
      for (const task of tasks) {
        await this.one(task, signal, found, (count) => {
          done += count;
          this.found = { ...found, share: done / all };
          this.page.refill();
        });
      }
      found.share = 1;
      this.found = found;
      this.page.refill();
    } catch (error) {
      if (error.name !== "AbortError") {
        this.page.problem(error.message);
      }
    }
  }

  /** One group of one file, piece by piece; neighbours share a sample, so that no interval is missed. */
  async one({ f, group, chosen, pairs, from, to, a, b }, signal, found, progress) {
    const most = this.page.record.limits.integrals - 1;
    const sums = chosen.map(() => ({ integral: new Sum(), square: new Sum(), min: null, max: null }));
    const products = pairs.map(() => new Sum());
    let [begin, end] = [null, null];
    for (let at = from; at < to; at += most) {
      const last = Math.min(to, at + most);
      const values = { f, g: group, from: at, to: last, a, b, s: chosen.map((s) => s.index) };
      if (pairs.length > 0) {
        values.p = pairs.map(([current, voltage]) => `${voltage.index}:${current.index}`);
      }
      const piece = await getJson("integrals", values, signal);
      begin ??= number(piece.begin);
      end = number(piece.end);
      piece.signals.forEach((one, k) => {
        const sum = sums[k];
        sum.integral.add(number(one.integral));
        sum.square.add(number(one.square));
        const [min, max] = [number(one.min), number(one.max)];
        sum.min = sum.min === null || min < sum.min ? min : sum.min;
        sum.max = sum.max === null || max > sum.max ? max : sum.max;
      });
      piece.products.forEach((product, k) => products[k].add(number(product)));
      progress(last - at);
    }
    const length = end - begin;
    chosen.forEach((one, k) => {
      const { integral, square, min, max } = sums[k];
      found.signals.set(one.id, {
        min, max, length,
        integral: integral.total(),
        square: square.total(),
        mean: integral.total() / length,
        rms: Math.sqrt(square.total() / length),
      });
    });
    pairs.forEach(([current], k) => {
      found.signals.get(current.id).energy = products[k].total();
    });
  }
}
