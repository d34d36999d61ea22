// Saving what is seen: the waveforms as SVG, the samples in view as CSV.

import { ENTRY, FOOT, caption, foot, legend, sheet } from "./draw.js";
import { layout } from "./layout.js";
import { make } from "./lists.js";
import { time } from "./numbers.js";
import { readingsOf } from "./readings.js";
import { address, getJson } from "./server.js";
import { Svg } from "./surface.js";

/** Width of the legend in a saved picture. */
const LEGEND = 430;

/** What is drawn as a standalone SVG, with legends and readings. */
export function picture(page, colours) {
  const width = Math.max(720, page.place.width);
  const { record, cursors } = page;
  const heights = page.panels.map((panel) => panel.signals.length * ENTRY + 4);
  const place = layout(page.panels, page.view, width, page.place.height, heights);
  const height = place.height + FOOT + 44;
  const svg = new Svg(width + LEGEND, height, page.ruler);
  svg.box(0, 0, width + LEGEND, height, colours.paper);
  const title = record.files.map((file) => file.title || file.name).join(" / ");
  const instant = (t) => page.time(t);
  svg.text(title, 8, 18, colours.ink, { size: 14, bold: true });
  svg.text(caption(cursors, instant), 8, 36, colours.grey, { size: 12 });
  const outer = svg.here;
  svg.here = svg.add("g", { transform: "translate(0 42)" });
  sheet(svg, place, colours, record, cursors, { ...page.settings, held: null });
  legend(svg, place, colours, record, (panel, signal) => readingsOf(page, panel, signal));
  foot(svg, place, colours, place.height, cursors, instant);
  svg.here = outer;
  return svg.written(title);
}

function download(href, name, text) {
  return make("a", { href, download: name }, text);
}

/** Fills the dialog with links to what can be saved. */
export async function offer(page, list, said) {
  said.textContent = "";
  const base = page.record.files[0].name.replace(/\.h5$/, "");
  const blob = new Blob([picture(page, page.light())], { type: "image/svg+xml" });
  if (page.pictureLink) {
    URL.revokeObjectURL(page.pictureLink);
  }
  page.pictureLink = URL.createObjectURL(blob);
  const svg = download(page.pictureLink, `${base}.svg`, "Picture (SVG)");
  svg.id = "save-svg";
  const items = [make("li", {}, svg, " of the waveforms, with cursors and readings")];
  const { view, record } = page;
  for (let f = 0; f < record.files.length; f += 1) {
    const file = record.files[f];
    for (const group of file.groups) {
      const chosen = record.shown().filter((s) => s.file === f && s.group === group);
      if (chosen.length === 0) {
        continue;
      }
      const inside = await getJson("span", { f, g: group, from: view.from - file.shift, to: view.to - file.shift });
      const kept = { w: ["Samples", "samples"], t: ["Temperatures", "temperatures"] };
      const [words, ending] = kept[group] ?? [`Measured channel ${group.slice(1)}`, `measured-${group.slice(1)}`];
      const what = `${words} (CSV)`;
      const of = record.files.length > 1 ? ` of ${file.name}` : "";
      if (inside.count === 0 || inside.count > record.limits.csv) {
        const most = record.limits.csv.toLocaleString("en").replaceAll(",", "\u202f");
        const count = inside.count.toLocaleString("en").replaceAll(",", "\u202f");
        const why = inside.count === 0 ? "none in view" : `${count} in view, at most ${most} can be saved: zoom in`;
        items.push(make("li", {}, `${what}${of}: ${why}`));
        continue;
      }
      const query = { f, g: group, from: inside.first, to: inside.first + inside.count - 1, s: chosen.map((s) => s.index) };
      const link = download(address("csv", query), `${base}-${ending}.csv`, what);
      link.id = `save-csv-${f}${group}`;
      const rows = inside.count.toLocaleString("en").replaceAll(",", "\u202f");
      items.push(make("li", {}, link, `${of}: ${rows} ${inside.count === 1 ? "row" : "rows"}, ${chosen.length} ${chosen.length === 1 ? "signal" : "signals"}, in full`));
    }
  }
  said.textContent = `From ${time(view.from, record.resolution())} to ${time(view.to, record.resolution())}.`;
  list.replaceChildren(...items);
}
