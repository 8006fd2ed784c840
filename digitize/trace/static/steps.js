// The four steps, always in sight: which one is shown, which are done.
import { byId, html } from "./dom.js";
import { icon } from "./icons.js";

export const STEPS = { photo: "Photo", scale: "Scale", fins: "Fins and balance", answer: "Answer" };

export class Steps {
  // changed: told the step that is shown now.
  constructor(changed) {
    this.now = "photo";
    this.changed = changed;
    this.buttons = Object.fromEntries(
      Object.entries(STEPS).map(([name, words], k) => {
        const mark = html("span", { class: "mark-number", "aria-hidden": "true" }, String(k + 1));
        return [name, html("button", { type: "button", "data-step": name, onclick: () => this.go(name, true) }, mark, html("span", { class: "step-name" }, words))];
      }),
    );
    byId("steps").append(html("ol", {}, ...Object.values(this.buttons).map((button) => html("li", {}, button))));
    this.show();
  }

  // focus: on the step's head, so that keys and readers go on from there.
  go(name, focus = false) {
    const other = this.now !== name;
    this.now = name;
    this.show();
    if (other) {
      byId("panel").scrollTop = 0;
      if (window.scrollY > byId("stage").offsetTop) window.scrollTo(0, 0);
    }
    if (focus) byId("panel").focus({ preventScroll: true });
    this.changed(name);
  }

  next() {
    const names = Object.keys(STEPS);
    this.go(names[Math.min(names.indexOf(this.now) + 1, names.length - 1)], true);
  }

  show() {
    document.body.dataset.step = this.now;
    byId("panel-title").textContent = `${Object.keys(STEPS).indexOf(this.now) + 1}. ${STEPS[this.now]}`;
    for (const panel of document.querySelectorAll("[data-panel]")) panel.hidden = panel.dataset.panel !== this.now;
    for (const [name, button] of Object.entries(this.buttons)) {
      if (name === this.now) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    }
  }

  // done: by name; enabled: whether one may go there.
  mark(done, enabled) {
    Object.entries(this.buttons).forEach(([name, button], k) => {
      button.disabled = !enabled[name];
      button.dataset.done = String(Boolean(done[name]));
      button.setAttribute("aria-label", `Step ${k + 1}, ${STEPS[name]}${done[name] ? ", done" : ""}`);
      button.querySelector(".mark-number").replaceChildren(done[name] ? icon("yes") : String(k + 1));
    });
  }
}
