// The photo with the outline: drawing it, dragging spots, drawing new shapes, by pointer, finger and keys.
import { svg } from "./dom.js";
import { Camera } from "./camera.js";
import { Loupe } from "./loupe.js";
import { lines, nearestEdge, spots } from "./drawing.js";
import { placeMarks } from "./marks.js";

// The outline's points near the one that is pulled come along, less and less; as the program does it.
function pulled(outline, { from, to, reach }) {
  return outline.map((p) => {
    const away = Math.hypot(p[0] - from[0], p[1] - from[1]) / reach;
    const weight = away < 1 ? Math.cos((Math.PI / 2) * away) ** 2 : 0;
    return [p[0] + weight * (to[0] - from[0]), p[1] + weight * (to[1] - from[1])];
  });
}

const LEAST = 24; // screen pixels a finger needs at least (WCAG 2.2, 2.5.8, target size)
const FINGER = 34; // what a corner has
const SNAP = 6; // screen pixels within which an end stays on the axis

export class Sheet {
  // told: { preview(change), commit(change), drop(), pulled(pull), hint() once what is drawn has changed }
  constructor(element, canvas, stage, told) {
    this.element = element;
    this.told = told;
    this.camera = new Camera(element, () => this.resize());
    this.loupe = new Loupe(canvas, stage);
    this.view = null;
    this.tool = "move";
    this.draft = null;
    this.pointers = new Map();
    this.nudges = new Map(); // by a spot's key: where arrow keys have brought it, not yet told
    this.image = svg("image", { x: -0.5, y: -0.5, preserveAspectRatio: "none" });
    this.over = svg("g");
    this.held = svg("g");
    element.append(this.image, this.over, this.held);
    for (const name of ["down", "move", "up", "cancel"]) element.addEventListener(`pointer${name}`, (event) => this[name](event));
    element.addEventListener("keydown", (event) => this.key(event));
    element.addEventListener("focusin", (event) => this.reveal(event.target));
    new ResizeObserver(() => this.resize()).observe(element);
  }

  show(view, { photo = false } = {}) {
    const before = this.view && this.view.photo;
    const fresh = view.photo && (photo || !before || before.name !== view.photo.name || before.width !== view.photo.width);
    const found = view.sketch && !(this.view && this.view.sketch);
    this.view = view;
    if (fresh) {
      const url = `photo.jpg?${encodeURIComponent(view.photo.name)}-${Date.now()}`;
      this.image.setAttribute("href", url);
      this.image.setAttribute("width", view.photo.width);
      this.image.setAttribute("height", view.photo.height);
      this.loupe.load(url);
      this.camera.fit(view.photo.width, view.photo.height);
    }
    this.draw();
    if (found) this.fitRocket();
  }

  draw() {
    if (!this.view) return;
    const focused = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.key : null;
    this.over.replaceChildren(...lines(this.view, this.draft));
    this.spots = this.view.sketch && !this.draft ? spots(this.view.sketch) : [];
    for (const spot of this.spots) if (this.nudges.has(spot.key)) spot.at = this.nudges.get(spot.key).to;
    this.held.replaceChildren(...this.spots.map((spot) => this.spot(spot)));
    this.resize();
    if (focused) {
      const again = this.held.querySelector(`[data-key="${focused}"]`);
      if (again) {
        this.redrawing = true;
        again.focus({ preventScroll: true });
        this.redrawing = false;
      }
    }
  }

  // A spot that keys have gone to is brought into sight.
  reveal(node) {
    if (node.spot && !this.redrawing && !this.pointers.size) this.camera.include(node.spot.at, 24, 72);
  }

  spot(spot) {
    const node = svg("g", {
      class: "spot", "data-key": spot.key, tabindex: spot.tab ? 0 : -1, role: "button",
      "aria-label": `${spot.label}; arrow keys move it${spot.remove ? ", Delete takes it out" : ""}`,
    });
    const kind = `handle ${spot.kind}`;
    const small = spot.kind.includes("small");
    const radius = small ? 4 : 6;
    if (spot.kind === "square") node.append(svg("rect", { class: kind, "data-half": 6 }));
    else node.append(svg("circle", { class: kind, "data-r": radius, cx: spot.at[0], cy: spot.at[1] }));
    node.append(svg("circle", { class: "grab", "data-r": small ? LEAST / 2 : FINGER / 2, cx: spot.at[0], cy: spot.at[1] }));
    node.spot = spot;
    return node;
  }

