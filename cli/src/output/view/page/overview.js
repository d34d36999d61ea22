// The whole record in a strip: what is in view, the cursors, the events. A press moves the view there.

import { CURSORS } from "./cursors.js";
import { Canvas } from "./surface.js";
import { draw as trace, range } from "./traces.js";
import { TimeAxis, ValueAxis } from "./axes.js";

const HEIGHT = 34;

export class Overview {
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
    const t = this.times.t(event.clientX - this.canvas.getBoundingClientRect().left);
    const half = (this.page.view.to - this.page.view.from) / 2;
    this.page.show(t - half, t + half, "overview");
  }

  draw(width, colours) {
    const { record, view, cursors } = this.page;
    const surface = new Canvas(this.canvas, width, HEIGHT);
    const [from, to] = record.whole();
    const times = new TimeAxis(from, to, 8, width - 8);
    this.times = times;
    surface.box(0, 0, width, HEIGHT, colours.ground);
    const signal = record.shown()[0];
    const found = signal && record.windowFor(signal, from, to);
    const seen = found && range(found, from, to);
    if (seen) {
      const axis = new ValueAxis(...seen, signal.unit, 6, HEIGHT - 6);
      trace(surface, found, times, axis, { colour: colours.faint, width: 1, dash: [] });
    }
    for (const event of record.marks()) {
      const x = times.x(event.at);
      surface.line([x, HEIGHT - 8, x, HEIGHT], colours.mark, 1.5);
    }
    for (const name of CURSORS) {
      if (cursors[name]) {
        const x = times.x(cursors[name].time);
        surface.line([x, 0, x, HEIGHT], colours.cursors[name], 1.4, name === "t2" ? [4, 2] : []);
      }
    }
    let [a, b] = [times.x(view.from), times.x(view.to)];
    if (b - a < 6) {
      [a, b] = [(a + b) / 2 - 3, (a + b) / 2 + 3];
    }
    surface.box(0, 0, Math.max(0, a), HEIGHT, colours.shade);
    surface.box(b, 0, Math.max(0, width - b), HEIGHT, colours.shade);
    surface.line([a, 1, b, 1, b, HEIGHT - 1, a, HEIGHT - 1, a, 1], colours.accent, 2);
  }
}
