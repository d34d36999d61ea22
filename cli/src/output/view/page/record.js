// The results that are shown: their signals, events, and the windows of them that are here.

import { number } from "./numbers.js";
import { getJson, windowOf } from "./server.js";

/** Most signals chosen at first. */
const FIRST = 24;
/** Of one unit, where there are more. */
const FIRST_OF_UNIT = 6;
/** Events of a kind that are shown at first; of more, none. */
const FEW = 40;
/** Width up to which blocks of samples are not seen as such, pixels of the screen. */
const WIDEST = 3;
/** How many times finer than usual windows are asked for at most. */
const FINEST = 64;
/** Time to wait after a failure, ms. */
const RETRY_AFTER = 2000;

export class Record {
  constructor(changed) {
    this.changed = changed;
    this.files = [];
    this.signals = [];
    this.limits = {};
    /** Whole records at the width of the page, and windows; by file and group. */
    this.base = new Map();
    this.near = new Map();
    this.asked = new Set();
    this.retryAt = 0;
    /** How many times finer than usual windows are asked for; by file and group. */
    this.finer = new Map();
    this.problem = "";
    /** Kinds of events that are not shown. */
    this.hiddenKinds = new Set();
  }

  async open() {
    await this.refresh();
    await Promise.all(this.files.map((_, f) => this.readEvents(f)));
    this.chooseFirst();
    for (const [kind, count] of this.kinds()) {
      if (kind === "edge" || count > FEW) {
        this.hiddenKinds.add(kind);
      }
    }
  }

  /** Reads what the files say about themselves, also when they have grown. */
  async refresh() {
    const meta = await getJson("meta");
    this.limits = meta.limits;
    const before = this.signals;
    const shifts = this.files.map((file) => file.shift);
    this.files = meta.files.map((file, f) => ({ ...file, shift: shifts[f] ?? 0, events: this.files[f]?.events ?? [] }));
    this.signals = [];
    this.files.forEach((file, f) => {
      for (const group of file.groups) {
        file[group].from = number(file[group].from);
        file[group].to = number(file[group].to);
        file[group].signals.forEach((signal, index) => {
          const id = `${f}${group}${index}`;
          const old = before.find((s) => s.id === id);
          this.signals.push({
            id, file: f, group, index,
            name: signal.name,
            // The name may stand for want of words.
            words: signal.long_name === signal.name ? "" : signal.long_name,
            unit: group === "t" && !signal.unit ? "degC" : signal.unit,
            /** Whether a value holds until the next sample. */
            holds: signal.holds,
            min: number(signal.min), max: number(signal.max),
            shown: old?.shown ?? false, ownAxis: old?.ownAxis ?? false,
          });
        });
      }
    });
    this.files.forEach((file, f) => { file.label = this.files.length > 1 ? String(f + 1) : ""; });
  }

  async readEvents(f) {
    const answer = await getJson("events", { f });
    const file = this.files[f];
    file.events = answer.events.map((event) => ({ ...event, time: number(event.time), value: number(event.value) }));
    file.allEvents = answer.all;
  }

  /** Forgets windows, because the files have grown. */
  forget() {
    this.base.clear();
    this.near.clear();
  }

  /** All signals where there are few, else the first of each unit. */
  chooseFirst() {
    const counts = new Map();
    const all = this.signals.filter((s) => s.file === 0).length <= FIRST;
    for (const signal of this.signals) {
      const key = `${signal.file} ${signal.unit}`;
      const count = counts.get(key) ?? 0;
      counts.set(key, count + 1);
      signal.shown = all || count < FIRST_OF_UNIT;
    }
  }

  shown() {
    return this.signals.filter((signal) => signal.shown);
  }

  /** A signal's full name: with the file's number where there are several. */
  nameOf(signal) {
    const label = this.files[signal.file].label;
    return label ? `${label}: ${signal.name}` : signal.name;
  }

  /** From the first to the last instant of all files, s. */
  whole() {
    let from = Infinity;
    let to = -Infinity;
    for (const file of this.files) {
      for (const group of file.groups) {
        if (file[group].samples > 0 && file[group].signals.length > 0) {
          from = Math.min(from, file[group].from + file.shift);
          to = Math.max(to, file[group].to + file.shift);
        }
      }
    }
    if (!(from <= to)) {
      return [0, 1];
    }
    return from === to ? [from - 0.5, to + 0.5] : [from, to];
  }

  /** The mean distance of samples, s: what a cursor can tell apart. */
  resolution() {
    const { from, to, samples } = this.files[0]?.w ?? {};
    return samples > 1 ? (to - from) / (samples - 1) : 0;
  }

  /** Events of all files in the order of time. */
  events() {
    const key = this.files.map((file) => `${file.events.length} ${file.shift}`).join();
    if (key !== this.sortedFor) {
      this.sortedFor = key;
      this.sorted = this.sort();
    }
    return this.sorted;
  }

