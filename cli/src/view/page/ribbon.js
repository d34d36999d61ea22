// The whole record in a ribbon: what is in view, the cursors, the happenings. A press moves the view there.

import { Canvas } from "./surface.js";
import { draw as trace, range } from "./traces.js";
import { Across, Upright } from "./axes.js";

const HEIGHT = 34;

export class Ribbon {
  constructor(canvas, page) {
    this.canvas = canvas;
    this.page = page;
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      this.go(event);
    });
    canvas.addEventListener("pointermove", (event) => {
      if (event.buttons & 1 && canvas.hasPointerCapture(event.pointerId)) {
        this.go(event);
      }
    });
  }

  go(event) {
    const t = this.across.t(event.clientX - this.canvas.getBoundingClientRect().left);
    const half = (this.page.view.to - this.page.view.from) / 2;
    this.page.show(t - half, t + half, "ribbon");
  }

  draw(width, look) {
    const { record, view, cursors } = this.page;
    const surface = new Canvas(this.canvas, width, HEIGHT);
    const [from, to] = record.whole();
    const across = new Across(from, to, 8, width - 8);
    this.across = across;
    surface.box(0, 0, width, HEIGHT, look.ground);
    const signal = record.shown()[0];
    const found = signal && record.windowFor(signal, from, to);
    const seen = found && range(found, from, to);
    if (seen) {
      const upright = new Upright(...seen, signal.unit, 6, HEIGHT - 6);
      trace(surface, found, across, upright, { colour: look.faint, width: 1, dash: [] });
    }
    for (const event of record.marks()) {
      const x = across.x(event.at);
      surface.line([x, HEIGHT - 8, x, HEIGHT], look.mark, 1.5);
    }
    for (const name of ["A", "B"]) {
      if (cursors[name]) {
        const x = across.x(cursors[name].time);
        surface.line([x, 0, x, HEIGHT], look.cursors[name], 1.4, name === "B" ? [4, 2] : []);
      }
    }
    let [a, b] = [across.x(view.from), across.x(view.to)];
    if (b - a < 6) {
      [a, b] = [(a + b) / 2 - 3, (a + b) / 2 + 3];
    }
    surface.box(0, 0, Math.max(0, a), HEIGHT, look.shade);
    surface.box(b, 0, Math.max(0, width - b), HEIGHT, look.shade);
    surface.line([a, 1, b, 1, b, HEIGHT - 1, a, HEIGHT - 1, a, 1], look.accent, 2);
  }
}
