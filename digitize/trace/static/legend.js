// What the lines on the photo mean: only of those that are there.
import { byId, html, svg } from "./dom.js";

const marked = (now) => (now.result && !now.unfinished && now.result.drawing) || {};

const KINDS = [
  ["body", "body and fins as measured", (now) => now.sketch],
  ["found", "outline found in the photo", (now) => (now.outline && !now.drawn) || (now.seen && (now.seen.outline || now.seen.rockets.length))],
  ["root", "where a fin meets the body", (now) => now.sketch && now.sketch.fins.length],
  ["axis", "axis", (now) => now.sketch],
  ["cp", "centre of pressure, with its 95 % band", (now) => marked(now).cp],
  ["balance", "balance point", (now) => marked(now).balance],
  ["cutout", "where a cardboard cut-out balances", (now) => marked(now).cutout],
  ["reference", "scale reference", (now) => (now.sketch ? now.sketch.references.length || now.sketch.scales.length : now.seen && now.seen.references.length)],
  ["region rocket", "marked: rocket", (now) => now.regions.some((region) => region.rocket)],
  ["region", "marked: not rocket", (now) => now.regions.some((region) => !region.rocket)],
];

const HEADS = { cp: "M20 12L14 2h12z", balance: "M20 6L14 16h12z", cutout: "M20 12L14 2h12z" };

function swatch(kind) {
  const parts = HEADS[kind]
    ? [kind === "cp" && svg("path", { class: "line cp-band", d: "M4 5h32v10h-32z" }), svg("g", { class: `pointer ${kind}` }, svg("path", { class: "case head", d: HEADS[kind] }), svg("path", { class: "head", d: HEADS[kind] }))]
    : kind.startsWith("region") ? [svg("path", { class: kind, d: "M3 3h34v12h-34z" })]
    : [svg("path", { class: kind === "found" ? "case dark" : "case", d: "M2 9h36" }), svg("path", { class: `line ${kind}`, d: "M2 9h36" })];
  return svg("svg", { class: "swatch", viewBox: "0 0 40 18", "aria-hidden": "true" }, ...parts);
}

export function legend(now) {
  const kinds = KINDS.filter(([, , there]) => there(now));
  const box = byId("legend");
  box.hidden = !kinds.length;
  const key = kinds.map(([kind]) => kind).join();
  if (box.dataset.shown === key) return;
  box.dataset.shown = key;
  const open = box.firstElementChild ? box.firstElementChild.open : window.matchMedia("(min-width: 60rem)").matches;
  box.replaceChildren(html("details", { open }, html("summary", {}, "What the lines mean"), html("ul", {}, ...kinds.map(([kind, words]) => html("li", {}, swatch(kind), html("span", {}, words))))));
}
