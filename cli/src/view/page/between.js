// What lies between the cursors: integrals over all samples, added up from pieces that the program computes.

import { number } from "./numbers.js";
import { told as ask } from "./server.js";

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

export class Between {
  constructor(page) {
    this.page = page;
    /** Voltage and current whose product is an energy: ids of signals. */
    this.pair = ["", ""];
    this.found = null;
    this.stop = null;
    this.wait = 0;
  }

  /** Begins anew, soon. */
  start() {
    this.stop?.abort();
    clearTimeout(this.wait);
    const { A, B } = this.page.cursors;
    const ready = A?.settled && B?.settled && A.time !== B.time;
    this.found = ready ? { share: 0, signals: new Map(), energy: null } : null;
    if (ready) {
      const stop = new AbortController();
      this.stop = stop;
      this.wait = setTimeout(() => this.gather(A, B, stop.signal), 120);
    }
  }

  async gather(A, B, signal) {
    const { record } = this.page;
    const found = { share: 0, signals: new Map(), energy: null };
    const tasks = [];
    let all = 0;
    record.files.forEach((_, f) => {
      for (const group of ["w", "t"]) {
        const chosen = record.shown().filter((s) => s.file === f && s.group === group);
        const pair = this.pair.map((id) => record.signals.find((s) => s.id === id));
        const energy = pair.every((s) => s && s.file === f && s.group === group) ? pair : null;
        const [first, last] = A.time < B.time ? [A, B] : [B, A];
        const from = first.samples.get(`${f}${group}`)?.[0];
        const to = last.samples.get(`${f}${group}`)?.[1];
        if ((chosen.length > 0 || energy) && Number.isInteger(from) && Number.isInteger(to) && from < to) {
          const { shift } = record.files[f];
          tasks.push({ f, group, chosen, energy, from, to, a: first.time - shift, b: last.time - shift });
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
          this.page.told();
        });
      }
      found.share = 1;
      this.found = found;
      this.page.told();
    } catch (error) {
      if (error.name !== "AbortError") {
        this.page.trouble(error.message);
      }
    }
  }

  /** One group of one file, piece by piece; neighbours share a sample, so that no interval is missed. */
  async one({ f, group, chosen, energy, from, to, a, b }, signal, found, tell) {
    const most = this.page.record.limits.between - 1;
    const sums = chosen.map(() => ({ integral: new Sum(), square: new Sum(), min: null, max: null }));
    const product = new Sum();
    let [begin, end] = [null, null];
    for (let at = from; at < to; at += most) {
      const last = Math.min(to, at + most);
      const values = { f, g: group, from: at, to: last, a, b, s: chosen.map((s) => s.index) };
      if (energy) {
        values.p = [`${energy[0].index}:${energy[1].index}`];
      }
      const piece = await ask("between", values, signal);
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
      if (energy) {
        product.add(number(piece.products[0]));
      }
      tell(last - at);
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
    if (energy) {
      found.energy = { value: product.total(), power: product.total() / length };
    }
  }
}
