// The page: what is in view and what is chosen, and who draws it.

import { Cursors } from "./cursors.js";
import { FOOT, foot, sheet } from "./draw.js";
import { Integrals } from "./integrals.js";
import { listen } from "./keys.js";
import { layout } from "./layout.js";
import { events, signals } from "./lists.js";
import { Navigation } from "./navigation.js";
import { time, typedTime } from "./numbers.js";
import { Overview } from "./overview.js";
import { panels } from "./panels.js";
import { Pointer } from "./pointer.js";
import { Readings, instants } from "./readings.js";
import { Record } from "./record.js";
import { offer } from "./save.js";
import { Canvas } from "./surface.js";
import { colours, isDark } from "./theme.js";

const find = (id) => document.getElementById(id);
/** Width of the window from which on the signals are listed at first, px. */
const WIDE = 1700;
/** Width from which on legends stand beside their panels, px. */
const BESIDE = 820;
/** Width of the window up to which the page scrolls, as in the style sheet, px. */
const NARROW = 760;
/** How often a growing file is looked at again, ms. */
const POLL = 3000;

class Page extends Navigation {
  constructor() {
    super();
    this.plot = find("plot");
    this.panels = [];
    this.settings = { scaled: true, details: false, held: null };
    this.colours = colours();
    this.record = new Record((good) => {
      if (!good) {
        this.problem(this.record.problem);
      }
      this.redraw();
    });
    this.cursors = new Cursors(this);
    this.integrals = new Integrals(this);
    this.overview = new Overview(find("overview"), this);
    this.pointer = new Pointer(this.plot, this);
    this.readings = new Readings(this, find("readings"));
    this.drawing = false;
  }

  async begin() {
    try {
      await this.record.open();
    } catch (error) {
      this.problem(`The result cannot be read: ${error.message}`);
      return;
    }
    [this.view.from, this.view.to] = this.record.whole();
    this.restore();
    this.titles();
    this.chosen();
    this.listens();
    listen(this);
    find("open-events").hidden = this.record.events().length === 0;
    this.side(innerWidth >= WIDE ? "signals" : "");
    this.lists();
    document.body.dataset.ready = "yes";
    setTimeout(() => this.poll(), POLL);
  }

