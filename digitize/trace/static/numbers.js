// The verdict, the numbers and what was changed, laid out from result.json; nothing is computed here but rounding.
import { html, plainly } from "./dom.js";

// As the report writes a band: two digits, rounded up, the value to the same place, never finer than its unit allows.
const MOST = { mm: 1, "mm\u00b2": 0, g: 1, calibers: 2, in: 3, "in\u00b2": 3, oz: 2 };

// What is shown, as the program's units/shown_units.py has it; what comes and goes stays metric.
const IMPERIAL = { mm: ["in", 1 / 25.4], "mm\u00b2": ["in\u00b2", 1 / 25.4 ** 2], g: ["oz", 1 / 28.349523125] };
let inches = false;
export const showUnits = (units) => (inches = units === "in");
// [unit shown, how many of it one of the metric unit is]
export const shownIn = (unit) => (inches && IMPERIAL[unit]) || [unit, 1];
// A number without a band; places: of the metric one.
export function sized(value, unit, places) {
  const [name, per] = shownIn(unit);
  return `${Number((value * per).toFixed(name === unit ? places : MOST[name]))} ${name}`;
}

export function withBand(quantity, metric) {
  if (!quantity) return "unknown";
  const [unit, per] = shownIn(metric);
  const [value, pm95] = [quantity.value * per, quantity.pm95 * per];
  const plain = (v) => (Object.is(v, -0) ? 0 : v);
  if (!(pm95 > 0)) return `${plain(Number(value.toFixed(per === 1 ? 2 : MOST[unit])))} ${unit}`;
  const most = MOST[unit] ?? 3;
  let places = Math.min(1 - Math.floor(Math.log10(pm95)), most);
  const up = () => Math.max(Math.ceil(pm95 * 10 ** places - 0.1), 1) / 10 ** places;
  places = Math.min(1 - Math.floor(Math.log10(up()) + 1e-9), most);
  const step = 10 ** places;
  const shown = (v) => plain(Math.round(v * step) / step).toFixed(Math.max(places, 0));
  return `${shown(value)} \u00b1 ${shown(up())} ${unit}`;
}

// The two numbers the verdict stands on, in one line.
export function keyNumbers(result) {
  const margin = result.deciding_margin && result.deciding_margin.calibers;
  return `Centre of pressure ${withBand(result.cp.x_mm, "mm")} from the nose tip${margin ? `; margin ${withBand(margin, "calibers")}` : ""}`;
}

export function table(result) {
  const decides = result.deciding_margin; // one margin on the screen: the one the verdict stands on
  const rows = [
    ["centre of pressure, from the nose tip", result.cp.x_mm, "mm", "chief", "cp"],
    [decides && decides.by === "cut-out" ? "margin by the cut-out, which decides" : "margin", decides && decides.calibers, "calibers", "chief", "margin"],
    ["balance point", result.balance_mm, "mm", "", "balance"],
    ["cut-out balance", result.cutout.centroid_mm, "mm", "", "cutout"],
    ["length", result.length_mm, "mm", "", "length"],
    ["largest diameter", result.max_diameter_mm, "mm", "", "diameter"],
  ];
  result.fins.forEach((fin, k) => {
    const name = result.fins.length > 1 ? `fins ${k + 1} (${fin.count})` : `fins (${fin.count})`;
    rows.push([`${name}: root chord`, fin.root_chord_mm, "mm", "", `root-${k}`]);
    rows.push([`${name}: span`, fin.span_mm, "mm", "", `span-${k}`]);
    rows.push([`${name}: area of one`, fin.area_mm2, "mm\u00b2", "", `area-${k}`]);
  });
  return html(
    "table", {},
    html("caption", { class: "soft" }, "with 95 % bands"),
    html("tbody", {}, ...rows.filter((row) => row[1]).map(([words, q, unit, kind, key]) =>
      html("tr", { class: kind }, html("th", { scope: "row" }, words), html("td", { "data-number": key, "data-value": q.value }, withBand(q, unit))))),
  );
}

export function warnings(result) {
  return result.warnings.map((w) => html("div", { class: "warn" }, html("strong", {}, sentence(w.text)), ` ${sentence(w.remedy)}`));
}

export function changes(list) {
  if (!list.length) return [html("p", { class: "soft" }, "Nothing is changed by hand: these are the numbers the photo gave.")];
  return [html("h2", {}, "Changed by hand"), html("ul", {}, ...list.map((line) => html("li", {}, line)))];
}

export function sentence(text) {
  const said = plainly(text).trim();
  return said[0].toUpperCase() + said.slice(1) + (/[.!?]$/.test(said) ? "" : ".");
}
