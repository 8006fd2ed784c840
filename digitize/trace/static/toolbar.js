// The tools over the photo, in groups: the measured outline's points, drawing by hand, marks for the search, the view.
import { byId, html, refill } from "./dom.js";
import { icon } from "./icons.js";

const WORDS = {
  add: "Click on a line where a point is wanted.",
  remove: "Click on the point to take out.",
  pull: "Drag the thin yellow outline. Body and fins are then found along it anew, without the changes made so far; Undo brings those back.",
};

export class Toolbar {
  // acts: drawFin, drawRocket, region(rocket), twoPoints; sheet: the photo
  constructor(sheet, acts) {
    this.sheet = sheet;
    this.acts = acts;
  }

  button(words, sign, title, attributes) {
    return html("button", { type: "button", title, ...attributes }, icon(sign), html("span", {}, words));
  }

  group(label, ...buttons) {
    const made = buttons.filter(Boolean);
    return made.length ? html("div", { class: "group", role: "group", "aria-label": label }, ...made) : null;
  }

  show(view) {
    const [sheet, ready] = [this.sheet, view.phase === "ready"];
    const tool = (name, words, sign, title) =>
      this.button(words, sign, title, { "data-tool": name, id: `tool-${name}`, "aria-pressed": String(sheet.tool === name && !sheet.draft), onclick: () => this.pick(name) });
    const act = (words, sign, title, id, work) => this.button(words, sign, title, { id, onclick: work });
    const idle = view.phase !== "working";
    const groups = [
      ready && this.group("Points of the outline", tool("move", "Move", "move", "Move points by dragging them"), tool("add", "Add", "add", "Add a point on a line"), tool("remove", "Remove", "remove", "Take a point out"), view.drawn ? null : tool("pull", "Pull", "pull", "Pull the outline that was found")),
      idle && this.group("Draw by hand", ready && act("Fin", "fin", "Draw a fin", "draw-fin", this.acts.drawFin), act("Rocket", "rocket", "Draw the whole rocket by hand", "draw-rocket", this.acts.drawRocket)),
      idle && !view.drawn && this.group("Mark what the search takes wrong", act("Is rocket", "is-rocket", "Mark what belongs to the rocket", "rocket", () => this.acts.region(true)), act("Is not", "not-rocket", "Mark what is not rocket: hand, stand, string", "not-rocket", () => this.acts.region(false))),
      idle && this.group("Scale", act("2 points", "points", "Set two points whose distance you know", "two-points", this.acts.twoPoints)),
    ];
    byId("tools").hidden = !view.photo || !idle;
    refill(byId("tools"), groups);
    this.views(view, ready);
  }

  views(view, ready) {
    if (byId("view").dataset.ready === String(ready)) return;
    byId("view").dataset.ready = String(ready);
    const [sheet, plain] = [this.sheet, (sign, words, id, work) => html("button", { type: "button", id, title: words, "aria-label": words, onclick: work }, icon(sign))];
    byId("view").replaceChildren(
      plain("nearer", "nearer", "zoom-in", () => sheet.camera.zoom(1.4)), plain("farther", "farther", "zoom-out", () => sheet.camera.zoom(1 / 1.4)),
      ...(ready ? [plain("fit-rocket", "the whole rocket", "whole-rocket", () => sheet.fitRocket())] : []),
      plain("fit-photo", "the whole photo", "whole", () => sheet.view.photo && sheet.camera.fit(sheet.view.photo.width, sheet.view.photo.height)),
    );
  }

  pick(name) {
    this.sheet.stop();
    this.sheet.tool = name;
    byId("hint").replaceChildren(...(WORDS[name] ? [html("span", {}, WORDS[name])] : []));
    this.show(this.sheet.view);
  }
}
