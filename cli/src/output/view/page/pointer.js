// Pointers on the plot: wheel, drag, pinch, click, and the cursors taken by hand.

import { CURSORS } from "./cursors.js";

/** How near a press must be to a cursor to take it, px. */
const NEAR = 7;
/** How far a press may wander and still be a click, px. */
const STILL = 4;

export class Pointer {
  constructor(plot, page) {
    this.plot = plot;
    this.page = page;
    this.pointers = new Map();
    this.gesture = null;
    plot.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    plot.addEventListener("pointerdown", (event) => this.down(event));
    plot.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) {
      plot.addEventListener(name, (event) => this.up(event));
    }
    plot.addEventListener("dblclick", (event) => {
      if (this.inside(event)) {
        this.page.whole();
      }
    });
  }

  x(event) {
    return event.clientX - this.plot.getBoundingClientRect().left;
  }

  inside(event) {
    const place = this.page.place;
    const x = this.x(event);
    return place && x >= place.left - NEAR && x <= place.right + NEAR;
  }

  wheel(event) {
    if (!this.page.place) {
      return;
    }
    event.preventDefault();
    const { times } = this.page.place;
    const unit = event.deltaMode === 1 ? 30 : event.deltaMode === 2 ? 300 : 1;
    const span = times.to - times.from;
    const sideways = event.shiftKey && event.deltaX === 0 ? event.deltaY : event.deltaX;
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      const by = (sideways * unit * span) / (times.right - times.left);
      this.page.show(times.from + by, times.to + by, "wheel");
      return;
    }
    // A pinch on a touch pad comes as a wheel with small numbers.
    const factor = Math.exp(Math.max(-300, Math.min(300, event.deltaY * unit)) * (event.ctrlKey ? 0.01 : 0.0022));
    this.page.zoom(factor, times.t(Math.min(times.right, Math.max(times.left, this.x(event)))), "wheel");
  }

  down(event) {
    if (!this.inside(event) || (event.pointerType === "mouse" && event.button !== 0)) {
      return;
    }
    this.plot.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, this.x(event));
    const { times } = this.page.place;
    if (this.pointers.size === 2) {
      const [a, b] = [...this.pointers.values()];
      this.gesture = { what: "pinch", a: times.t(a), b: times.t(b) };
      this.page.remember();
      return;
    }
    const x = this.x(event);
    const near = (name) => {
      const cursor = this.page.cursors[name];
      return cursor && Math.abs(times.x(cursor.time) - x) <= NEAR;
    };
    const taken = CURSORS.find((name) => near(name) && !event.shiftKey);
    this.gesture = taken
      ? { what: "cursor", name: taken, x }
      : { what: event.shiftKey ? "stretch" : "pan", x, t: times.t(x), from: times.from, to: times.to, far: false };
  }

  move(event) {
    if (!this.pointers.has(event.pointerId)) {
      this.hint(event);
      return;
    }
    const x = this.x(event);
    this.pointers.set(event.pointerId, x);
    const { times } = this.page.place;
    const gesture = this.gesture;
    if (!gesture) {
      return;
    }
    if (gesture.what === "cursor") {
      this.page.cursors.put(gesture.name, times.t(x));
    } else if (gesture.what === "pinch" && this.pointers.size === 2) {
      const [a, b] = [...this.pointers.values()];
      if (Math.abs(a - b) > 10) {
        const scale = (gesture.b - gesture.a) / (b - a);
        if (scale > 0) {
          const from = gesture.a - (a - times.left) * scale;
          this.page.show(from, from + (times.right - times.left) * scale, "pinch");
        }
      }
    } else if (gesture.what === "pan") {
      if (!gesture.far && Math.abs(x - gesture.x) > STILL) {
        gesture.far = true;
        this.page.remember();
        this.page.hold(true);
      }
      if (gesture.far) {
        const by = ((gesture.x - x) * (gesture.to - gesture.from)) / (times.right - times.left);
        this.page.show(gesture.from + by, gesture.to + by, "pan");
      }
    } else if (gesture.what === "stretch") {
      gesture.far = gesture.far || Math.abs(x - gesture.x) > STILL;
      this.page.stretch = gesture.far ? [gesture.t, times.t(x)] : null;
      this.page.redraw();
    }
  }

  /** The shape of the pointer over a cursor. */
  hint(event) {
    const place = this.page.place;
    if (!place) {
      return;
    }
    const x = this.x(event);
    const near = CURSORS.some((name) => {
      const cursor = this.page.cursors[name];
      return cursor && Math.abs(place.times.x(cursor.time) - x) <= NEAR;
    });
    this.plot.style.cursor = near ? "ew-resize" : this.inside(event) ? "crosshair" : "default";
  }

  up(event) {
    if (!this.pointers.delete(event.pointerId)) {
      return;
    }
    const gesture = this.gesture;
    this.gesture = null;
    this.page.hold(false);
    if (!gesture || event.type === "pointercancel") {
      this.page.stretch = null;
      return;
    }
    const t = this.page.place.times.t(this.x(event));
    if (gesture.what === "stretch" && gesture.far) {
      this.page.stretch = null;
      this.page.remember();
      this.page.show(Math.min(gesture.t, t), Math.max(gesture.t, t), "stretch");
    } else if ((gesture.what === "pan" || gesture.what === "stretch") && !gesture.far) {
      this.page.cursors.put(gesture.what === "stretch" ? "t2" : this.page.cursors.active, t);
    }
  }
}
