// Nose weight: what the program works out for the numbers shown, as `digitize ballast` would, and a slider along its curve.
import { Refused, send } from "./api.js";
import { html, svg } from "./dom.js";
import { bare } from "./field.js";
import { sentence, shownIn, sized, withBand } from "./numbers.js";

const FILLINGS = { clay: "modelling clay, from the inner tip backward", epoxy: "epoxy alone", "steel-shot": "steel shot set in epoxy", "lead-shot": "lead shot set in epoxy", at: "a weight at one place" };
// [word of the command, words, unit, shown with a weight at a place, beginning, hint]
const FIELDS = [
  ["margin", "Margin wanted at the low end of the band", "calibers", null, "1", ""],
  ["at", "Its middle, from the nose tip", "mm", true, "30", ""],
  ["density", "The filling's density, if you know it", "g/cm3", false, "", "1.8"],
  ["wall", "The hollow nose's wall", "mm", false, "", "1.5"],
  ["depth", "How far from the nose tip the filling may reach", "mm", false, "", "to the nose's base"],
];

export class NoseWeight {
  // field(name): goes to that field of the form.
  constructor(element, field) {
    this.element = element;
    this.field = field;
    this.asked = 0; // only the newest answer is shown
    this.grams = null; // until the slider is moved it stands at what is needed
    this.built = false;
  }

  // The numbers have changed: the old answer is no longer theirs.
  stale() {
    if (this.built) this.answer.setAttribute("aria-busy", "true");
  }

  // view: as the program tells it; asks anew.
  show(view) {
    if (view.phase !== "ready") {
      this.built = false;
      this.asked += 1;
      this.element.replaceChildren();
      return;
    }
    if (!this.built) this.build();
    this.ask();
  }

  build() {
    this.built = true;
    this.fill = html("select", { id: "weight-fill", onchange: () => this.ask() }, ...Object.entries(FILLINGS).map(([value, words]) => html("option", { value }, words)));
    this.fields = FIELDS.map(([name, words, unit, placed, value, hint]) => {
      const id = `weight-${name}`;
      const input = html("input", { id, value, placeholder: hint, inputmode: "decimal", autocomplete: "off", onchange: () => this.ask() });
      const [shown, per] = shownIn(unit);
      if (per !== 1 && Number(input.value)) input.value = Number((input.value * per).toFixed(2));
      if (per !== 1 && Number(hint)) input.placeholder = Number((hint * per).toFixed(2));
      return { name, unit: shown, placed, input, row: html("div", {}, html("label", { for: id }, `${words}, ${shown}`), input) };
    });
    const [margin, at, ...others] = this.fields.map((field) => field.row);
    this.finer = html("details", {}, html("summary", {}, "The nose and its filling, if you know better"), ...others);
    this.answer = html("div", { id: "weight-answer" });
    this.form = html("div", { id: "weight-form" }, margin, html("label", { for: "weight-fill" }, "What goes in"), this.fill, at, this.finer);
    this.element.replaceChildren(html("h2", {}, "Nose weight"), this.form, this.answer);
  }

  words() {
    const placed = this.fill.value === "at";
    const found = placed ? {} : { fill: this.fill.value };
    this.finer.hidden = placed;
    for (const field of this.fields) {
      field.row.hidden = field.placed !== null && field.placed !== placed;
      const text = field.input.value.trim();
      if (text && !field.row.hidden) found[field.name] = field.name === "margin" || !bare(text) ? text : text + field.unit;
    }
    return found;
  }

  async ask() {
    const number = (this.asked += 1);
    this.answer.setAttribute("aria-busy", "true");
    let parts;
    try {
      const told = await send("weight", { words: this.words() });
      if (number !== this.asked) return;
      this.form.hidden = Boolean(told.missing);
      parts = told.missing ? missing(told.missing, this.field) : this.told(told);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (number !== this.asked) return;
      parts = [html("div", { class: "refused" }, html("strong", {}, sentence(error.said.what)), ` ${sentence(error.said.remedy)}`)];
    }
    this.answer.replaceChildren(...parts);
    this.answer.removeAttribute("aria-busy");
  }

  told({ plan, headline, notes, fins, states, need }) {
    const list = (id, lines) => (lines.length ? html("ul", { id }, ...lines.map((line) => html("li", {}, line))) : null);
    return [
      html("p", { id: "weight-needed" }, html("strong", {}, headline)),
      plan.doubt && html("div", { class: "warn" }, plan.doubt),
      plan.outcome !== "none needed" && html("p", { class: "soft", id: "weight-band" }, needWords(plan, need)),
      ...this.slider(plan, states),
      curve(plan),
      html("p", { class: "soft" }, `${plan.reference_words} The solid line is the margin, the dashed one the low end of its 95 % band, the dotted one what is wanted.`),
      list("weight-notes", notes),
      fins.length ? html("details", { id: "weight-fins" }, html("summary", {}, "The other remedy: larger aft fins"), list(null, fins)) : null,
    ].filter(Boolean);
  }

