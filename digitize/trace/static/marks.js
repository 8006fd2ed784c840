// Centre of pressure with its band, balance point and cut-out on the photo, as in the report's picture.
import { svg } from "./dom.js";
import { withBand } from "./numbers.js";

const NAMES = { cp: "centre of pressure", balance: "balance point", cutout: "cut-out balance" };
const d = (points) => `M${points.map((p) => p.join(",")).join("L")}Z`;
const add = (a, b, k) => [a[0] + k * b[0], a[1] + k * b[1]];

// The rocket's frame in the photo: along the axis, and across it downward (to the right, of a rocket that stands).
export function frame(sketch) {
  const [nose, tail] = [sketch.tip, sketch.aft];
  const size = Math.hypot(tail[0] - nose[0], tail[1] - nose[1]) || 1;
  const along = [(tail[0] - nose[0]) / size, (tail[1] - nose[1]) / size];
  let across = [-along[1], along[0]];
  const flat = Math.abs(across[1]) > Math.abs(across[0]);
  if ((flat ? across[1] : across[0]) < 0) across = across.map((v) => -v);
  const off = (p) => (p[0] - nose[0]) * across[0] + (p[1] - nose[1]) * across[1];
  const all = [...sketch.upper, ...sketch.lower, ...sketch.fins.flatMap((fin) => fin.lines.flatMap((line) => line.points))].map(off);
  return { along, across, flat, above: -Math.min(...all), below: Math.max(...all) };
}

export function marks(result, sketch, half) {
  const { drawing } = result;
  const { across, ...about } = frame(sketch);
  const made = [];
  if (drawing.cp_band) {
    const [a, b] = drawing.cp_band;
    const box = d([add(a, across, -half), add(b, across, -half), add(b, across, half), add(a, across, half)]);
    made.push(svg("path", { class: "case", d: box }), svg("path", { class: "line cp-band", d: box }));
  }
  const places = { cp: ["above", result.cp.x_mm], cutout: ["above", result.cutout.centroid_mm], balance: ["below", result.balance_mm] };
  const labels = [];
  for (const [key, [where, quantity]] of Object.entries(places)) {
    const at = drawing[key];
    if (!at) continue;
    const data = JSON.stringify({ at, across, where, ...about });
    made.push(svg("g", { class: `pointer ${key}`, "data-mark": data },
      svg("path", { class: "case leader" }), svg("path", { class: "line leader" }), svg("path", { class: "case head" }), svg("path", { class: "head" }), svg("circle", { class: "case dot", cx: at[0], cy: at[1] }), svg("circle", { class: "dot", cx: at[0], cy: at[1] })));
    labels.push(svg("g", { class: `plaque ${key}`, "data-mark": data }, svg("rect", {}), svg("text", {}, svg("tspan", {}, NAMES[key]), svg("tspan", { class: "value" }, quantity ? withBand(quantity, "mm") : ""))));
  }
  return [...made, ...labels];
}

// Everything of these in its size on the screen; px: photo pixels per screen pixel.
export function placeMarks(element, px, small) {
  const rows = { above: [], below: [] };
  const plaques = [...element.querySelectorAll(".plaque[data-mark]")];
  const heads = [...element.querySelectorAll(".pointer[data-mark]")];
  plaques.forEach((plaque, k) => {
    const mark = JSON.parse(plaque.dataset.mark);
    const size = letter(plaque, px, small);
    const sign = mark.where === "above" ? -1 : 1;
    const across = mark.across.map((v) => v * sign);
    const along = mark.at[0] * mark.along[0] + mark.at[1] * mark.along[1];
    const [reach, depth] = mark.flat ? [size.w, size.h] : [size.h, size.w];
    let row = 0;
    while (rows[mark.where].some((other) => other.row === row && Math.abs(other.along - along) < (other.reach + reach) / 2 + 6 * px)) row += 1;
    rows[mark.where].push({ row, along, reach });
    const off = mark[mark.where] + 20 * px + depth / 2 + row * (depth + 6 * px);
    const centre = [mark.at[0] + across[0] * off, mark.at[1] + across[1] * off];
    settle(plaque, centre, size, px);
    point(heads[k], mark, across, off - depth / 2, px);
  });
}

// Letters and size of the words, in photo pixels.
function letter(plaque, px, small) {
  const text = plaque.querySelector("text");
  const font = (small ? 12 : 13) * px;
  text.style.fontSize = `${font}px`;
  const lines = [...text.children];
  lines.forEach((line) => line.setAttribute("display", small && line.classList.contains("value") ? "none" : "inline"));
  const shown = lines.filter((line) => line.textContent && line.getAttribute("display") !== "none");
  const w = Math.max(...shown.map((line) => line.getComputedTextLength() || 0.5 * font * line.textContent.length)) + 14 * px;
  return { w, h: shown.length * font * 1.2 + 8 * px, font, shown };
}

function settle(plaque, [x, y], { w, h, font, shown }, px) {
  const box = plaque.querySelector("rect");
  for (const [name, value] of Object.entries({ x: x - w / 2, y: y - h / 2, width: w, height: h, rx: 4 * px })) box.setAttribute(name, value);
  shown.forEach((line, k) => {
    line.setAttribute("x", x);
    line.setAttribute("y", y - h / 2 + 4 * px + (k + 0.9) * font * 1.15);
  });
}

// Leader, arrowhead and dot: the head stands on the axis, on the side of its words.
function point(node, { at, along }, across, end, px) {
  const [tip, back] = [add(at, across, 5 * px), add(at, across, 18 * px)];
  const head = `M${tip}L${add(back, along, 6 * px)}L${add(back, along, -6 * px)}Z`;
  const leader = `M${back}L${add(at, across, end)}`;
  for (const path of node.querySelectorAll(".leader")) path.setAttribute("d", leader);
  for (const path of node.querySelectorAll(".head")) path.setAttribute("d", head);
  for (const dot of node.querySelectorAll(".dot")) dot.setAttribute("r", (dot.classList.contains("case") ? 6 : 4) * px);
}
