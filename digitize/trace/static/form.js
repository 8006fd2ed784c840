// The short form: what the builder tells about photo and rocket, each field with its unit. It reads and writes the
// words of the command's options, so the same checks answer.
import { Refused, uploadCamera } from "./api.js";
import { html } from "./dom.js";
import { sentence } from "./numbers.js";

const LENGTHS = ["mm", "cm", "m", "in", "ft"];
const MASSES = ["g", "kg", "oz", "lb"];
const SPEEDS = ["m/s", "km/h", "mph", "ft/s"];

// [name, words, units or "" for plain text, example, words that may follow after a comma]
const FIELDS = {
  "What gives the scale (one at least; a caliper is worth most)": [
    ["scale:tube", "Largest diameter of the body, by caliper", LENGTHS, "41.6"],
    ["scale:length", "Body, nose tip to aft end, by tape", LENGTHS, "425"],
    ["scale:ruler", "A ruler in the picture: how long its graduation is", LENGTHS, "300"],
    ["scale:object", "Something of known size in the picture", { "": "nothing", a4: "A4 sheet", letter: "Letter sheet", card: "bank card", sheet: "the printed scale sheet" }],
    ["scale:checker", "A checkerboard: squares across x down x side, with unit", "", "7x5x15mm"],
    ["behind", "It lies behind the rocket's axis by (0: level; minus: nearer to you)", LENGTHS, "45"],
    ["distance", "Camera to rocket", LENGTHS, "1.8"],
    ["sheet_bar", "The printed sheet's 100 mm bar, by your ruler", LENGTHS, "99.2"],
    ["camera", "A calibration of the camera, if you have one; used once the photo is measured", { "": "none" }],
  ],
  "The rocket": [
    ["name", "Its name", "", "bramble"],
    ["fins", "Fins in each group, nose to tail (number)", "", "3 or 3,4"],
    ["pose", "How the aft fins stand (word, or the angle of fin 1 in degrees: 30deg)", "", "in-plane, diagonal, resting, 30deg"],
    ["nose", "Where the nose points", { "": "find it", left: "left", right: "right", up: "up", down: "down" }],
    ["thickness", "Thickness of the fins, with unit; one for all or for each group", "", "2.4mm"],
  ],
  "Balance, ready to fly, heaviest motor in": [
    ["balance", "Balance point, and the end it is measured from", LENGTHS, "250", { "": "nose tip (not said)", "from-nose": "from the nose tip", "from-tail": "from the body's aft end" }],
    ["balance_at", "Or: its place in the photo, in pixels x,y", "", "1520,830"],
    ["mass", "Lift-off mass", MASSES, "180"],
    ["motor", "Motors, one a line: name, mass loaded, mass empty, length, how far it sticks out", null, "large,24g,12g,70mm,5mm"],
    ["balanced_with", "Which of them was in when it was balanced (name, or none)", "", "large"],
    ["add", "What was not in, one a line: name, mass, place from the nose tip", null, "parachute,12g,180mm"],
  ],
  "To double-check, and the flight": [
    ["hand", "Measured by hand, one a line: length, tube, nose, root, tip, span or cutout-balance", null, "span=52mm"],
    ["wind", "Crosswind", SPEEDS, "4"],
    ["rod_speed", "Speed leaving the rod", SPEEDS, "15"],
    ["mach", "Mach number to show the methods at (number, 0 to 0.7)", "", "0.3"],
    ["seed", "Seed of the random numbers behind the bands (whole number)", "", "1"],
  ],
};

export class Form {
  // chosen: told the answer when a calibration was taken.
  constructor(element, submit, chosen) {
    this.chosen = chosen;
    this.element = element;
    this.points = [];
    const groups = Object.entries(FIELDS).map(([title, fields]) => html("fieldset", {}, html("legend", {}, title), ...fields.map(field)));
    this.pointList = html("ul", { id: "points" });
    groups[0].append(this.pointList);
    groups[groups.length - 1].append(html("label", { for: "paper" }, "The report as PDF too, when saved, on"), html("select", { id: "paper" }, ...choices({ "": "no paper: no PDF", a4: "A4", letter: "Letter" })));
    element.append(...groups, html("div", { class: "row" }, html("button", { class: "chief", type: "submit", id: "measure" }, "Find the outline and measure")));
    this.camera = element.querySelector("#field-camera");
    const file = html("input", { type: "file", accept: ".toml", id: "camera-file", onchange: () => this.chooseCamera(file) });
    this.cameraTrouble = html("p", { role: "alert" });
    this.camera.after(html("label", { for: "camera-file" }, "Its file, as digitize camera has written it (TOML)"), file, this.cameraTrouble);
    element.addEventListener("submit", (event) => {
      event.preventDefault();
      submit();
    });
  }

  // The calibrations there are to choose from, by name.
  cameras(names) {
    const now = this.camera.value;
    this.camera.replaceChildren(...choices({ "": "none", ...Object.fromEntries(names.map((name) => [name, name])) }));
    this.camera.value = names.includes(now) ? now : "";
  }

