// The page's own icons: lines on a field of 24, in the colour of the words beside them.
import { svg } from "./dom.js";

const PATHS = {
  move: "M12 3v18M3 12h18M12 3l-3 3M12 3l3 3M12 21l-3-3M12 21l3-3M3 12l3-3M3 12l3 3M21 12l-3-3M21 12l-3 3",
  add: "M4 18L20 8M10 14.2a2 2 0 1 0 .1 0M17 14v6M14 17h6",
  remove: "M4 18L20 8M10 14.2a2 2 0 1 0 .1 0M14 17h6",
  pull: "M3 17c4 0 5-9 9-9s5 9 9 9M12 8V2M12 2l-2.5 2.5M12 2l2.5 2.5",
  fin: "M3 20h18M6 20L10 6h5l4 14",
  rocket: "M3 9h11c4 0 6 2 7 3c-1 1-3 3-7 3H3zM3 9V5l4 4M3 15v4l4-4",
  "is-rocket": "M4 6c5-4 11-4 16 0c2 5 1 9-2 12c-5 3-10 2-13-1c-3-3-3-7-1-11zM8.5 12.5l2.5 2.5l5-6",
  "not-rocket": "M4 6c5-4 11-4 16 0c2 5 1 9-2 12c-5 3-10 2-13-1c-3-3-3-7-1-11zM9 9l6 6M15 9l-6 6",
  points: "M5 19L19 5M5 16v6M2 19h6M19 2v6M16 5h6",
  nearer: "M10 3a7 7 0 1 0 .1 0M15 15l6 6M10 7v6M7 10h6",
  farther: "M10 3a7 7 0 1 0 .1 0M15 15l6 6M7 10h6",
  "fit-rocket": "M3 8V4h4M17 4h4v4M21 16v4h-4M7 20H3v-4M6 12h9l3 0M6 10v4",
  "fit-photo": "M3 5h18v14H3zM3 16l5-5l4 4l3-3l6 5M16 8.5h.1",
  undo: "M9 4L4 9l5 5M4 9h10a6 6 0 0 1 0 12h-3",
  redo: "M15 4l5 5l-5 5M20 9H10a6 6 0 0 0 0 12h3",
  save: "M4 4h13l3 3v13H4zM8 4v5h7V4M8 20v-6h8v6",
  stop: "M6 6h12v12H6z",
  photo: "M3 7h4l2-3h6l2 3h4v12H3zM12 9a4 4 0 1 0 .1 0",
  again: "M20 12a8 8 0 1 1-3-6.2M17 2v4h-4",
  back: "M5 12l4-4M5 12l4 4M5 12h14",
  next: "M19 12l-4-4M19 12l-4 4M5 12h14",
  yes: "M4 13l5 5L20 6",
};

export const icon = (name) =>
  svg("svg", { class: "icon", viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" }, svg("path", { d: PATHS[name] }));
