// Pointers on the sheet: wheel, drag, pinch, click, and the cursors taken by hand.

/** How near a press must be to a cursor to take it, px. */
const NEAR = 7;
/** How far a press may wander and still be a click, px. */
const STILL = 4;

export class Moves {
  constructor(sheet, page) {
    this.sheet = sheet;
    this.page = page;
    this.pointers = new Map();
    this.doing = null;
    sheet.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    sheet.addEventListener("pointerdown", (event) => this.down(event));
    sheet.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) {
      sheet.addEventListener(name, (event) => this.up(event));
    }
    sheet.addEventListener("dblclick", (event) => {
      if (this.inside(event)) {
        this.page.whole();
      }
    });
  }

  x(event) {
    return event.clientX - this.sheet.getBoundingClientRect().left;
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
    const { across } = this.page.place;
    const unit = event.deltaMode === 1 ? 30 : event.deltaMode === 2 ? 300 : 1;
    const span = across.to - across.from;
    const sideways = event.shiftKey && event.deltaX === 0 ? event.deltaY : event.deltaX;
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      const by = (sideways * unit * span) / (across.right - across.left);
      this.page.show(across.from + by, across.to + by, "wheel");
      return;
    }
    // A pinch on a touch pad comes as a wheel with small numbers.
    const factor = Math.exp(Math.max(-300, Math.min(300, event.deltaY * unit)) * (event.ctrlKey ? 0.01 : 0.0022));
    this.page.zoom(factor, across.t(Math.min(across.right, Math.max(across.left, this.x(event)))), "wheel");
  }

  down(event) {
    if (!this.inside(event) || (event.pointerType === "mouse" && event.button !== 0)) {
      return;
    }
    this.sheet.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, this.x(event));
    const { across } = this.page.place;
    if (this.pointers.size === 2) {
      const [a, b] = [...this.pointers.values()];
      this.doing = { what: "pinch", a: across.t(a), b: across.t(b) };
      this.page.remember();
      return;
    }
    const x = this.x(event);
    const near = (name) => {
      const cursor = this.page.cursors[name];
      return cursor && Math.abs(across.x(cursor.time) - x) <= NEAR;
    };
    const taken = ["A", "B"].find((name) => near(name) && !event.shiftKey);
    this.doing = taken
      ? { what: "cursor", name: taken, x }
      : { what: event.shiftKey ? "stretch" : "pan", x, t: across.t(x), from: across.from, to: across.to, far: false };
  }

  move(event) {
    if (!this.pointers.has(event.pointerId)) {
      this.hint(event);
      return;
    }
    const x = this.x(event);
    this.pointers.set(event.pointerId, x);
    const { across } = this.page.place;
    const doing = this.doing;
    if (!doing) {
      return;
    }
    if (doing.what === "cursor") {
      this.page.cursors.put(doing.name, across.t(x));
    } else if (doing.what === "pinch" && this.pointers.size === 2) {
      const [a, b] = [...this.pointers.values()];
      if (Math.abs(a - b) > 10) {
        const scale = (doing.b - doing.a) / (b - a);
        if (scale > 0) {
          const from = doing.a - (a - across.left) * scale;
          this.page.show(from, from + (across.right - across.left) * scale, "pinch");
        }
      }
    } else if (doing.what === "pan") {
      if (!doing.far && Math.abs(x - doing.x) > STILL) {
        doing.far = true;
        this.page.remember();
        this.page.hold(true);
      }
      if (doing.far) {
        const by = ((doing.x - x) * (doing.to - doing.from)) / (across.right - across.left);
        this.page.show(doing.from + by, doing.to + by, "pan");
      }
    } else if (doing.what === "stretch") {
      doing.far = doing.far || Math.abs(x - doing.x) > STILL;
      this.page.stretch = doing.far ? [doing.t, across.t(x)] : null;
      this.page.redraw();
    }
  }

  /** The pointer tells that a cursor can be taken. */
  hint(event) {
    const place = this.page.place;
    if (!place) {
      return;
    }
    const x = this.x(event);
    const near = ["A", "B"].some((name) => {
      const cursor = this.page.cursors[name];
      return cursor && Math.abs(place.across.x(cursor.time) - x) <= NEAR;
    });
    this.sheet.style.cursor = near ? "ew-resize" : this.inside(event) ? "crosshair" : "default";
  }

  up(event) {
    if (!this.pointers.delete(event.pointerId)) {
      return;
    }
    const doing = this.doing;
    this.doing = null;
    this.page.hold(false);
    if (!doing || event.type === "pointercancel") {
      this.page.stretch = null;
      return;
    }
    const t = this.page.place.across.t(this.x(event));
    if (doing.what === "stretch" && doing.far) {
      this.page.stretch = null;
      this.page.remember();
      this.page.show(Math.min(doing.t, t), Math.max(doing.t, t), "stretch");
    } else if ((doing.what === "pan" || doing.what === "stretch") && !doing.far) {
      this.page.cursors.put(doing.what === "stretch" ? "B" : this.page.cursors.active, t);
    }
  }
}