  async chooseCamera(input) {
    this.cameraTrouble.textContent = "";
    if (!input.files.length) return;
    try {
      const told = await uploadCamera(input.files[0]);
      this.cameras(told.cameras);
      this.camera.value = told.chosen;
      this.chosen(told);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.cameraTrouble.textContent = `${sentence(error.said.what)} ${sentence(error.said.remedy)}`;
    }
    input.value = "";
  }

  // The words as the options take them.
  words() {
    const found = { scale: this.points.slice() };
    for (const input of this.element.querySelectorAll("[data-name]")) {
      const unit = input.parentNode.querySelector("[data-unit]");
      const text = input.value.trim();
      if (!text) continue;
      const end = input.parentNode.querySelector("[data-end]");
      const size = unit && bare(text) ? text + unit.value : text;
      const value = end && end.value && !/,\s*[a-z]/i.test(size) ? `${size},${end.value}` : size;
      const [name, kind] = input.dataset.name.split(":");
      if (kind === "object") found.scale.push(value);
      else if (kind) found.scale.push(`${kind}=${value}`);
      else if (input.tagName === "TEXTAREA") found[name] = text.split("\n").map((line) => line.trim()).filter(Boolean);
      else found[name] = value;
    }
    return found;
  }

  // Fields that hold nothing yet are asked for in these units.
  units(shown) {
    for (const unit of this.element.querySelectorAll("[data-unit]")) {
      const has = (name) => [...unit.options].some((option) => option.value === name);
      if (unit.parentNode.querySelector("[data-name]").value.trim()) continue;
      if (has("mm")) unit.value = shown;
      if (has("oz")) unit.value = shown === "in" ? "oz" : "g";
    }
  }

  fill(words) {
    this.points = [];
    for (const input of this.element.querySelectorAll("[data-name]")) {
      const [name, kind] = input.dataset.name.split(":");
      if (kind) put(input, fromScale(words.scale || [], kind));
      else put(input, Array.isArray(words[name]) ? words[name].join("\n") : words[name] ?? "");
    }
    for (const text of words.scale || []) if (text.startsWith("points=")) this.addPoints(text);
    this.listPoints();
  }

  addPoints(text) {
    this.points.push(text);
    this.listPoints();
  }

  listPoints() {
    this.pointList.replaceChildren(
      ...this.points.map((text, k) =>
        html("li", {}, `two points in the photo, ${text.split(",").slice(4).join(",")} apart `,
          html("button", { type: "button", onclick: () => { this.points.splice(k, 1); this.listPoints(); } }, "take out"))),
    );
  }
}

function field([name, words, units, example, ends]) {
  const id = `field-${name.replace(":", "-")}`;
  const label = html("label", { for: id }, words);
  if (units === null) return html("div", {}, label, html("textarea", { id, "data-name": name, rows: 2, placeholder: example }));
  if (units && !Array.isArray(units)) return html("div", {}, label, html("select", { id, "data-name": name }, ...choices(units)));
  const input = html("input", { id, "data-name": name, placeholder: example, autocomplete: "off", inputmode: units ? "decimal" : "text" });
  if (!units) return html("div", {}, label, input);
  const unit = html("select", { "data-unit": true, "aria-label": `unit of: ${words}` }, ...choices(Object.fromEntries(units.map((u) => [u, u]))));
  const end = ends && html("select", { "data-end": true, "aria-label": "which end it is measured from" }, ...choices(ends));
  return html("div", {}, label, html("div", { class: "field" }, input, unit, end));
}

// A number that still needs its unit, as people write it: 41.6, 41,6, 1 5/8, 1\u00bd. What it means the program says.
export const bare = (text) => /^[-+.,/\d\s\u00bc-\u00be\u2150-\u215e]*[\d\u00bc-\u00be\u2150-\u215e]\.?$/.test(text);

const choices = (map) => Object.entries(map).map(([value, words]) => html("option", { value }, words));

function fromScale(list, kind) {
  if (kind === "object") return list.find((text) => ["a4", "letter", "card", "sheet"].includes(text)) || "";
  const found = list.find((text) => text.startsWith(`${kind}=`));
  return found ? found.slice(kind.length + 1) : "";
}

function put(input, whole) {
  const unit = input.parentNode.querySelector("[data-unit]");
  const end = input.parentNode.querySelector("[data-end]");
  const [, size, said = ""] = end ? /^(.*?)(?:,\s*([a-z][a-z -]*))?$/i.exec(whole) : ["", whole];
  const known = end && [...end.options].some((option) => option.value === said);
  if (known) end.value = said;
  const text = known ? size : whole;
  const parts = unit ? /^\s*([-+]?[\d.]+(?:e[-+]?\d+)?|[-+.,/\d\s\u00bc-\u215e]+?)\s*([a-z/]+)\s*$/i.exec(text) : null;
  if (parts && [...unit.options].some((option) => option.value === parts[2])) {
    input.value = Number.isNaN(Number(parts[1])) ? parts[1] : String(Number(parts[1]));
    unit.value = parts[2];
  } else input.value = text;
}
