// Drawing by hand, click by click: the whole rocket, a fin, what is rocket and what is not, two points for the scale.
import { send } from "./api.js";
import { byId, html } from "./dom.js";
import { CLICKS } from "./pictures.js";
import { button } from "./pinned.js";

const ROCKET = [["tip", "Click on the nose tip."], ["aft", "Click in the middle of the tail end of the body, where its edge crosses the middle line."], ["edge", "Now along one edge of the body, from nose to tail: a point wherever it bends, the last at the tail end."]];
const FIN = [["lead", "The fin that lies flattest: click where its front edge meets the body."], ["round", "Go on round the fin, a point at each corner; the last where its rear edge meets the body."]];

export class Hands {
  // told: { view(), count() of fins told, measure(extra), change(change), doing(work), show(view, whole), scaled(text) two points' words }
  constructor(sheet, told) {
    this.sheet = sheet;
    this.told = told;
    document.addEventListener("keydown", (event) => this.key(event));
  }

  // A wrong click is taken back wherever the focus is, but for a field that is being written in.
  key(event) {
    if (!this.sheet.draft || event.target.matches("input, textarea, select")) return;
    const undo = (event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z";
    if (!undo && event.key !== "Backspace") return;
    event.preventDefault();
    event.stopImmediatePropagation();
    this.sheet.back();
  }

  // What to do next, how many points there are, and the ways out.
  hint() {
    const draft = this.sheet.draft;
    if (!draft) {
      byId("hint").replaceChildren();
      return;
    }
    const n = draft.points.length;
    const [picture, words] = draft.steps[Math.min(n, draft.steps.length - 1)];
    const done = n >= draft.least && draft.least !== draft.most;
    byId("hint").replaceChildren(
      picture ? CLICKS[picture]() : "",
      html("p", {}, html("strong", {}, `Point ${n + 1}. `), words),
      html("div", { class: "row" },
        done ? button("Done", "done", () => this.sheet.finish(), { chief: true, sign: "yes" }) : null,
        n ? button("Take back", "take-back", () => this.sheet.back(), { sign: "undo" }) : null,
        button("Leave it", "leave-it", () => this.sheet.stop())),
    );
  }

  rocket() {
    this.sheet.begin({
      least: 3, most: null, steps: ROCKET,
      paths: ([tip, aft, ...edge]) => [aft ? [tip, aft] : [tip], edge.length ? [tip, ...edge] : []],
      from: (points) => (points.length === 2 ? points[0] : points[points.length - 1]),
      done: async (points) => {
        await this.told.measure({ drawn: { tip_px: points[0], aft_px: points[1], body_px: points.slice(2) } });
        const view = this.told.view();
        if (view.phase === "ready" && view.drawn && view.unfinished) this.fin(); // half a drawing has no answer
      },
    });
  }

  fin() {
    const count = this.told.count();
    this.sheet.begin({ least: 3, most: null, steps: FIN, done: (points) => this.finDrawn({ do: "draw-fin", points }, count) });
  }

  // A fin drawn where a group stands already takes its place, unless both are there.
  async finDrawn(change, count) {
    let seen = null;
    await this.told.doing(async () => {
      seen = await send("preview", { ...change, count });
      return seen.over.length ? this.told.view() : send("change", { ...change, count });
    });
    if (!seen || !seen.over.length) return;
    const view = this.told.view();
    const groups = `fin group ${seen.over.map((k) => k + 1).join(" and ")}`;
    const fins = view.sketch.fins[seen.over[0]].count;
    const answer = (id, words, told, chief) => button(words, id, () => {
      byId("hint").replaceChildren();
      if (told) this.told.change({ ...change, ...told });
      else this.told.show(view);
    }, { chief });
    this.told.show({ ...view, ...seen }, false);
    byId("hint").replaceChildren(
      html("p", {}, `Here stands ${groups} already.`),
      html("div", { class: "row" }, answer("replace", `Replace ${groups} (${fins} fins)`, {}, true), answer("beside", "Both are there", { count, beside: true }), answer("leave", "Leave it", null)),
    );
    byId("replace").focus();
  }

  region(rocket) {
    const words = `Click round what is ${rocket ? "rocket" : "not rocket (hand, stand, string)"}; then the outline is found again, without the changes made so far. Undo brings those back.`;
    this.sheet.begin({ least: 3, most: null, closed: true, steps: [[null, words]], done: (points) => this.told.marked({ rocket, points }) });
  }

  twoPoints() {
    this.sheet.begin({
      least: 2, most: 2, steps: [[null, "Click on one end of a distance you know."], [null, "And on its other end."]],
      done: (points) => {
        const box = html("input", { id: "true-distance", placeholder: "300mm", "aria-label": "true distance with its unit", autocomplete: "off" });
        const use = () => {
          if (!box.value.trim()) return;
          byId("hint").replaceChildren();
          this.told.scaled(`points=${points.flat().join(",")},${box.value.trim()}`);
        };
        box.addEventListener("keydown", (event) => event.key === "Enter" && use());
        byId("hint").replaceChildren(html("label", {}, "How far apart are they, with the unit? ", box), html("div", { class: "row" }, button("Use it", "use-distance", use, { chief: true })));
        box.focus();
      },
    });
  }
}
