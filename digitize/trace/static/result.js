// What to do with the result: the picture, the curve, nose weight, files to take away.
import { html, svg } from "./dom.js";

export function downloads(view) {
  if (!view.saved) return [html("p", { class: "soft" }, "Save to have the report, the picture and the files.")];
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
    ...[min, max].map((mm) => svg("text", { x: left - 4, y: y(mm) + 4, "text-anchor": "end" }, mm.toFixed(0))),
    svg("text", { x: w - 10, y: h - 2, "text-anchor": "end" }, "angle of attack; mm from the nose tip"),
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

// Nose weight: grams at a place move the balance point by the law of the lever.
export function noseWeight(result, kept) {
  if (!result.balance_mm || !result.mass_g)
    return [html("p", { class: "soft" }, "Tell balance point and lift-off mass to see what nose weight does.")];
  const mass = result.mass_g;
  const most = Math.ceil(mass / 2);
  const grams = html("input", { type: "range", min: 0, max: most, step: 0.5, value: Math.min(kept.grams, most), id: "grams", "aria-label": "grams of nose weight" });
  const place = html("input", { type: "number", min: 0, max: Math.round(result.length_mm.value), step: 1, value: kept.place, id: "place" });
  const said = html("output", { for: "grams place", id: "weighed" });
  const show = () => {
    kept.grams = Number(grams.value);
    kept.place = Number(place.value);
    const balance = (mass * result.balance_mm.value + kept.grams * kept.place) / (mass + kept.grams);
    const margin = (result.cp.x_mm.value - balance) / result.max_diameter_mm.value;
    said.textContent = `${kept.grams} g there: balance point ${balance.toFixed(0)} mm, margin ${margin.toFixed(2)} \u00b1 ${result.margin_calibers.pm95.toFixed(2)} calibers. Balance it again once the weight is in.`;
  };
  grams.addEventListener("input", show);
  place.addEventListener("input", show);
  show();
  return [
    html("h2", {}, "Nose weight"),
    html("label", { for: "grams" }, "Grams"), grams,
    html("label", { for: "place" }, "Its middle, mm from the nose tip"), place,
    html("p", {}, said),
  ];
}
