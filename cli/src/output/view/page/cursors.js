// Two cursors, t1 and t2. Near a sample of the first result each stands on it, else where it was put; every value
// beside it is what the line shows there: straight between samples, or the last sample's where that holds.

import { formatted, number, time } from "./numbers.js";
import { getJson } from "./server.js";

export const CURSORS = ["t1", "t2"];
/** How they are written. */
export const LABELS = { t1: "t₁", t2: "t₂" };
/** Distance within which a cursor snaps to a sample, px. */
const SNAP = 4;

export class Cursors {
  constructor(page) {
    this.page = page;
    /** The one that clicks and keys move. */
    this.active = "t1";
    /** `{ time, values, samples, settled }` each, or null. */
    this.t1 = null;
    this.t2 = null;
    this.reading = { t1: false, t2: false };
    this.next = { t1: null, t2: null };
  }

  /** Makes one the cursor that clicks and keys move. */
  use(name) {
    this.active = name;
    this.page.tools();
  }

  clear() {
    this.t1 = null;
    this.t2 = null;
    this.page.moved();
  }

  /** Both in the order of time, if both are there and apart. */
  interval() {
    const { t1, t2 } = this;
    if (!t1 || !t2 || t1.time === t2.time) {
      return null;
    }
    return t1.time < t2.time ? [t1, t2] : [t2, t1];
  }

  /** Moves a cursor to an instant, or to the sample nearest to it where that is within reach; both in s. */
  set(name, t, reach = 0) {
    this.use(name);
    this[name] = { ...(this[name] ?? { values: new Map(), samples: new Map() }), time: t, settled: false };
    this.next[name] = { t, reach };
    this.page.redraw();
    this.settle(name);
  }

  /** Moves a cursor to an instant (s) that was pointed at: to a sample where one is near on the screen. */
  put(name, t) {
    const { from, to, left, right } = this.page.place.times;
    this.set(name, t, (SNAP * (to - from)) / (right - left));
  }

  /** Moves a cursor by samples. */
  step(name, by) {
    const cursor = this[name];
    if (!cursor?.settled) {
      return;
    }
    const group = this.group();
    const { samples } = this.page.record.files[0][group];
    const [before, after] = cursor.samples.get(`0${group}`);
    const i = Math.min(samples - 1, Math.max(0, (by > 0 ? before : after) + by));
    this.next[name] = { i };
    this.settle(name);
  }

  /** The group on whose samples cursors stand. */
  group() {
    return this.page.record.files[0].w.samples > 0 ? "w" : "t";
  }

  /** Reads the values anew, for example because other signals are chosen. */
  reread() {
    for (const name of CURSORS) {
      if (this[name]) {
        this.next[name] = { t: this[name].time };
        this.settle(name);
      }
    }
  }

  /** An instant of the first result's own time, not beyond its ends. */
  within(t) {
    const file = this.page.record.files[0];
    const { from, to } = file[this.group()];
    return Math.min(to, Math.max(from, t - file.shift));
  }

  async settle(name) {
    if (this.reading[name]) {
      return;
    }
    this.reading[name] = true;
    try {
      while (this.next[name]) {
        const wanted = this.next[name];
        this.next[name] = null;
        const found = await this.read(wanted);
        // A later wish goes first.
        if (!this.next[name] && this[name]) {
          this[name] = found;
          this.page.moved();
          this.announce(name);
        }
      }
    } catch (error) {
      this.page.problem(error.message);
    } finally {
      this.reading[name] = false;
    }
  }

  async read({ t, reach, i }) {
    const { record } = this.page;
    const main = this.group();
    const chosen = (f, group) => record.shown().filter((s) => s.file === f && s.group === group);
    const one = async (f, group, where) => {
      const signals = chosen(f, group);
      const answer = await getJson("at", { f, g: group, s: signals.map((s) => s.index), ...where });
      return { f, group, signals, answer };
    };
    const first = await one(0, main, i === undefined ? { t: this.within(t), reach: reach ?? 0 } : { i });
    const instant = number(first.answer.time) + record.files[0].shift;
    const others = [];
    for (let f = 0; f < record.files.length; f += 1) {
      for (const group of record.files[f].groups) {
        const isMain = f === 0 && group === main;
        if (!isMain && record.files[f][group].samples > 0) {
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

  /** Says to screen readers where a cursor is and the first values there. */
  announce(name) {
    const { record } = this.page;
    const cursor = this[name];
    const values = record.shown().slice(0, 3).map((signal) => {
      const found = cursor.values.get(signal.id);
      return found ? `${record.nameOf(signal)} ${formatted(found.value, signal.unit)}` : "";
    });
    const where = time(cursor.time, record.resolution() / 1000);
    this.page.say(`Cursor ${name === "t1" ? 1 : 2} at ${where}. ${values.filter(Boolean).join(", ")}`);
  }
}
