// The outline over the photo: lines first, then the spots that can be taken hold of. Built anew after each change.
import { svg } from "./dom.js";
import { marks } from "./marks.js";
import { sized } from "./numbers.js";

const path = (points, closed) => (points.length ? `M${points.map((p) => p.join(",")).join("L")}${closed ? "Z" : ""}` : "");
const middle = (a, b) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];

function cased(points, kind, closed = false) {
  return [svg("path", { class: "case", d: path(points, closed) }), svg("path", { class: `line ${kind}`, d: path(points, closed) })];
}

export function lines(view, draft) {
  const { sketch, result } = view;
  const made = [];
  const seen = view.seen || { rockets: [], references: [] };
  const outline = seen.outline || view.outline;
  if (outline && !view.drawn) made.push(...found(outline));
  for (const border of seen.outline ? [] : seen.rockets) made.push(...found(border));
  for (const reference of sketch ? [] : seen.references) made.push(...cased(reference.points, "reference", true));
  for (const region of view.regions || [])
    made.push(svg("path", { class: `region${region.rocket ? " rocket" : ""}`, d: path(region.points, true) }));
  if (sketch) {
    for (const reference of sketch.references) made.push(...cased(reference.points, "reference", true));
    const fins = sketch.fins.flatMap((fin) => fin.lines);
    for (const line of fins) made.push(...cased(line.points, line.handles ? "fin" : "fin turned"));
    for (const line of fins) made.push(...cased([line.points[0], line.points[line.points.length - 1]], line.handles ? "root" : "fin turned"));
    made.push(...cased([...sketch.upper, ...[...sketch.lower].reverse()], "body", true));
    made.push(...cased([sketch.tip, sketch.aft], "axis"));
    for (const scale of sketch.scales) made.push(...cased(scale.points, "scale"));
    for (const ends of sketch.ends) if (toSet(ends)) made.push(beside(sketch, ends, toSet(ends)));
  }
  if (sketch && result && result.drawing && !view.unfinished) made.push(...marks(result, sketch, halfWidth(sketch)));
  if (draft && draft.points.length) {
    for (const points of draft.paths ? draft.paths(draft.points) : [draft.points]) made.push(...cased(points, "draft", draft.closed));
    made.push(...cased([], "draft next"));
    for (const point of draft.points) made.push(svg("circle", { class: "handle hand", cx: point[0], cy: point[1], "data-r": 5 }));
  }
  return made;
}

const found = (points) => [svg("path", { class: "case dark", d: path(points, true) }), svg("path", { class: "line found", d: path(points, true) })];

// A ruler that was not read from end to end: what is told of it lies between its ends only once both are set.
function toSet({ partly }) {
  if (!partly || !partly.unset.length) return "";
  const which = partly.unset.length === 2 ? "to use its ends, set both" : `set end ${partly.unset[0] + 1} too`;
  return `${sized(partly.read_mm, "mm", 1)} of ${sized(partly.told_mm, "mm", 1)} read: ${which}`;
}

// Words along a ruler, on its side that is away from the rocket and its marks.
function beside(sketch, { label, points: [a, b] }, words) {
  const size = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  const at = middle(a, b);
  const off = middle(sketch.tip, sketch.aft).map((v, k) => at[k] - v);
  let across = [-(b[1] - a[1]) / size, (b[0] - a[0]) / size];
  if (across[0] * off[0] + across[1] * off[1] < 0) across = across.map((v) => -v);
  const outline = (sketch.references.find((reference) => reference.label === label) || { points: [] }).points;
  const half = Math.max(0, ...outline.map((p) => (p[0] - at[0]) * across[0] + (p[1] - at[1]) * across[1]));
  const side = Math.abs(across[1]) > Math.abs(across[0]) ? Math.sign(across[1]) : Math.sign(across[0]);
  return svg("text", { class: "mark to-set", "data-text": JSON.stringify([at, across, side, half]) }, words);
}

function halfWidth(sketch) {
  return Math.max(...sketch.body.map(([a, b]) => Math.hypot(a[0] - b[0], a[1] - b[1]) / 2));
}

