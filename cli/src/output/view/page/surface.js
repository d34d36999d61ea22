// What is drawn on: the page's canvas, or a standalone SVG of the same strokes.

const FONT = "system-ui, sans-serif";
/** Opacity of ranges of values: what lies behind them is still seen. */
const FILL = 0.3;
const EDGE = 0.75;

export class Canvas {
  constructor(canvas, width, height) {
    const ratio = Math.min(3, window.devicePixelRatio || 1);
    this.width = width;
    this.height = height;
    const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
    if (canvas.width !== w || canvas.height !== h) {
      canvas.width = w;
      canvas.height = h;
      canvas.style.width = `${width}px`;
      canvas.style.height = `${height}px`;
    }
    this.pen = canvas.getContext("2d");
    this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.pen.clearRect(0, 0, width, height);
  }

  box(x, y, w, h, colour) {
    this.pen.fillStyle = colour;
    this.pen.fillRect(x, y, w, h);
  }

  trail(points, closed) {
    this.pen.beginPath();
    for (let k = 0; k < points.length; k += 2) {
      if (k === 0) {
        this.pen.moveTo(points[0], points[1]);
      } else {
        this.pen.lineTo(points[k], points[k + 1]);
      }
    }
    if (closed) {
      this.pen.closePath();
    }
  }

  line(points, colour, width = 1, dash = []) {
    this.trail(points, false);
    this.pen.strokeStyle = colour;
    this.pen.lineWidth = width;
    this.pen.lineJoin = "round";
    this.pen.setLineDash(dash);
    this.pen.stroke();
    this.pen.setLineDash([]);
  }

  area(points, colour, width) {
    this.trail(points, true);
    this.pen.globalAlpha = FILL;
    this.pen.fillStyle = colour;
    this.pen.fill();
    this.pen.globalAlpha = EDGE;
    this.pen.strokeStyle = colour;
    this.pen.lineWidth = width;
    this.pen.lineJoin = "round";
    this.pen.stroke();
    this.pen.globalAlpha = 1;
  }

  dots(points, colour, radius) {
    this.pen.fillStyle = colour;
    for (let k = 0; k < points.length; k += 2) {
      this.pen.beginPath();
      this.pen.arc(points[k], points[k + 1], radius, 0, 7);
      this.pen.fill();
    }
  }

  text(text, x, y, colour, { anchor = "start", size = 12, bold = false } = {}) {
    this.pen.font = `${bold ? "600 " : ""}${size}px ${FONT}`;
    this.pen.textAlign = { start: "left", middle: "center", end: "right" }[anchor];
    this.pen.textBaseline = "alphabetic";
    this.pen.fillStyle = colour;
    this.pen.fillText(text, x, y);
  }

  measure(text, size = 12, bold = false) {
    this.pen.font = `${bold ? "600 " : ""}${size}px ${FONT}`;
    return this.pen.measureText(text).width;
  }

  within(x, y, w, h, draw) {
    this.pen.save();
    this.pen.beginPath();
    this.pen.rect(x, y, w, h);
    this.pen.clip();
    draw();
    this.pen.restore();
  }
}

const SPACE = "http://www.w3.org/2000/svg";
const short = (x) => String(Math.round(x * 100) / 100);

export class Svg {
  constructor(width, height, ruler) {
    this.width = width;
    this.height = height;
    /** A canvas measures texts. */
    this.ruler = ruler;
    this.root = this.make("svg", {
      width, height, viewBox: `0 0 ${width} ${height}`, "font-family": FONT, role: "img",
    });
    this.here = this.root;
    this.clips = 0;
  }

  make(name, attributes) {
    const element = document.createElementNS(SPACE, name);
    for (const [key, value] of Object.entries(attributes)) {
      element.setAttribute(key, value);
    }
    return element;
  }

  add(name, attributes) {
    const element = this.make(name, attributes);
    this.here.append(element);
    return element;
  }

  box(x, y, w, h, colour) {
    this.add("rect", { x: short(x), y: short(y), width: short(w), height: short(h), fill: colour });
  }

  pairs(points) {
    const out = [];
    for (let k = 0; k < points.length; k += 2) {
      out.push(`${short(points[k])},${short(points[k + 1])}`);
    }
    return out.join(" ");
  }

  line(points, colour, width = 1, dash = []) {
    const how = { points: this.pairs(points), fill: "none", stroke: colour, "stroke-width": width };
    if (dash.length > 0) {
      how["stroke-dasharray"] = dash.join(" ");
    }
    this.add("polyline", { ...how, "stroke-linejoin": "round" });
  }

  area(points, colour, width) {
    const how = { points: this.pairs(points), fill: colour, stroke: colour, "stroke-width": width };
    this.add("polygon", { ...how, "fill-opacity": FILL, "stroke-opacity": EDGE, "stroke-linejoin": "round" });
  }

  dots(points, colour, radius) {
    for (let k = 0; k < points.length; k += 2) {
      this.add("circle", { cx: short(points[k]), cy: short(points[k + 1]), r: radius, fill: colour });
    }
  }

  text(text, x, y, colour, { anchor = "start", size = 12, bold = false } = {}) {
    const how = { x: short(x), y: short(y), fill: colour, "font-size": size, "text-anchor": anchor };
    if (bold) {
      how["font-weight"] = 600;
    }
    // Characters that XML does not allow would make the file unreadable.
    this.add("text", how).textContent = text.replace(/[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]/gu, "\ufffd");
  }

  measure(text, size, bold) {
    return this.ruler.measure(text, size, bold);
  }

  within(x, y, w, h, draw) {
    this.clips += 1;
    const id = `clip${this.clips}`;
    const clip = this.add("clipPath", { id });
    clip.append(this.make("rect", { x: short(x), y: short(y), width: short(w), height: short(h) }));
    const before = this.here;
    this.here = this.add("g", { "clip-path": `url(#${id})` });
    draw();
    this.here = before;
  }

  /** The file. */
  written(title) {
    const name = this.make("title", {});
    name.textContent = title.replace(/[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]/gu, "\ufffd");
    this.root.prepend(name);
    return new XMLSerializer().serializeToString(this.root);
  }
}