  listens() {
    new ResizeObserver(() => this.redraw()).observe(this.plot);
    new ResizeObserver(() => this.redraw()).observe(find("sheet"));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.themed());
    find("search").addEventListener("input", () => this.lists());
    find("theme").addEventListener("click", () => this.theme());
    find("open-keys").addEventListener("click", () => this.help());
    find("open-save").addEventListener("click", () => this.save());
    for (const what of ["signals", "events"]) {
      find(`open-${what}`).addEventListener("click", () => this.toggleSide(what));
    }
    const act = {
      whole: () => this.whole(), interval: () => this.toInterval(), back: () => this.back(),
      in: () => this.zoom(1 / 1.6, this.focus(), "tools"), out: () => this.zoom(1.6, this.focus(), "tools"),
      t1: () => this.cursors.use("t1"), t2: () => this.cursors.use("t2"),
      scale: () => this.scale(), details: () => this.details(),
    };
    find("tools").addEventListener("click", (event) => act[event.target.closest("button")?.dataset.do]?.());
  }

  /** Titles and notices. */
  titles() {
    const [file] = this.record.files;
    const names = this.record.files.map((f) => (f.label ? `${f.label}: ${f.name}` : f.name)).join("   ");
    find("title").textContent = file.title || file.name;
    find("about").textContent = names;
    find("about").title = this.record.files.map((f) => `${f.path}\n${f.producer}, ${f.created}`).join("\n");
    document.title = `${file.name} · Joulestep`;
    const partial = this.record.files.filter((f) => !f.complete);
    const notice = find("notice");
    notice.hidden = partial.length === 0;
    notice.textContent = partial.map((f) => (f.writing
      ? `${f.name}: run in progress, ${f.w.samples} samples saved up to ${time(f.w.to)}.`
      : `${f.name} is partial: the run was interrupted; the record ends at ${time(f.w.to)}.`)).join(" ");
  }

  problem(text) {
    const notice = find("notice");
    notice.hidden = false;
    notice.textContent = text === "Failed to fetch" ? "The program does not respond: start it again." : text;
  }

  say(text) {
    find("said").textContent = text;
  }

  /** Looks at files that grow. */
  async poll() {
    if (!this.record.files.some((file) => !file.complete)) {
      return;
    }
    if (this.record.files.some((file) => file.writing) && !document.hidden) {
      const [from, to] = this.record.whole();
      const follows = this.view.from <= from && this.view.to >= to;
      try {
        const samples = this.record.files.map((file) => file.w.samples).join();
        await this.record.refresh();
        if (samples !== this.record.files.map((file) => file.w.samples).join()) {
          await Promise.all(this.record.files.map((_, f) => this.record.readEvents(f)));
          this.record.forget();
          this.titles();
          if (follows) {
            [this.view.from, this.view.to] = this.record.whole();
          }
          this.chosen(false);
        } else {
          this.titles();
        }
      } catch (error) {
        this.problem(error.message);
      }
    }
    setTimeout(() => this.poll(), POLL);
  }

  hold(held) {
    const scales = this.place?.placed.filter((p) => p.axis) ?? [];
    this.settings.held = held ? new Map(scales.map((p) => [p.panel.signals[0].id, p.axis])) : null;
    this.redraw();
  }

  /** Axes to what is in view, or to the whole record. */
  scale() {
    this.settings.scaled = !this.settings.scaled;
    this.tools();
    this.redraw();
  }

  /** More readings, or fewer. */
  details() {
    this.settings.details = !this.settings.details;
    this.tools();
    this.refill();
    this.redraw();
  }

  /** An instant or a time, with the digits that the view can show. */
  time(t) {
    return time(t, (this.view.to - this.view.from) / 2e3);
  }

  // ---- what is chosen -----------------------------------------------------------------------------------------

  choose(signal, shown) {
    signal.shown = shown;
    this.chosen();
  }

  chooseAll(own, shown) {
    own.forEach((signal) => { signal.shown = shown; });
    this.chosen();
  }

  ownAxis(signal) {
    signal.ownAxis = !signal.ownAxis;
    this.chosen();
  }

  shift(file, field) {
    const shift = typedTime(field.value);
    if (Number.isFinite(shift)) {
      file.shift = shift;
      this.cursors.reread();
      this.lists();
      this.redraw();
    }
    field.value = time(file.shift);
  }

  chosen(lists = true) {
    this.panels = panels(this.record.shown());
    if (lists) {
      this.lists();
    }
    this.readings.build();
    this.cursors.reread();
    this.refill();
    this.tools();
    this.redraw();
  }

  lists() {
    signals(this, find("signal-list"), find("search").value);
    events(this, find("event-list"), find("kinds"));
  }

  hideKind(kind, hide) {
    this.record.hiddenKinds[hide ? "add" : "delete"](kind);
    this.lists();
    this.redraw();
  }

  /** A cursor has moved. */
  moved() {
    if (this.here && this.here.cursor === null && this.cursors.t1?.settled) {
      this.here.cursor = this.cursors.t1.time;
    }
    this.integrals.start();
    this.refill();
    this.redraw();
  }

  /** Numbers have come: legends may be higher with them. */
  refill() {
    const before = this.readings.heights().join();
    this.readings.fill();
    instants(this);
    if (this.readings.heights().join() !== before) {
      this.redraw();
    }
  }

  tools() {
    for (const name of ["t1", "t2"]) {
      find(`use-${name}`).setAttribute("aria-pressed", String(this.cursors.active === name));
    }
    find("scale").setAttribute("aria-pressed", String(this.settings.scaled));
    find("details").setAttribute("aria-pressed", String(this.settings.details));
    instants(this);
  }

  // ---- dialogs and looks --------------------------------------------------------------------------------------

  /** Which list is open, if any. */
  side(what) {
    document.body.dataset.side = what;
    for (const name of ["signals", "events"]) {
      find(`open-${name}`).setAttribute("aria-expanded", String(name === what));
    }
  }

  toggleSide(what) {
    this.side(document.body.dataset.side === what ? "" : what);
  }

  search() {
    this.side("signals");
    find("search").focus();
  }

  help() {
    find("keys").showModal();
  }

  async save() {
    try {
      await offer(this, find("save-list"), find("save-said"));
      find("save").showModal();
    } catch (error) {
      this.problem(error.message);
    }
  }

  light() {
    return colours(true);
  }

  theme() {
    document.documentElement.dataset.theme = isDark() ? "light" : "dark";
    this.themed();
  }

  themed() {
    this.colours = colours();
    this.chosen();
  }

  // ---- drawing ------------------------------------------------------------------------------------------------

  redraw() {
    if (!this.drawing) {
      this.drawing = true;
      requestAnimationFrame(() => {
        this.drawing = false;
        this.draw();
      });
    }
  }

  draw() {
    if (this.record.files.length === 0) {
      return;
    }
    const above = find("sheet").clientWidth < BESIDE;
    document.body.dataset.legends = above ? "above" : "beside";
    const width = this.plot.clientWidth;
    // On a small screen the panels are as high as they must be, and the page scrolls.
    const height = innerWidth <= NARROW ? 0 : find("sheet").clientHeight;
    if (width < 50) {
      return;
    }
    this.ruler ??= new Canvas(document.createElement("canvas"), 10, 10);
    const place = layout(this.panels, this.view, width, height, this.readings.heights(), above);
    this.place = place;
    this.readings.put(place.placed);
    this.record.ensure(this.view.from, this.view.to, Math.ceil((place.right - place.left) * Math.min(2, devicePixelRatio)));
    const surface = new Canvas(find("paper"), width, place.height);
    foot(new Canvas(find("axis"), width, FOOT), place, this.colours, 0, this.cursors, (t) => this.time(t));
    sheet(surface, place, this.colours, this.record, this.cursors, this.settings);
    if (this.stretch) {
      const [a, b] = this.stretch.map((t) => place.times.x(t)).sort((x, y) => x - y);
      surface.box(a, place.top, b - a, place.bottom - place.top, this.colours.shade);
    }
    this.overview.draw(find("overview").parentElement.clientWidth, this.colours);
    if (this.shownSpan !== this.view.to - this.view.from) {
      this.shownSpan = this.view.to - this.view.from;
      instants(this);
    }
    clearTimeout(this.keeping);
    this.keeping = setTimeout(() => this.keep(), 300);
    document.body.dataset.drawn = String(Number(document.body.dataset.drawn ?? 0) + 1);
  }
}

const page = new Page();
page.begin();
