// One field of the form: its label, its unit, its hint, and the place where a fault of it is told.
import { html } from "./dom.js";

export const choices = (map) => Object.entries(map).map(([value, words]) => html("option", { value }, words));

export function field({ name, label, units, example, choices: listed, ends, lines, hint }) {
  const id = `field-${name.replace(":", "-")}`;
  const said = hint ? html("p", { class: "hint", id: `${id}-hint` }, hint) : null;
  const common = { id, "data-name": name, "aria-describedby": hint ? `${id}-hint ${id}-fault` : `${id}-fault` };
  const fault = html("p", { class: "fault", id: `${id}-fault`, hidden: true });
  const row = (...parts) => html("div", { class: "field-row", "data-row": name }, html("label", { for: id }, label), ...parts, fault, said);
  if (lines) return row(html("textarea", { ...common, rows: 2, placeholder: example }));
  if (listed) return row(html("select", common, ...choices(listed)));
  const input = html("input", { ...common, placeholder: example, autocomplete: "off", inputmode: units ? "decimal" : "text" });
  if (!units) return row(html("div", { class: "field" }, input));
  const unit = html("select", { "data-unit": true, "aria-label": `unit of: ${label}` }, ...choices(Object.fromEntries(units.map((u) => [u, u]))));
  const end = ends && html("select", { "data-end": true, "aria-label": "which end it is measured from" }, ...choices(ends));
  return row(html("div", { class: "field" }, input, unit, end));
}

// One of several drawings. options: [value, words, drawing]; a change is told with the value.
export function tiles(name, legend, options, changed, note) {
  const made = options.map(([value, words, picture]) =>
    html("label", { class: "tile" }, html("input", { type: "radio", name, value, onchange: () => changed(value) }), picture ? picture() : null, html("span", {}, words)));
  return html("fieldset", { class: "tiles", "data-tiles": name }, html("legend", {}, legend), note ? html("p", { class: "hint" }, note) : null, html("div", { class: "tile-row" }, ...made));
}

export function choose(element, value) {
  for (const radio of element.querySelectorAll("input[type=radio]")) radio.checked = radio.value === value;
}

export const chosen = (element) => (element.querySelector("input[type=radio]:checked") || { value: null }).value;

// A number that still needs its unit, as people write it: 41.6, 41,6, 1 5/8, 1\u00bd. What it means the program says.
export const bare = (text) => /^[-+.,/\d\s\u00bc-\u00be\u2150-\u215e]*[\d\u00bc-\u00be\u2150-\u215e]\.?$/.test(text);

// What a field says, as the options take it; empty if nothing.
export function said(input) {
  const unit = input.parentNode.querySelector("[data-unit]");
  const end = input.parentNode.querySelector("[data-end]");
  const text = input.value.trim();
  if (!text) return "";
  const size = unit && bare(text) ? text + unit.value : text;
  return end && end.value && !/,\s*[a-z]/i.test(size) ? `${size},${end.value}` : size;
}

export function put(input, whole) {
  const unit = input.parentNode.querySelector("[data-unit]");
  const end = input.parentNode.querySelector("[data-end]");
  const [, size, word = ""] = end ? /^(.*?)(?:,\s*([a-z][a-z -]*))?$/i.exec(whole) : ["", whole];
  const known = end && [...end.options].some((option) => option.value === word);
  if (known) end.value = word;
  const text = known ? size : whole;
  const parts = unit ? /^\s*([-+]?[\d.]+(?:e[-+]?\d+)?|[-+.,/\d\s\u00bc-\u215e]+?)\s*([a-z/]+)\s*$/i.exec(text) : null;
  if (parts && [...unit.options].some((option) => option.value === parts[2])) {
    input.value = Number.isNaN(Number(parts[1])) ? parts[1] : String(Number(parts[1]));
    unit.value = parts[2];
  } else input.value = text;
}
