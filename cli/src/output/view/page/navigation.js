// The stretch of time that is seen: moving it, going back, going to events, and the address that keeps it.

import { CURSORS } from "./cursors.js";
import { time } from "./numbers.js";

/** The stretch around an event that is gone to, as a share of the whole record. */
const AROUND = 1 / 50;

/** What of the page concerns the view. */
export class Navigation {
  view = { from: 0, to: 1 };
  /** Views to go back to. */
  past = [];

  /** Shows a stretch of time, within bounds: no further out than a little more than all, no further in than samples. */
  show(from, to, why) {
    const [first, last] = this.record.whole();
    // Instants of 64 bits leave this much to be distinguished.
    const least = Math.max(1000 * Number.EPSILON * Math.max(Math.abs(first), Math.abs(last)), 1e-15);
    let length = Math.min(Math.max(to - from, least), 1.1 * (last - first));
    const middle = Math.min(Math.max((from + to) / 2, first), last);
    if (!Number.isFinite(middle) || !Number.isFinite(length)) {
      return;
    }
    if (["keys", "tools", "event"].includes(why)) {
      this.remember();
    }
    this.view = { from: middle - length / 2, to: middle + length / 2 };
    this.redraw();
  }

  zoom(factor, about, why) {
    const { from, to } = this.view;
    const share = (about - from) / (to - from);
    const [first, last] = this.record.whole();
    const length = Math.min((to - from) * factor, 1.1 * (last - first));
    this.show(about - share * length, about + (1 - share) * length, why);
  }

  /** Where keys zoom: at the cursor in use if it is seen, else in the middle. */
  focus() {
    const cursor = this.cursors[this.cursors.active];
    const { from, to } = this.view;
    return cursor && cursor.time >= from && cursor.time <= to ? cursor.time : (from + to) / 2;
  }

  remember() {
    const last = this.past.at(-1);
    if (!last || last.from !== this.view.from || last.to !== this.view.to) {
      this.past.push({ ...this.view });
      this.past.splice(0, this.past.length - 100);
    }
  }

  back() {
    const view = this.past.pop();
    if (view) {
      this.view = view;
      this.redraw();
    }
  }

  whole() {
    this.remember();
    [this.view.from, this.view.to] = this.record.whole();
    this.redraw();
  }

  end(which) {
    const [first, last] = this.record.whole();
    const length = this.view.to - this.view.from;
    this.show(which < 0 ? first : last - length, which < 0 ? first + length : last, "keys");
  }

  /** Shows the time between the cursors. */
  toInterval() {
    const interval = this.cursors.interval();
    if (interval) {
      const [a, b] = interval.map((cursor) => cursor.time);
      this.show(a - 0.04 * (b - a), b + 0.04 * (b - a), "tools");
    }
  }

  /** Goes to an event: cursor t1 there, with as much around it as is seen now, but not the whole record. */
  jump(event) {
    const [first, last] = this.record.whole();
    const length = Math.min(this.view.to - this.view.from, AROUND * (last - first));
    this.show(event.at - length / 2, event.at + length / 2, "event");
    this.here = { event, cursor: null };
    const active = this.cursors.active;
    this.cursors.set("t1", event.at);
    this.cursors.use(active);
    this.say(`${event.kind} ${event.subject}, ${time(event.at)}`);
    if (matchMedia("(max-width: 760px)").matches) {
      this.side("");
    }
  }

  next(direction) {
    const events = this.record.marks();
    const at = this.cursors.t1?.time ?? (direction > 0 ? -Infinity : Infinity);
    // A cursor stands on a sample beside the event it was sent to, so that event is remembered.
    const index = this.here && this.here.cursor === at ? events.indexOf(this.here.event) : -1;
    const found = index >= 0
      ? events[index + direction]
      : direction > 0 ? events.find((event) => event.at > at) : events.findLast((event) => event.at < at);
    if (found) {
      this.jump(found);
    }
  }

  keep() {
    const parts = [`v=${this.view.from},${this.view.to}`];
    for (const name of CURSORS) {
      if (this.cursors[name]) {
        parts.push(`${name}=${this.cursors[name].time}`);
      }
    }
    parts.push(`s=${this.record.shown().map((signal) => signal.id).join(",")}`);
    history.replaceState(null, "", `#${parts.join("&")}`);
  }

  restore() {
    const parts = new Map(location.hash.slice(1).split("&").map((part) => part.split("=")));
    const [from, to] = (parts.get("v") ?? "").split(",").map(Number);
    if (Number.isFinite(from) && Number.isFinite(to) && to > from) {
      this.show(from, to, "address");
    }
    if (parts.get("s")) {
      const ids = new Set(parts.get("s").split(","));
      this.record.signals.forEach((signal) => { signal.shown = ids.has(signal.id); });
    }
    for (const name of CURSORS) {
      const t = Number(parts.get(name) ?? NaN);
      if (Number.isFinite(t)) {
        this.cursors.set(name, t);
      }
    }
    this.cursors.use("t1");
  }
}