  sort() {
    const all = this.files.flatMap((file, f) => file.events.map((e) => ({ ...e, file: f, at: e.time + file.shift })));
    return all.filter((event) => Number.isFinite(event.at)).sort((a, b) => a.at - b.at);
  }

  /** The kinds of events and how many there are of each. */
  kinds() {
    const counts = new Map();
    for (const event of this.events()) {
      counts.set(event.kind, (counts.get(event.kind) ?? 0) + 1);
    }
    return counts;
  }

  /** The events that are shown. */
  marks() {
    return this.events().filter((event) => !this.hiddenKinds.has(event.kind));
  }

  /** The best window here of a signal for the view, and the time to add. */
  windowFor(signal, from, to) {
    const key = `${signal.file}${signal.group}`;
    const shift = this.files[signal.file].shift;
    const has = (w) => w && w.traces.has(signal.index);
    const near = this.near.get(key);
    const covers = has(near) && near.from <= from - shift && near.to >= to - shift;
    const base = this.base.get(key);
    const window = covers || !has(base) ? near : base;
    return has(window) ? { window, trace: window.traces.get(signal.index), shift } : null;
  }

  /** Asks for what the view lacks, `width` pixels wide; draws again when it comes. */
  ensure(from, to, width) {
    const wanted = new Map();
    for (const signal of this.shown()) {
      const key = `${signal.file}${signal.group}`;
      wanted.set(key, [...(wanted.get(key) ?? []), signal]);
    }
    for (const [key, signals] of wanted) {
      const { file, group } = signals[0];
      const shift = this.files[file].shift;
      const indices = signals.map((signal) => signal.index);
      const lacks = (w) => !w || indices.some((index) => !w.traces.has(index));
      const [a, b] = [from - shift, to - shift];
      if (lacks(this.base.get(key))) {
        this.fetch("base", key, file, group, indices, -1e300, 1e300, 2 * width);
      } else if (lacks(this.near.get(key)) || this.isPoor(this.near.get(key), a, b, width)) {
        const base = this.base.get(key);
        if (!this.isPoor(base, a, b, width)) {
          this.near.set(key, base);
        } else {
          this.fetchFiner(key, file, group, indices, [a, b], width);
        }
      }
    }
  }

  /** Whether a window shows the view not wholly or too coarsely; one that is as fine as can be is good enough. */
  isPoor(window, from, to, width) {
    if (window.from > from || window.to < to) {
      return true;
    }
    const own = window.tight && window.tight[0] === from && window.tight[1] === to;
    return !(own && window.finest) && coarseness(window, from, to, width) > 1;
  }

  /** Asks for the view and as much again on both sides; finer where that was too coarse, at last for the view alone. */
  fetchFiner(key, file, group, indices, view, width) {
    const near = this.near.get(key);
    const coarse = near?.view && near.view[0] === view[0] && near.view[1] === view[1];
    const factor = coarse ? Math.max(2, coarseness(near, ...view, width)) : 0.5;
    const finer = Math.min(FINEST, Math.max(1, (this.finer.get(key) ?? 1) * factor));
    this.finer.set(key, finer);
    const most = this.limits.blocks;
    const alone = 4 * width * finer > most;
    const margin = alone ? 0 : view[1] - view[0];
    const count = alone ? Math.min(most, width * finer) : 4 * width * finer;
    const note = { view, tight: alone ? view : null, finest: finer === FINEST || count === most };
    this.fetch("near", key, file, group, indices, view[0] - margin, view[1] + margin, Math.round(count), note);
  }

  async fetch(kind, key, file, group, indices, from, to, count, note = {}) {
    const name = `${kind} ${key}`;
    // One at a time; after a failure not at once again.
    if (this.asked.has(name) || performance.now() < this.retryAt) {
      return;
    }
    this.asked.add(name);
    try {
      const window = await windowOf(file, group, indices, from, to, count);
      (kind === "base" ? this.base : this.near).set(key, Object.assign(window, note));
      this.problem = "";
    } catch (error) {
      this.problem = error.message;
      this.retryAt = performance.now() + RETRY_AFTER;
    } finally {
      this.asked.delete(name);
    }
    this.changed(this.problem === "");
  }
}

/**
 * How many times finer a window should be for a view so many pixels wide: it has fewer blocks than pixels, or blocks that
 * are some pixels wide, as where samples lie far apart in a record that has them close elsewhere.
 */
function coarseness(window, from, to, width) {
  if (window.block === 1) {
    return 0;
  }
  const [first, end] = [lower(window.begins, from), lower(window.begins, to)];
  let widest = 0;
  for (let k = Math.max(1, first); k < end; k += 1) {
    widest = Math.max(widest, window.begins[k] - window.begins[k - 1]);
  }
  return Math.max(width / Math.max(1, end - first), (widest * width) / (WIDEST * (to - from)));
}

/** How many numbers of an ascending array are below x. */
export function lower(array, x) {
  let low = 0;
  let high = array.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (array[middle] < x) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low;
}