  slider(plan, states) {
    const { grams, x_mm: places } = plan.curve;
    const most = grams[grams.length - 1];
    const value = Math.min(this.grams ?? plan.weight.mass_g, most);
    const step = most > 20 ? 0.5 : 0.1;
    const input = html("input", { type: "range", min: 0, max: (Math.ceil(most / step) * step).toFixed(1), step, value, id: "grams" });
    const said = html("output", { for: "grams", id: "weighed" });
    const show = (now) => {
      const place = sized(between(grams, places, now), "mm", 0);
      const margins = states.map((state) => {
        const [middle, low] = [between(grams, state.margin_calibers, now), between(grams, state.low_calibers, now)];
        return `${state.state}: margin ${withBand({ value: middle, pm95: middle - low }, "calibers")}`;
      });
      const words = now > 0 ? `${sized(now, "g", 1)}, its centre ${place} from the nose tip` : "No weight";
      said.replaceChildren(words, html("ul", {}, ...margins.map((line) => html("li", {}, line))));
    };
    input.addEventListener("input", () => show((this.grams = Math.min(Number(input.value), most))));
    show(value);
    return [html("label", { for: "grams" }, inOunces() ? "Try it: ounces in the nose" : "Try it: grams in the nose"), input, html("div", {}, said)];
  }
}

const inOunces = () => shownIn("g")[0] === "oz";

// Read off a curve between its points, along straight lines.
export function between(xs, ys, x) {
  const k = Math.max(xs.findIndex((at) => at >= x), 1);
  const share = xs[k] > xs[k - 1] ? (x - xs[k - 1]) / (xs[k] - xs[k - 1]) : 0;
  return ys[k - 1] + Math.min(Math.max(share, 0), 1) * (ys[k] - ys[k - 1]);
}

function missing(names, go) {
  const label = (name) => document.querySelector(`label[for="field-${name}"]`).textContent;
  return [
    html("p", {}, `To work out how much weight the nose needs, fill in this first:`),
    html("ul", { id: "weight-missing" }, ...names.map((name) => html("li", {}, html("button", { type: "button", "data-missing": name, onclick: () => go(name) }, label(name))))),
  ];
}

function needWords(plan, need) {
  const grams = (value) => (value === null ? null : sized(value, "g", 1));
  const [least, middle] = [grams(need.least_g), grams(need.middle_g)];
  const most = plan.outcome === "needed" ? grams(plan.weight.mass_g) : null;
  if (middle === null) return "Not even the middle of the band gets there along this curve.";
  return `By the middle of the band ${middle} would do; what it truly takes lies between ${least} and ${most ?? "more than goes in"}, as sure as the 95 % band is.`;
}

function curve(plan) {
  const { grams, margin_calibers: margins, low_calibers: lows } = plan.curve;
  const [w, h, left, low] = [360, 190, 46, 30];
  const all = [...margins, ...lows, plan.wanted_calibers];
  const [min, max] = [Math.min(...all) - 0.1, Math.max(...all) + 0.1];
  const most = grams[grams.length - 1] || 1;
  const x = (g) => left + ((w - left - 10) * g) / most;
  const y = (v) => 12 + ((h - low - 12) * (max - v)) / (max - min);
  const line = (values) => `M${grams.map((g, k) => `${x(g)},${y(values[k])}`).join("L")}`;
  const level = y(plan.wanted_calibers);
  const needed = plan.outcome === "needed" ? x(plan.weight.mass_g) : null;
  return html("figure", {}, svg(
    "svg", { class: "plot", viewBox: `0 0 ${w} ${h}`, role: "img", "aria-label": "Margin in calibers against nose weight, with the low end of its band" },
    svg("path", { class: "line wanted", d: `M${left},${level}H${w - 10}` }),
    svg("path", { class: "line margin", d: line(margins) }), svg("path", { class: "line low", d: line(lows) }),
    svg("path", { class: "line axis", d: `M${left},${h - low}H${w - 10}M${left},${h - low}V10` }),
    needed !== null && svg("path", { class: "line margin", d: `M${needed},${level}V${h - low}` }),
    ...[0, 0.5, 1].map((share) => svg("text", { x: x(share * most), y: h - 14, "text-anchor": "middle" }, Number.parseFloat(sized(share * most, "g", 1)))),
    ...[min, max].filter((v) => Math.abs(y(v) - level) > 14).map((v) => svg("text", { x: left - 4, y: y(v) + 4, "text-anchor": "end" }, v.toFixed(1))),
    svg("text", { x: left - 4, y: level + 4, "text-anchor": "end" }, Number(plan.wanted_calibers.toFixed(2))),
    svg("text", { x: w - 10, y: h - 2, "text-anchor": "end" }, `nose weight, ${shownIn("g")[0]}; margin, calibers`),
  ));
}
