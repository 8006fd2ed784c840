// What to do with the result: the picture, the curve, files to take away.
import { html, svg } from "./dom.js";
import { shownIn, sized } from "./numbers.js";

export function downloads(view) {
  if (!view.saved) return [html("p", { class: "soft" }, "Press Save to have the report, the picture and the files to print.")];
  const file = (name, words) => html("li", {}, html("a", { href: `download/${name}`, download: name }, words));
  return [
    html("h2", {}, `Saved in ${view.folder}`),
    html("figure", {}, html("img", { src: `download/overlay.png?${Date.now()}`, alt: "The dimensioned picture of the result" })),
    html(
      "ul", {},
      file("report.html", "Report to read and print"),
      file("overlay.png", "Dimensioned picture"),
      file("outline.svg", "Outline, true size"),
      file("geometry.toml", "Geometry, to solve again"),
      file("result.json", "All numbers"),
      view.paper && file("report.pdf", "The report as PDF"),
      file("templates.pdf", "Cut-out and fin templates, true size, on A4"),
    ),
  ];
}

// Centre of pressure against angle of attack.
export function curve(result) {
  const data = result.angle_of_attack;
  const points = data ? pairs(data) : [];
  if (points.length < 2) return [];
  const [w, h, left, low] = [360, 190, 46, 30];
  const length = result.length_mm.value;
  const ys = [...points.map((p) => p[1]), ...(result.balance_mm ? [result.balance_mm.value] : [])];
  const [min, max] = [Math.max(Math.min(...ys) - 0.05 * length, 0), Math.min(Math.max(...ys) + 0.05 * length, length)];
  const x = (deg) => left + ((w - left - 10) * deg) / 90;
  const y = (mm) => 12 + ((h - low - 12) * (mm - min)) / (max - min || 1); // the nose is up, as in the report
  const made = [
    svg("path", { class: "line cp", d: `M${points.map((p) => `${x(p[0])},${y(p[1])}`).join("L")}` }),
    svg("path", { class: "line axis", d: `M${left},${h - low}H${w - 10}M${left},${h - low}V10` }),
    ...[0, 15, 30, 45, 60, 75, 90].map((deg) => svg("text", { x: x(deg), y: h - 14, "text-anchor": "middle" }, `${deg}\u00b0`)),
    ...[min, max].map((mm) => svg("text", { x: left - 4, y: y(mm) + 4, "text-anchor": "end" }, Number.parseFloat(sized(mm, "mm", 0)))),
    svg("text", { x: w - 10, y: h - 2, "text-anchor": "end" }, `angle of attack; ${shownIn("mm")[0]} from the nose tip`),
  ];
  if (result.balance_mm) {
    const at = y(result.balance_mm.value);
    made.push(svg("path", { class: "line balance", d: `M${left},${at}H${w - 10}` }), svg("text", { x: w - 12, y: at - 4, "text-anchor": "end" }, "balance point"));
  }
  const picture = svg("svg", { class: "plot", viewBox: `0 0 ${w} ${h}`, role: "img", "aria-label": "Centre of pressure against angle of attack" }, ...made);
  return [html("h2", {}, "Centre of pressure against angle of attack"), html("figure", {}, picture)];
}

function pairs(data) {
  if (Array.isArray(data.points)) return data.points.map((p) => [p.alpha_deg, p.cp_x_mm]);
  if (Array.isArray(data.alpha_deg)) return data.alpha_deg.map((deg, i) => [deg, data.cp_x_mm[i]]);
  return [];
}
