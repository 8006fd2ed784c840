// What is always in sight: the verdict, what is wrong, how far the work is; with what can be done about it.
import { byId, html, plainly, refill } from "./dom.js";
import { icon } from "./icons.js";
import { keyNumbers, sentence } from "./numbers.js";
import { TOPICS } from "./options.js";

export const button = (words, id, act, { chief = false, sign = null, enabled = true } = {}) =>
  html("button", { type: "button", id, class: chief ? "chief" : "", disabled: !enabled, onclick: act }, sign ? icon(sign) : null, html("span", {}, words));

export class Pinned {
  // acts: what its buttons do, by name.
  constructor(acts) {
    this.element = byId("pinned");
    this.acts = acts;
  }

  focus() {
    this.element.focus({ preventScroll: true });
  }

  // app: { view, said, field, stale: names of what was told otherwise, marked: whether a region waits }
  show(app) {
    this.app = app;
    const parts = this.parts(app).filter(Boolean);
    this.element.hidden = !parts.length;
    const [old, bar] = [this.element.querySelector("progress"), parts.length === 1 && parts[0].querySelector && parts[0].querySelector("progress")];
    if (old && bar && this.element.children.length === 1) { // its stop button keeps the focus
      old.value = bar.value;
      this.element.querySelector(".stage").textContent = parts[0].querySelector(".stage").textContent;
      return;
    }
    refill(this.element, parts);
  }

  parts({ view, said, field, stale, marked }) {
    if (!view) return said ? [refusal(said, null)] : [];
    const wrong = said || view.refused;
    const error = wrong ? refusal(wrong, field) : null;
    if (view.phase === "working") return [error, this.working(view)];
    if (view.phase === "start") return [error, error && view.photo ? this.byHand(view, marked) : null];
    if (view.unfinished) return [error, this.unfinished(view)];
    return stale.length ? [error, this.stale(stale)] : [error, verdict(view), this.history(view)];
  }

  working({ progress, stopping }) {
    const words = stopping ? "Stopping \u2026" : `${progress.at} of ${progress.of}: ${progress.words} \u2026`;
    return html("div", { class: "working" }, html("p", { class: "stage" }, words), html("progress", { max: progress.of, value: progress.at - 0.5, "aria-label": "How far it is" }), button("Stop", "stop", this.acts.stop, { sign: "stop" }));
  }

  byHand(view, marked) {
    return html("div", { class: "row" },
      view.seen && view.seen.start ? button("Start from what was seen", "from-seen", this.acts.fromSeen, { sign: "is-rocket" }) : null,
      button("Draw it by hand", "by-hand", this.acts.drawRocket, { sign: "rocket" }),
      marked ? button("Take back the last marked region", "unmark", this.acts.unmark, { sign: "undo" }) : null);
  }

  unfinished(view) {
    return html("div", {}, html("div", { class: "notice", id: "unfinished" }, html("p", { class: "level" }, "No answer yet"), html("p", {}, view.unfinished)),
      html("div", { class: "row" }, button("Draw a fin", "draw-fin-next", this.acts.drawFin, { chief: true, sign: "fin" }), ...this.steps(view)));
  }

  stale(names) {
    const told = names.map((name) => TOPICS[name] || name.replaceAll("_", " "));
    return html("div", { class: "notice", id: "stale" }, html("p", { class: "level" }, "Your form has changed: measure again"),
      html("p", {}, `Told otherwise: ${told.join(", ")}. The answer before is no longer yours.`),
      html("div", { class: "row" }, button("Measure again", "tell", this.acts.again, { chief: true, sign: "again" }), button("Back to what was measured", "untell", this.acts.untell, { sign: "undo" })));
  }

  steps(view) {
    return [button("Undo", "undo", () => this.acts.go(this.app.view.at - 1), { sign: "undo", enabled: view.at > 0 }), button("Redo", "redo", () => this.acts.go(this.app.view.at + 1), { sign: "redo", enabled: view.at < view.states - 1 })];
  }

  history(view) {
    const back = [...this.steps(view), button("Undo all", "as-found", () => this.acts.go(this.app.view.found_at), { sign: "back", enabled: view.at > view.found_at })];
    return html("div", { class: "row acts" }, button(view.saved ? "Saved" : "Save", "save", this.acts.save, { chief: !view.saved, sign: "save" }), ...(view.states > 1 ? back : []));
  }
}

function refusal(said, field) {
  return html("div", { class: "refused", role: "alert" }, html("strong", {}, sentence(said.what)), field ? " See the marked field." : ` ${sentence(said.remedy)}`);
}

// Where something is to be done that stands here, and why it has to be is told in the panel.
export const why = ({ result, answer }) => (answer.to_do ? [html("p", { id: "why" }, plainly(result.verdict.text))] : []);

// The level, what it means, what to do or else why.
function verdict({ result, answer }) {
  const { level, headline, text } = result.verdict;
  const title = headline || level;
  return html("div", { class: `verdict level-${level.replaceAll(" ", "-")}` },
    html("p", { class: "level" }, title[0].toUpperCase() + title.slice(1)),
    html("p", { class: "keys" }, keyNumbers(result)),
    answer.meaning ? html("p", { class: "means" }, sentence(answer.meaning)) : null,
    html("p", answer.to_do ? { class: "to-do" } : { class: "why" }, plainly(answer.to_do || text)),
    html("p", { class: "soft officer" }, "The range safety officer decides."));
}