  // Spots and words keep their size on the screen whatever the zoom.
  resize() {
    const px = this.camera.scale();
    for (const dot of this.element.querySelectorAll("[data-r]")) dot.setAttribute("r", dot.dataset.r * px);
    this.thin(px);
    for (const node of this.held.querySelectorAll("[data-half]")) {
      const [x, y] = node.parentNode.spot.at;
      const half = node.dataset.half * px;
      for (const [name, value] of [["x", x - half], ["y", y - half], ["width", 2 * half], ["height", 2 * half]]) node.setAttribute(name, value);
    }
    placeMarks(this.over, px, this.element.getBoundingClientRect().width < 560);
    for (const text of this.over.querySelectorAll("[data-text]")) {
      const [at, across, side, half] = JSON.parse(text.dataset.text);
      const flat = Math.abs(across[1]) > Math.abs(across[0]);
      const out = half + 12 * px;
      text.setAttribute("text-anchor", flat ? "middle" : side > 0 ? "start" : "end");
      text.setAttribute("x", at[0] + (flat ? 0 : side * out));
      text.setAttribute("y", at[1] + (flat ? side * out + (side > 0 ? 12 * px : 0) : 5 * px));
      text.style.fontSize = `${14 * px}px`;
      text.style.strokeWidth = `${4 * px}px`;
    }
  }

  // Small points that a finger could not tell from another are left out until one zooms in.
  thin(px) {
    const shown = (this.spots || []).filter((spot) => !spot.kind.includes("small"));
    for (const node of this.held.children) {
      const { at, kind } = node.spot;
      const small = kind.includes("small");
      const hidden = small && shown.some((other) => Math.hypot(other.at[0] - at[0], other.at[1] - at[1]) < LEAST * px);
      if (small && !hidden) shown.push(node.spot);
      node.setAttribute("visibility", hidden ? "hidden" : "visible");
    }
  }

  // The spot nearest to a finger or pointer, of those in reach: where several lie close, not the one drawn last.
  nearest(at, reach) {
    let best = null;
    for (const node of this.held.children) {
      if (node.getAttribute("visibility") === "hidden") continue;
      const away = Math.hypot(node.spot.at[0] - at[0], node.spot.at[1] - at[1]);
      if (away <= reach && (!best || away < best.away)) best = { away, node };
    }
    return best && best.node;
  }

  // The whole rocket, with some room around it.
  fitRocket() {
    const sketch = this.view && this.view.sketch;
    if (!sketch) return;
    const points = [...sketch.upper, ...sketch.lower, ...sketch.fins.flatMap((fin) => fin.lines.flatMap((line) => line.points))];
    const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
    const [x, y] = [Math.min(...xs), Math.min(...ys)];
    const [w, h] = [Math.max(...xs) - x, Math.max(...ys) - y];
    const shown = this.element.getBoundingClientRect();
    const room = 0.06 * Math.max(w, h);
    const words = 80 * Math.max((w + 2 * room) / Math.max(shown.width, 1), (h + 2 * room) / Math.max(shown.height, 1)); // above and below stand words
    this.camera.box = { x: x - room, y: y - room - words, w: w + 2 * room, h: h + 2 * (room + words) };
    this.camera.apply();
  }

  // --- pointer and fingers ---

