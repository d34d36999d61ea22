// Saving what is seen: the sheet as SVG, the samples in view as CSV.

import { FOOT, caption, foot, layout, sheet } from "./draw.js";
import { make } from "./lists.js";
import { time } from "./numbers.js";
import { address, told as ask } from "./server.js";
import { Svg } from "./surface.js";

/** The sheet as a standalone SVG on white. */
export function picture(page, look) {
  const width = Math.max(720, page.place.width);
  const { record, cursors } = page;
  const nameOf = (signal) => record.nameOf(signal);
  const place = layout(page.ruler, page.panels, page.view, width, page.place.height, nameOf);
  const height = place.height + FOOT + 44;
  const svg = new Svg(width, height, page.ruler);
  svg.box(0, 0, width, height, look.paper);
  const title = record.files.map((file) => file.title || file.name).join(" / ");
  svg.text(title, 8, 18, look.ink, { size: 14, bold: true });
  svg.text(caption(cursors, record.resolution()), 8, 36, look.grey, { size: 12 });
  const outer = svg.here;
  svg.here = svg.add("g", { transform: "translate(0 42)" });
  sheet(svg, place, look, record, cursors, { ...page.settings, held: null });
  foot(svg, place, look, place.height);
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
  const items = [make("li", {}, svg, " of the sheet, with cursors")];
  const { view, record } = page;
  for (let f = 0; f < record.files.length; f += 1) {
    const file = record.files[f];
    for (const group of ["w", "t"]) {
      const chosen = record.shown().filter((s) => s.file === f && s.group === group);
      if (chosen.length === 0) {
        continue;
      }
      const inside = await ask("span", { f, g: group, from: view.from - file.shift, to: view.to - file.shift });
      const what = group === "w" ? "Samples (CSV)" : "Temperatures (CSV)";
      const of = record.files.length > 1 ? ` of ${file.name}` : "";
      if (inside.count === 0 || inside.count > record.limits.csv) {
        const most = record.limits.csv.toLocaleString("en").replaceAll(",", "\u202f");
        const count = inside.count.toLocaleString("en").replaceAll(",", "\u202f");
        const why = inside.count === 0 ? "none in view" : `${count} in view, at most ${most} can be saved: zoom in`;
        items.push(make("li", {}, `${what}${of}: ${why}`));
        continue;
      }
      const query = { f, g: group, from: inside.first, to: inside.first + inside.count - 1, s: chosen.map((s) => s.index) };
      const link = download(address("csv", query), `${base}-${group === "w" ? "samples" : "temperatures"}.csv`, what);
      link.id = `save-csv-${f}${group}`;
      const rows = inside.count.toLocaleString("en").replaceAll(",", "\u202f");
      items.push(make("li", {}, link, `${of}: ${rows} ${inside.count === 1 ? "row" : "rows"}, ${chosen.length} ${chosen.length === 1 ? "signal" : "signals"}, in full`));
    }
  }
  said.textContent = `From ${time(view.from, record.resolution())} to ${time(view.to, record.resolution())}.`;
  list.replaceChildren(...items);
}
