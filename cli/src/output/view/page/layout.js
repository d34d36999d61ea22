// Where every panel and its legend are, above the common time axis.

import { TimeAxis } from "./axes.js";

/** Height of a panel's title. */
const TITLE = 18;
const GAP = 12;
/** Height of one on/off line; the style sheet's rows of lines are as high. */
export const LANE = 24;
/** Least height of a plot. */
const LEAST = 84;
/** Height of the names of events at the top. */
const TOP = 32;

/** Heights of the plots: equal shares of what there is, but none less than its least. */
function shares(least, height) {
  let free = height;
  let open = least.map((_, k) => k);
  for (;;) {
    const each = free / open.length;
    const large = open.filter((k) => least[k] > each);
    if (large.length === 0) {
      return least.map((own, k) => (open.includes(k) ? each : own));
    }
    free -= large.reduce((sum, k) => sum + least[k], 0);
    open = open.filter((k) => !large.includes(k));
    if (open.length === 0) {
      return least;
    }
  }
}

/**
 * The panels `{ panel, title, legend, top, bottom }` at a width, as high as they must be, at least `height`. `legends` are
 * the heights of their legends, which stand at `legend`: beside the panels, or above them where `above` is set.
 */
export function layout(panels, view, width, height, legends, above = false) {
  const [left, right] = [above ? 46 : 62, width - (above ? 8 : 14)];
  const heads = panels.map((_, k) => TITLE + (above ? legends[k] + 4 : 0));
  const fixed = panels.map((panel) => (panel.logic ? panel.signals.length * LANE : 0));
  const least = panels.map((_, k) => Math.max(LEAST, above ? 0 : legends[k] - TITLE));
  const analog = panels.map((panel, k) => k).filter((k) => !panels[k].logic);
  const sum = (list) => list.reduce((a, b) => a + b, 0);
  const rest = height - TOP - sum(heads) - sum(fixed) - GAP * Math.max(0, panels.length - 1) - 6;
  const parts = shares(analog.map((k) => least[k]), rest);
  let y = TOP;
  const placed = panels.map((panel, k) => {
    const top = y + heads[k];
    const one = { panel, title: y, legend: above ? y + TITLE : y, top, bottom: top + (panel.logic ? fixed[k] : parts[analog.indexOf(k)]) };
    y = one.bottom + GAP;
    return one;
  });
  const bottom = placed.length > 0 ? y - GAP + 6 : height;
  return { placed, top: TOP, bottom, left, right, width, above, height: bottom, times: new TimeAxis(view.from, view.to, left, right) };
}