  down(event) {
    this.moved();
    this.element.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (this.pointers.size > 1) {
      this.give_up();
      return;
    }
    const at = this.camera.toPhoto(event.clientX, event.clientY);
    this.start = { at, x: event.clientX, y: event.clientY, moved: false };
    const node = this.draft ? null : this.nearest(at, (FINGER / 2) * this.camera.scale());
    if (node && this.tool === "move") {
      node.focus({ preventScroll: true });
      this.drag = { spot: node.spot, off: [node.spot.at[0] - at[0], node.spot.at[1] - at[1]], change: null };
    } else if (this.tool === "pull" && !this.draft && this.view.outline) {
      this.take(at);
    } else if (node && this.tool === "remove" && node.spot.remove) {
      this.told.commit(node.spot.remove);
      this.start = null;
    }
    event.preventDefault();
  }

  // Moves are only noted; what they come to is drawn with the next frame, once for all that came before it.
  move(event) {
    const known = this.pointers.get(event.pointerId);
    if (!known && !this.draft) return;
    const now = { x: event.clientX, y: event.clientY };
    if (!this.frame) {
      this.before = [...this.pointers.values()].map((p) => ({ ...p }));
      this.frame = requestAnimationFrame(() => this.moved());
    }
    if (known) Object.assign(known, now);
    this.last = now;
  }

  // What was noted is done, at the latest when something else begins or the pointer is let go.
  moved() {
    if (!this.frame) return;
    cancelAnimationFrame(this.frame);
    this.frame = null;
    const { x, y } = this.last;
    if (this.pointers.size === 2) {
      this.camera.pinch(this.before, [...this.pointers.values()]);
      return;
    }
    const at = this.camera.toPhoto(x, y);
    if (!this.pointers.size) {
      if (this.draft) this.aim(at, x, y);
      return;
    }
    if (!this.start) return;
    if (Math.hypot(x - this.start.x, y - this.start.y) > 3) this.start.moved = true;
    if (this.pull) {
      this.loupe.show(at, x, y, this.camera.scale(), this.view.photo.width);
      this.pull.to = at;
      const line = this.over.querySelector(".found");
      line.setAttribute("d", `M${pulled(this.view.outline, this.pull).map((p) => p.join(",")).join("L")}Z`);
    } else if (this.drag) {
      if (!this.start.moved) return;
      const to = [at[0] + this.drag.off[0], at[1] + this.drag.off[1]];
      this.loupe.show(to, x, y, this.camera.scale(), this.view.photo.width);
      this.drag.change = this.drag.spot.change(to, SNAP * this.camera.scale());
      this.told.preview(this.drag.change);
    } else if (this.start.moved) {
      this.camera.pan(this.start.at[0] - at[0], this.start.at[1] - at[1]);
    }
  }

  up(event) {
    this.moved();
    const last = this.pointers.size === 1;
    this.pointers.delete(event.pointerId);
    if (!last || !this.start) return;
    const { at, moved } = this.start;
    if (this.pull && moved) this.told.pulled(this.pull);
    else if (this.drag && this.drag.change) this.told.commit(this.drag.change);
    else if (!moved && !this.drag) this.click(at);
    this.let_go();
  }

  cancel(event) {
    this.moved();
    this.pointers.delete(event.pointerId);
    this.give_up();
  }

  // What was dragged goes back to where it was.
  give_up() {
    const moved = this.pull || (this.drag && this.drag.change);
    this.let_go();
    if (moved) this.told.drop();
  }

  // The found outline is taken hold of where it is nearest, if that is near enough.
  take(at) {
    const px = this.camera.scale();
    let best = null;
    for (const point of this.view.outline) {
      const away = Math.hypot(point[0] - at[0], point[1] - at[1]);
      if (!best || away < best.away) best = { away, point };
    }
    if (best && best.away < 16 * px) this.pull = { from: best.point, to: best.point, reach: 40 * px };
  }

  let_go() {
    this.drag = null;
    this.pull = null;
    this.start = null;
    this.loupe.hide();
  }

  click(at) {
    if (this.draft) {
      this.draft.points.push(at.map((v) => Math.round(v * 100) / 100));
      if (this.draft.points.length === this.draft.most) this.finish();
      else this.told.hint();
      this.draw();
    } else if (this.tool === "add" && this.view.sketch) {
      const found = nearestEdge(this.view.sketch, at);
      if (found && found.away < 40 * this.camera.scale()) this.told.commit(found.change);
    }
  }