// Every spot: key (stays the same after a change), at, label, kind, and what a drag or a removal asks for.
export function spots(sketch) {
  const made = [];
  sketch.body.forEach((pair, i) =>
    pair.forEach((at, side) =>
      made.push({
        key: `body-${i}-${side}`, at, kind: sketch.body_hand[i] ? "hand" : "", tab: side === 0,
        label: i === sketch.body.length - 1 ? "edge of the body at its aft end" : `point ${i + 1} of the body's edge`,
        change: (to) => ({ do: "move-body", point: i, to }),
        remove: { do: "remove-body", point: i },
      }),
    ),
  );
  sketch.fins.forEach((fin, group) => fin.lines.filter((line) => line.handles).forEach((line, n) => made.push(...finSpots(fin, group, line, n))));
  made.sort((a, b) => b.kind.includes("small") - a.kind.includes("small")); // corners lie on top
  for (const [end, name] of [["tip", "nose tip"], ["aft", "aft end of the axis"]])
    made.push({
      key: end, at: sketch[end], kind: "end", tab: true, label: name,
      change: (to, snap) => ({ do: "move-end", end, to, snap }),
    });
  for (const scale of sketch.scales)
    scale.points.forEach((at, end) =>
      made.push({
        key: `scale-${scale.reference}-${end}`, at, kind: "scale", tab: true, label: `end ${end + 1} of the ${sized(scale.mm, "mm", 2)} distance`,
        change: (to) => ({ do: "move-reference", reference: scale.reference, end, to }),
      }),
    );
  for (const ends of sketch.ends)
    ends.points.forEach((at, end) =>
      made.push({
        key: `ends-${ends.reference}-${end}`, at, kind: `scale${ends.hand ? " hand" : ""}`, tab: true,
        label: `${ends.points.length === 2 ? "end" : "corner"} ${end + 1} of the reference, ${ends.label}${toSet(ends) ? `; ${toSet(ends)}` : ""}`,
        change: (to) => ({ do: "move-ends", reference: ends.reference, end, to }),
      }),
    );
  return made;
}

function finSpots(fin, group, line, n) {
  const last = line.points.length - 1;
  const made = line.points.map((at, point) => {
    const corner = fin.corners.includes(point);
    const place = point === 0 ? ", root leading edge" : point === last ? ", root trailing edge" : "";
    return {
      key: `fin-${group}-${line.number}-${point}`, at, tab: corner && n === 0,
      kind: `${fin.hand[point] ? "hand" : ""} ${corner ? "" : "small"}`,
      label: `fin group ${group + 1}, ${corner ? "corner" : "point"} ${point + 1}${place}`,
      change: (to) => ({ do: "move-fin-point", group, fin: line.number, point, to }),
      remove: { do: "remove-fin-point", group, point },
    };
  });
  made.push({
    key: `root-${group}-${line.number}`, at: middle(line.points[0], line.points[last]), kind: "square", tab: n === 0,
    label: `fin group ${group + 1}, root line`,
    change: (to) => ({ do: "move-root", group, fin: line.number, to }),
  });
  return made;
}

// The nearest place on what can be given a new point: the body's edge, or a fin's outline.
export function nearestEdge(sketch, at) {
  let best = null;
  const offer = (a, b, change) => {
    const d = [b[0] - a[0], b[1] - a[1]];
    const t = Math.min(Math.max(((at[0] - a[0]) * d[0] + (at[1] - a[1]) * d[1]) / (d[0] ** 2 + d[1] ** 2 || 1), 0), 1);
    const away = Math.hypot(at[0] - a[0] - t * d[0], at[1] - a[1] - t * d[1]);
    if (!best || away < best.away) best = { away, change };
  };
  for (const side of [sketch.upper, sketch.lower])
    for (let i = 1; i < side.length; i += 1) offer(side[i - 1], side[i], { do: "add-body", to: at });
  sketch.fins.forEach((fin, group) => {
    for (const line of fin.lines.filter((l) => l.handles))
      for (let i = 1; i < line.points.length; i += 1)
        offer(line.points[i - 1], line.points[i], { do: "add-fin-point", group, fin: line.number, after: i - 1, to: at });
  });
  return best;
}
