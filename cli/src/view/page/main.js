// The page: what is in view and what is chosen, and who draws it.

import { Between } from "./between.js";
import { Cursors } from "./cursors.js";
import { FOOT, foot, layout, sheet } from "./draw.js";
import { listen } from "./keys.js";
import { happenings, signals } from "./lists.js";
import { isDark, look } from "./look.js";
import { Moves } from "./moves.js";
import { time, told, typedTime } from "./numbers.js";
import { panels } from "./panels.js";
import { Energy, span, table } from "./readings.js";
import { Record } from "./record.js";
import { Ribbon } from "./ribbon.js";
import { offer } from "./save.js";
import { Canvas } from "./surface.js";
import { InView } from "./view.js";

const find = (id) => document.getElementById(id);
/** How often a growing file is looked at again, ms. */
const AGAIN = 3000;

class Page extends InView {
  constructor() {
    super();
    this.sheet = find("sheet");
    this.panels = [];
    this.settings = { fit: true, held: null };
    this.look = look();
    this.record = new Record((good) => {
      if (!good) {
        this.trouble(this.record.trouble);
      }
      this.redraw();
    });
    this.cursors = new Cursors(this);
    this.between = new Between(this);
    this.ribbon = new Ribbon(find("ribbon"), this);
    this.moves = new Moves(this.sheet, this);
    this.energy = new Energy(this, find("energy"));
    this.drawing = false;
  }

  async begin() {
    try {
      await this.record.open();
    } catch (error) {
      this.trouble(`The result cannot be read: ${error.message}`);
      return;
    }
    [this.view.from, this.view.to] = this.record.whole();
    this.restore();
    this.heads();
    this.chosen();
    this.listens();
    listen(this);
    find("happening-list").closest("section").hidden = this.record.events().length === 0;
    this.lists();
    document.body.dataset.ready = "yes";
    setTimeout(() => this.again(), AGAIN);
  }

  listens() {
    new ResizeObserver(() => this.redraw()).observe(this.sheet);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.themed());
    find("search").addEventListener("input", () => this.lists());
    find("theme").addEventListener("click", () => this.theme());
    find("open-keys").addEventListener("click", () => this.help());
    find("open-save").addEventListener("click", () => this.save());
    for (const what of ["signals", "happenings"]) {
      find(`open-${what}`).addEventListener("click", () => this.side(document.body.dataset.side === what ? "" : what));
    }
    const act = {
      whole: () => this.whole(), between: () => this.toCursors(), back: () => this.back(),
      in: () => this.zoom(1 / 1.6, this.focus(), "tools"), out: () => this.zoom(1.6, this.focus(), "tools"),
      a: () => this.cursors.use("A"), b: () => this.cursors.use("B"), fit: () => this.fit(),
    };
    find("tools").addEventListener("click", (event) => act[event.target.closest("button")?.dataset.do]?.());
  }

  /** Titles and notices. */
  heads() {
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
      ? `${f.name}: the run is still writing; ${f.w.samples} samples up to ${time(f.w.to)} are safe so far.`
      : `${f.name} is partial: its run did not come to its end. What it wrote ends at ${time(f.w.to)}.`)).join(" ");
  }

  trouble(text) {
    const notice = find("notice");
    notice.hidden = false;
    notice.textContent = text === "Failed to fetch" ? "The program does not answer any more: start it again." : text;
  }

  say(text) {
    find("said").textContent = text;
  }

  /** Looks at files that grow. */
  async again() {
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
          this.heads();
          if (follows) {
            [this.view.from, this.view.to] = this.record.whole();
          }
          this.chosen(false);
        } else {
          this.heads();
        }
      } catch (error) {
        this.trouble(error.message);
      }
    }
    setTimeout(() => this.again(), AGAIN);
  }

  hold(held) {
    const scales = this.place?.placed.filter((p) => p.upright) ?? [];
    this.settings.held = held ? new Map(scales.map((p) => [p.panel.signals[0].id, p.upright])) : null;
    this.redraw();
  }

  fit() {
    this.settings.fit = !this.settings.fit;
    this.tools();
    this.redraw();
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

  apart(signal) {
    signal.apart = !signal.apart;
    this.chosen();
  }

  shift(file, field) {
    const shift = typedTime(field.value);
    if (Number.isFinite(shift)) {
      file.shift = shift;
      this.cursors.again();
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
    this.cursors.again();
    this.told();
    this.tools();
    this.redraw();
  }

  lists() {
    signals(this, find("signal-list"), find("search").value);
    happenings(this, find("happening-list"), find("kinds"));
  }

  quieten(kind, quiet) {
    this.record.quiet[quiet ? "add" : "delete"](kind);
    this.lists();
    this.redraw();
  }

  /** A cursor has moved. */
  moved() {
    if (this.here && this.here.cursor === null && this.cursors.A?.settled) {
      this.here.cursor = this.cursors.A.time;
    }
    this.between.start();
    this.told();
    this.redraw();
  }

  /** Numbers have come. */
  told() {
    table(this, find("table"));
    span(this, find("span"));
    this.energy.draw();
  }

  tools() {
    find("use-a").setAttribute("aria-pressed", String(this.cursors.active === "A"));
    find("use-b").setAttribute("aria-pressed", String(this.cursors.active === "B"));
    find("fit").setAttribute("aria-pressed", String(this.settings.fit));
  }

  // ---- dialogs and looks --------------------------------------------------------------------------------------

  /** On a small screen: which list is open. */
  side(what) {
    document.body.dataset.side = what;
    for (const name of ["signals", "happenings"]) {
      find(`open-${name}`).setAttribute("aria-expanded", String(name === what));
    }
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
      this.trouble(error.message);
    }
  }

  light() {
    return look(true);
  }

  theme() {
    document.documentElement.dataset.theme = isDark() ? "light" : "dark";
    this.themed();
  }

  themed() {
    this.look = look();
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
    const width = this.sheet.clientWidth;
    // On a small screen the sheet is as high as it must be, and the page scrolls.
    const height = getComputedStyle(this.sheet).overflowY === "visible" ? 0 : this.sheet.clientHeight;
    if (width < 50) {
      return;
    }
    this.ruler ??= new Canvas(document.createElement("canvas"), 10, 10);
    const nameOf = (signal) => this.record.nameOf(signal);
    const place = layout(this.ruler, this.panels, this.view, width, height, nameOf);
    this.place = place;
    this.record.ensure(this.view.from, this.view.to, Math.ceil((place.right - place.left) * Math.min(2, devicePixelRatio)));
    const surface = new Canvas(find("paper"), width, place.height);
    foot(new Canvas(find("axis"), width, FOOT), place, this.look, 0);
    sheet(surface, place, this.look, this.record, this.cursors, this.settings);
    if (this.stretch) {
      const [a, b] = this.stretch.map((t) => place.across.x(t)).sort((x, y) => x - y);
      surface.box(a, place.top, b - a, place.bottom - place.top, this.look.shade);
    }
    this.ribbon.draw(find("ribbon").parentElement.clientWidth, this.look);
    find("where").textContent = `${told(this.view.to - this.view.from, "s", 4)} in view`;
    clearTimeout(this.keeping);
    this.keeping = setTimeout(() => this.keep(), 300);
    document.body.dataset.drawn = String(Number(document.body.dataset.drawn ?? 0) + 1);
  }
}

const page = new Page();
page.begin();
