// Colours of the page as the style sheet has them, for what is drawn.

const NAMES = ["paper", "ground", "ink", "grey", "faint", "grid", "axis", "mark", "shade", "veil", "accent", "between"];

/** Okabe and Ito (2008); on white without yellow, on black without blue, which are lost there. */
const LIGHT = ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9"];
const DARK = ["#56b4e9", "#e69f00", "#009e73", "#cc79a7", "#f0e442", "#d55e00"];

/** The colours in force, or those of the light page. */
export function colours(light = false) {
  const root = document.documentElement;
  const before = root.dataset.theme;
  if (light) {
    root.dataset.theme = "light";
  }
  const style = getComputedStyle(root);
  const get = (name) => style.getPropertyValue(`--${name}`).trim();
  const out = Object.fromEntries(NAMES.map((name) => [name, get(name)]));
  out.traces = [...(light || !isDark() ? LIGHT : DARK), out.ink];
  out.cursors = { t1: get("cursor-1"), t2: get("cursor-2") };
  if (light) {
    if (before === undefined) {
      delete root.dataset.theme;
    } else {
      root.dataset.theme = before;
    }
  }
  return out;
}

/** Whether the page is dark now. */
export function isDark() {
  const chosen = document.documentElement.dataset.theme;
  return chosen ? chosen === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
}