  // --- drawing something new ---

  // draft: { steps: [drawing or null, words] to say before each point, least, most, closed, done(points) }; paths(points)
  // and from(points): the lines to draw, and where the next begins, if not from point to point
  begin(draft) {
    this.draft = { points: [], ...draft };
    this.element.classList.add("aim");
    this.told.hint();
    this.draw();
  }

  // The line that the next click would draw, and the magnifier.
  aim(at, x, y) {
    this.loupe.show(at, x, y, this.camera.scale(), this.view.photo.width);
    const { points, closed } = this.draft;
    if (!points.length) return;
    const from = this.draft.from ? this.draft.from(points) : points[points.length - 1];
    const ends = closed && points.length > 1 ? [from, at, points[0]] : [from, at];
    for (const line of this.over.querySelectorAll(".next, .case:has(+ .next)")) line.setAttribute("d", `M${ends.join("L")}`);
  }

  // The last click taken back.
  back() {
    if (!this.draft || !this.draft.points.length) return;
    this.draft.points.pop();
    this.told.hint();
    this.draw();
  }

  finish() {
    const draft = this.draft;
    if (!draft || draft.points.length < draft.least) return;
    this.stop();
    draft.done(draft.points);
  }

  stop() {
    this.draft = null;
    this.element.classList.remove("aim");
    this.loupe.hide();
    this.told.hint();
    this.draw();
  }

  // --- keys ---

  key(event) {
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const node = event.target.closest ? event.target.closest(".spot") : null;
    const step = steps[event.key];
    if (node && step) {
      const far = event.shiftKey ? 10 : event.altKey ? 0.2 : 1;
      const to = [node.spot.at[0] + far * step[0], node.spot.at[1] + far * step[1]];
      this.nudge(node.spot, to);
    } else if (node && (event.key === "Delete" || event.key === "Backspace") && node.spot.remove) this.told.commit(node.spot.remove);
    else if (this.draft && event.key === "Enter") this.finish();
    else if (this.draft && event.key === "Escape") this.stop();
    else if (this.draft && event.key === " ") this.click(this.middle());
    else if (step) this.step(step, event.shiftKey ? 200 : 20);
    else if (event.key === "+" || event.key === "=") this.camera.zoom(1.25);
    else if (event.key === "-") this.camera.zoom(0.8);
    else if (event.key === "0" && this.view.photo) this.camera.fit(this.view.photo.width, this.view.photo.height);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  middle() {
    const { x, y, w, h } = this.camera.box;
    return [x + w / 2, y + h / 2];
  }

  // The photo moved by a share of what is shown; what is drawn by keys is set in the middle, under the cross.
  step([x, y], share) {
    this.camera.pan((x * this.camera.box.w) / share, (y * this.camera.box.h) / share);
    if (!this.draft) return;
    const shown = this.element.getBoundingClientRect();
    this.aim(this.middle(), shown.x + shown.width / 2, shown.y + shown.height / 2);
  }

  // Arrow keys add up, over answers that come meanwhile; the change is made once they rest.
  nudge(spot, to) {
    spot.at = to;
    for (const other of this.nudges.values()) other.due = other.spot.key !== spot.key;
    this.nudges.set(spot.key, { spot, to, due: false });
    const node = this.held.querySelector(`[data-key="${spot.key}"]`);
    for (const dot of node.querySelectorAll("circle")) {
      dot.setAttribute("cx", to[0]);
      dot.setAttribute("cy", to[1]);
    }
    this.resize();
    this.reveal(node);
    clearTimeout(this.resting);
    this.resting = setTimeout(() => {
      for (const each of this.nudges.values()) each.due = true;
      this.settle();
    }, 350);
  }

  async settle() {
    if (this.settling) return;
    this.settling = true;
    try {
      const due = () => [...this.nudges.values()].find((nudge) => nudge.due);
      for (let next = due(); next; next = due()) {
        this.nudges.delete(next.spot.key);
        await this.told.commit(next.spot.change(next.to, 0.5));
      }
    } finally {
      this.settling = false;
    }
  }
}
