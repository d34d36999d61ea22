// The keyboard. Every key has a line in the list that "?" shows.

import { make } from "./lists.js";

const PAN = 0.1;
const PAGE = 0.9;
const ZOOM = 1.6;

/** What is pressed, what it does, in words. */
function keys(page) {
  const { cursors } = page;
  const span = () => page.view.to - page.view.from;
  const pan = (share) => page.show(page.view.from + share * span(), page.view.to + share * span(), "keys");
  const zoom = (factor) => page.zoom(factor, page.focus(), "keys");
  const far = (share) => {
    const cursor = cursors[cursors.active];
    if (cursor) {
      cursors.put(cursors.active, cursor.time + share * span());
    }
  };
  const take = (name) => {
    cursors.use(name);
    const cursor = cursors[name];
    if (!cursor || cursor.time < page.view.from || cursor.time > page.view.to) {
      cursors.put(name, (page.view.from + page.view.to) / 2);
    }
  };
  return [
    [["1"], () => take("t1"), "1, 2", "take cursor t₁ or t₂; bring it into view"],
    [["2"], () => take("t2")],
    [[","], () => cursors.step(cursors.active, -1), ", .", "move the cursor by a sample"],
    [["."], () => cursors.step(cursors.active, 1)],
    [["<", "Shift+<"], () => far(-0.02), "< >", "move the cursor by a fiftieth of the view"],
    [[">", "Shift+>"], () => far(0.02)],
    [["Escape"], () => cursors.clear(), "Esc", "remove the cursors"],
    [["n"], () => page.next(1), "N, P", "next or previous event, cursor t₁ there"],
    [["p"], () => page.next(-1)],
    [["d"], () => page.details(), "D", "more readings: difference, mean, extremes"],
    [["ArrowLeft"], () => pan(-PAN), "← →", "move the view by a tenth"],
    [["ArrowRight"], () => pan(PAN)],
    [["Shift+ArrowLeft"], () => pan(-PAGE), "Shift ← →", "move the view by nearly all of it"],
    [["Shift+ArrowRight"], () => pan(PAGE)],
    [["ArrowUp", "+", "="], () => zoom(1 / ZOOM), "↑ ↓ or + −", "zoom, about the cursor if it is in view"],
    [["ArrowDown", "-"], () => zoom(ZOOM)],
    [["Home"], () => page.end(-1), "Home, End", "go to the beginning or the end"],
    [["End"], () => page.end(1)],
    [["w"], () => page.whole(), "W, double click", "show the whole record"],
    [["i"], () => page.toInterval(), "I", "show the interval from t₁ to t₂"],
    [["Backspace"], () => page.back(), "Backspace", "show the view before"],
    [["y"], () => page.scale(), "Y", "scale the axes to the view, or to the whole record"],
    [["s", "/"], () => page.search(), "S or /", "choose and search signals"],
    [["v"], () => page.toggleSide("events"), "V", "list of events"],
    [["x"], () => page.save(), "X", "save the picture or the samples"],
    [["l"], () => page.theme(), "L", "light or dark"],
    [["?"], () => page.help(), "?", "this list"],
    [[], null, "wheel, pinch", "zoom at the pointer"],
    [[], null, "drag, Shift wheel", "move the view"],
    [[], null, "Shift drag", "zoom into a stretch"],
    [[], null, "click, Shift click", "set the cursor in use, cursor t₂; drag one to move it"],
  ];
}

export function listen(page) {
  const all = keys(page);
  const known = new Map(all.flatMap(([names, act]) => names.map((name) => [name, act])));
  document.addEventListener("keydown", (event) => {
    const field = event.target.closest?.("input:not([type=checkbox]), select, textarea, dialog[open]");
    if (event.ctrlKey || event.metaKey || event.altKey || field) {
      if (field?.id === "search" && event.key === "Escape") {
        page.plot.focus();
      }
      return;
    }
    // Elsewhere the arrows scroll and the checkboxes take what is theirs.
    const arrows = event.key.startsWith("Arrow") || event.key === "Home" || event.key === "End";
    if (arrows && event.target !== document.body && !event.target.closest("#plot, button")) {
      return;
    }
    // Letters are the same with Shift and without.
    const key = /^[A-Z]$/.test(event.key) ? event.key.toLowerCase() : event.key;
    const act = (event.shiftKey && known.get(`Shift+${key}`)) || known.get(key);
    if (act) {
      event.preventDefault();
      act();
    }
  });
  const lines = all.filter(([, , keys]) => keys);
  const list = lines.flatMap(([, , keys, words]) => [make("dt", {}, keys), make("dd", {}, words)]);
  document.getElementById("key-list").replaceChildren(...list);
}
