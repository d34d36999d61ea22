// Two cursors. Near a sample of the first result each stands on it, else where it was put; every value beside it is
// what the line shows there: straight between samples, or the last sample's where that holds.

import { number, time, told } from "./numbers.js";
import { told as ask } from "./server.js";

/** How far a cursor goes to stand on a sample, px. */
const NEAR = 4;

export class Cursors {
  constructor(page) {
    this.page = page;
    this.active = "A";
    this.A = null;
    this.B = null;
    this.going = { A: false, B: false };
    this.next = { A: null, B: null };
  }

  /** Makes one the cursor that clicks and keys move. */
  use(name) {
    this.active = name;
    this.page.tools();
  }

  clear() {
    this.A = null;
    this.B = null;
    this.page.moved();
  }

  /** Moves a cursor to an instant, or to the sample nearest to it where that is within reach; both in s. */
  set(name, t, reach = 0) {
    this.use(name);
    this[name] = { ...(this[name] ?? { values: new Map(), samples: new Map() }), time: t, settled: false };
    this.next[name] = { t, reach };
    this.page.redraw();
    this.settle(name);
  }

  /** Moves a cursor to an instant (s) that was pointed at: to a sample where one is near on the sheet. */
  put(name, t) {
    const { from, to, left, right } = this.page.place.across;
    this.set(name, t, (NEAR * (to - from)) / (right - left));
  }

  /** Moves a cursor by samples. */
  step(name, by) {
    const cursor = this[name];
    if (!cursor?.settled) {
      return;
    }
    const main = this.main();
    const { samples } = this.page.record.files[0][main];
    const [at, after] = cursor.samples.get(`0${main}`);
    const i = Math.min(samples - 1, Math.max(0, (by > 0 ? at : after) + by));
    this.next[name] = { i };
    this.settle(name);
  }

  /** The group on whose samples cursors stand. */
  main() {
    return this.page.record.files[0].w.samples > 0 ? "w" : "t";
  }

  /** Reads the values anew, for example because other signals are chosen. */
  again() {
    for (const name of ["A", "B"]) {
      if (this[name]) {
        this.next[name] = { t: this[name].time };
        this.settle(name);
      }
    }
  }

  /** An instant of the first result's own time, not beyond its ends. */
  within(t) {
    const file = this.page.record.files[0];
    const { from, to } = file[this.main()];
    return Math.min(to, Math.max(from, t - file.shift));
  }

  async settle(name) {
    if (this.going[name]) {
      return;
    }
    this.going[name] = true;
    try {
      while (this.next[name]) {
        const wanted = this.next[name];
        this.next[name] = null;
        const found = await this.read(wanted);
        // A later wish goes first.
        if (!this.next[name] && this[name]) {
          this[name] = found;
          this.page.moved();
          this.say(name);
        }
      }
    } catch (error) {
      this.page.trouble(error.message);
    } finally {
      this.going[name] = false;
    }
  }

  async read({ t, reach, i }) {
    const { record } = this.page;
    const main = this.main();
    const chosen = (f, group) => record.shown().filter((s) => s.file === f && s.group === group);
    const one = async (f, group, where) => {
      const signals = chosen(f, group);
      const answer = await ask("at", { f, g: group, s: signals.map((s) => s.index), ...where });
      return { f, group, signals, answer };
    };
    const first = await one(0, main, i === undefined ? { t: this.within(t), reach: reach ?? 0 } : { i });
    const instant = number(first.answer.time) + record.files[0].shift;
    const others = [];
    for (let f = 0; f < record.files.length; f += 1) {
      for (const group of ["w", "t"]) {
        const main_one = f === 0 && group === main;
        if (!main_one && record.files[f][group].samples > 0) {
          others.push(one(f, group, { t: instant - record.files[f].shift }));
        }
      }
    }
    const values = new Map();
    const samples = new Map();
    for (const { f, group, signals, answer } of [first, ...(await Promise.all(others))]) {
      samples.set(`${f}${group}`, answer.samples);
      signals.forEach((signal, k) => {
        values.set(signal.id, { value: number(answer.values[k]) });
      });
    }
    return { time: instant, values, samples, settled: true };
  }

  /** Tells screen readers where a cursor is and the first values there. */
  say(name) {
    const { record } = this.page;
    const cursor = this[name];
    const values = record.shown().slice(0, 3).map((signal) => {
      const found = cursor.values.get(signal.id);
      return found ? `${record.nameOf(signal)} ${told(found.value, signal.unit)}` : "";
    });
    this.page.say(`Cursor ${name} at ${time(cursor.time, record.resolution() / 1000)}. ${values.filter(Boolean).join(", ")}`);
  }
}
