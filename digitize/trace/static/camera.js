// Zoom and pan: the part of the photo that is shown, as the viewBox of the sheet. All points are photo pixels.

export class Camera {
  constructor(sheet, changed) {
    this.sheet = sheet;
    this.changed = changed;
    this.box = { x: 0, y: 0, w: 100, h: 100 };
    this.size = { w: 100, h: 100 };
    this.touches = new Map();
    sheet.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }

  fit(width, height) {
    this.size = { w: width, h: height };
    this.box = { x: 0, y: 0, w: width, h: height };
    this.apply();
  }

  apply() {
    const { x, y, w, h } = this.box;
    this.sheet.setAttribute("viewBox", `${x} ${y} ${w} ${h}`);
    this.changed();
  }

  // Photo pixels per screen pixel.
  scale() {
    const shown = this.sheet.getBoundingClientRect();
    return Math.max(this.box.w / Math.max(shown.width, 1), this.box.h / Math.max(shown.height, 1));
  }

  toPhoto(clientX, clientY) {
    const at = new DOMPoint(clientX, clientY).matrixTransform(this.sheet.getScreenCTM().inverse());
    return [at.x, at.y];
  }

  zoom(factor, at = [this.box.x + this.box.w / 2, this.box.y + this.box.h / 2]) {
    const w = Math.min(Math.max(this.box.w / factor, 30), this.size.w * 3);
    const f = w / this.box.w;
    this.box = {
      x: at[0] - (at[0] - this.box.x) * f,
      y: at[1] - (at[1] - this.box.y) * f,
      w,
      h: this.box.h * f,
    };
    this.apply();
  }

  pan(dx, dy) {
    this.box.x += dx;
    this.box.y += dy;
    this.apply();
  }

  // Moved only as far as it takes to have this point in sight, with so much room to the border, in screen pixels; to the
  // right lie the buttons of the view.
  include(at, room, right = room) {
    const shown = this.sheet.getBoundingClientRect();
    const low = this.toPhoto(shown.left + room, shown.top + room);
    const high = this.toPhoto(shown.right - right, shown.bottom - room);
    const [dx, dy] = at.map((v, k) => Math.max(v - high[k], 0) + Math.min(v - low[k], 0));
    if (dx || dy) this.pan(dx, dy);
  }

  wheel(event) {
    event.preventDefault();
    this.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0016)), this.toPhoto(event.clientX, event.clientY));
  }

  // Two fingers: keep the photo under both.
  pinch(before, now) {
    const middle = (p) => [(p[0].x + p[1].x) / 2, (p[0].y + p[1].y) / 2];
    const apart = (p) => Math.hypot(p[0].x - p[1].x, p[0].y - p[1].y);
    const from = this.toPhoto(...middle(before));
    const to = this.toPhoto(...middle(now));
    this.pan(from[0] - to[0], from[1] - to[1]);
    this.zoom(apart(now) / Math.max(apart(before), 1), this.toPhoto(...middle(now)));
  }
}
