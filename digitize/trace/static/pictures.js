// The page's own small drawings: how the rocket lies, where the reference lies, how the photo is taken, where to click.
import { svg } from "./dom.js";

const path = (d, kind = "") => svg("path", { class: kind, d });
const dot = (cx, cy, r, kind = "") => svg("circle", { class: kind, cx, cy, r });
const line = (x1, y1, x2, y2, kind = "") => svg("line", { class: kind, x1, y1, x2, y2 });

function picture(width, height, ...parts) {
  return svg("svg", { class: "picture", viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true", focusable: "false" }, ...parts);
}

const at = (x, y, ...parts) => svg("g", { transform: `translate(${x} ${y})` }, ...parts);
const turned = (x, y, deg, ...parts) => svg("g", { transform: `translate(${x} ${y}) rotate(${deg})` }, ...parts);

// A camera looking along x from its own place.
const camera = (x, y, deg = 0) => turned(x, y, deg, path("M-12-6h4l1-3h5l1 3h5v12h-16z", "thing"), path("M4-3l5-2v10l-5-2z", "thing"));

// The rocket from behind: a tube and its fins, at these angles from straight up.
function behind(x, y, angles) {
  const fins = angles.map((deg) => {
    const [s, c] = [Math.sin((deg * Math.PI) / 180), Math.cos((deg * Math.PI) / 180)];
    return line(9 * s, -9 * c, 22 * s, -22 * c, "fin");
  });
  return at(x, y, ...fins, dot(0, 0, 9, "body"));
}

// The rocket from the side, nose to the right, about its middle.
const side = (x, y, size = 1) =>
  svg("g", { transform: `translate(${x} ${y}) scale(${size})` },
    path("M-34-5L-22-5L-30-16h-7l1 11zM-34 5L-22 5L-30 16h-7l1-11z", "fin"), path("M-36-5h50c9 0 15 3 20 5c-5 2-11 5-20 5h-50z", "body"));

const ruler = (x, y, width, deg = 0) =>
  turned(x, y, deg, svg("rect", { class: "thing", x: -width / 2, y: -4, width, height: 8 }),
    path(Array.from({ length: Math.floor(width / 6) }, (_, k) => `M${6 * k + 4 - width / 2}-4v4`).join(""), "fine"));

const yes = (x, y) => at(x, y, dot(0, 0, 7, "good"), path("M-3.5 0l2.5 3l4.5-5.5", "sign"));
const no = (x, y) => at(x, y, dot(0, 0, 7, "bad"), path("M-3-3l6 6M3-3l-6 6", "sign"));
const sight = (x1, y, x2) => line(x1, y, x2, y, "sight");

// Seen from behind the rocket, the camera at the left.
export const POSES = {
  "in-plane": () => picture(120, 64, camera(18, 32), sight(30, 32, 74), behind(88, 32, [0, 120, 240])),
  diagonal: () => picture(120, 64, camera(18, 32), sight(30, 32, 70), behind(88, 32, [45, 135, 225, 315])),
  resting: () => picture(120, 64, camera(60, 11, 90), behind(60, 42, [0, 120, 240]), line(26, 55, 94, 55, "ground")),
  "": () => picture(120, 64, behind(60, 32, [20, 140, 260]), svg("text", { x: 92, y: 42, class: "ask" }, "?")),
};

// The same view: where the ruler lies, measured along the line of sight.
const middle = () => line(78, 6, 78, 60, "sight");
const flat = (x) => svg("rect", { class: "ruler", x: x - 3, y: 44, width: 6, height: 14 });
export const PLACES = {
  level: () => picture(120, 64, camera(18, 26), middle(), behind(78, 26, [0, 120, 240]), flat(78)),
  farther: () => picture(120, 64, camera(18, 26), middle(), behind(78, 26, [0, 120, 240]), flat(104), path("M82 51h15M97 51l-4-3M97 51l-4 3", "arrow")),
  nearer: () => picture(120, 64, camera(18, 26), middle(), behind(78, 26, [0, 120, 240]), flat(48), path("M74 51h-19M55 51l4-3M55 51l4 3", "arrow")),
};

export const TIPS = [
  ["One fin flat in the picture", "Turn the rocket until one fin stands straight up or down, not toward you.",
    () => picture(150, 84, path("M30 52h14l-9-26h-9z", "fin flat"), path("M24 52h70c14 0 22 4 28 7c-6 3-14 7-28 7h-70z", "body"), path("M22 59h30", "fin"), yes(132, 16))],
  ["The ruler level with the rocket's middle", "Prop both up, so the ruler is neither nearer to you nor farther away.",
    () => picture(150, 84, camera(18, 36), line(100, 8, 100, 76, "sight"), behind(100, 32, [0, 120, 240]), svg("rect", { class: "ruler", x: 97, y: 58, width: 6, height: 16 }), yes(132, 16))],
  ["From far away, and square", "Two to three rocket lengths away, with the zoom; look straight at its middle.",
    () => picture(150, 84, side(75, 18, 1), camera(75, 70, -90), path("M70 58L42 36M80 58L108 36", "sight"), yes(132, 68))],
  ["Nothing touches the outline", "Nose tip and tail clear. Supports under the body only; no hand, no string over it.",
    () => picture(150, 84, side(75, 32, 1.3), path("M66 39v24h-9h18M98 38v25h-9h18", "thing"), yes(132, 68))],
  ["Soft light, plain ground", "A window or clouds. Hard sun draws a second rocket beside the first.",
    () => picture(150, 84, at(0, 10, side(75, 42, 1.2)), path("M44 62h66l-8 6h-66z", "shadow"), at(26, 20, dot(0, 0, 8, "thing"), path("M0-13v3M0 10v3M-13 0h3M10 0h3M-9-9l2 2M7 7l2 2M9-9l-2 2M-7 7l-2 2", "fine")), no(132, 16))],
  ["The file as the phone saved it", "Send it by cable, cloud or mail. Messengers shrink photos and drop the lens's data.",
    () => picture(150, 84, svg("rect", { class: "thing", x: 20, y: 12, width: 34, height: 60, rx: 5 }), at(37, 42, side(0, 0, 0.4)), path("M62 42h30M92 42l-6-5M92 42l-6 5", "arrow"), path("M100 22h34v30h-34zM94 60h46", "thing"), at(117, 37, side(0, 0, 0.4)), yes(76, 22))],
];

// Where the next click belongs, for a rocket and for a fin drawn by hand.
export const CLICKS = {
  tip: () => picture(120, 44, side(60, 22, 1), dot(94, 22, 5, "click")),
  aft: () => picture(120, 44, side(60, 22, 1), dot(24, 22, 5, "click")),
  edge: () => picture(120, 44, side(60, 22, 1), path("M93 21c-6-3-11-4-19-4h-50", "along"), dot(74, 17, 5, "click")),
  lead: () => picture(120, 44, side(60, 22, 1), dot(38, 17, 5, "click")),
  round: () => picture(120, 44, side(60, 22, 1), path("M38 17L30 6h-7l1 11", "along"), dot(30, 6, 5, "click")),
};
