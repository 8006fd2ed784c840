// What the builder tells about photo and rocket, in two steps. It reads and writes the words of the command's options,
// so the same checks answer.
import { Refused, uploadCamera } from "./api.js";
import { byId, html } from "./dom.js";
import { choices, choose, chosen, field, put, said, tiles } from "./field.js";
import * as FIELDS from "./fields.js";
import { sentence } from "./numbers.js";
import { PLACES, POSES } from "./pictures.js";

const fold = (words, ...parts) => html("details", { class: "fold" }, html("summary", {}, words), ...parts);

export class Form {
  // told: { chosen(answer) when a calibration was taken, points() to set two on the photo, changed() }
  constructor(scale, fins, told) {
    this.told = told;
    this.parts = [scale, fins];
    this.points = []; // two points in the photo, as the option takes them
    this.others = []; // scales that no field holds
    this.filled = "";
    this.buildScale(scale);
    this.buildFins(fins);
    this.camera = byId("field-camera");
    this.calibration();
    for (const part of this.parts) for (const kind of ["input", "change"]) part.addEventListener(kind, (event) => this.touched(event.target));
    this.reference.addEventListener("change", () => this.rows());
    this.fill({});
  }

  buildScale(element) {
    this.reference = html("select", { id: "field-reference", "aria-describedby": "field-reference-fault" }, ...choices(FIELDS.REFERENCES));
    this.pointList = html("ul", { id: "points" });
    this.pointRow = html("div", { class: "field-row", "data-row": "points" }, html("button", { type: "button", id: "set-points", onclick: () => this.told.points() }, "Set the two points on the photo"), this.pointList);
    this.places = tiles("place", "Where does it lie, seen from the camera?", [
      ["level", "Level with the rocket's middle", PLACES.level], ["farther", "Farther away, as on the table", PLACES.farther], ["nearer", "Nearer to you", PLACES.nearer],
    ], () => this.rows());
    this.behind = field(FIELDS.part("place")[0]);
    this.placed = html("div", { id: "placed" }, this.places, this.behind);
    element.append(
      html("div", { class: "field-row", "data-row": "scale" }, html("label", { for: "field-reference" }, "What of known size is in the photo?"), this.reference, html("p", { class: "fault", id: "field-reference-fault", hidden: true })),
      ...FIELDS.SCALE.map(field), this.pointRow, this.placed, field(FIELDS.CALIPER),
      fold("More about the scale and the camera", field(FIELDS.TAPE), ...FIELDS.part("more about the scale").map(field)),
    );
  }

  buildFins(element) {
    const words = { "in-plane": "One fin flat in the picture", diagonal: "Turned half way, like an X", resting: "On two fin tips, seen from above", "": "Not sure: find it" };
    this.poses = tiles("lies", "How does it lie?", Object.entries(words).map(([value, said]) => [value, said, POSES[value]]), (value) => {
      byId("field-pose").value = value;
    }, "Drawn from behind the tail, with the camera.");
    element.append(...FIELDS.part("fins").map(field), this.poses, ...FIELDS.part("balance").map(field), fold("More about the rocket", ...FIELDS.part("more about the rocket").map(field), ...FIELDS.part("more about the balance").map(field)), fold("To compare, and the flight", ...FIELDS.part("checks").map(field)));
    byId("field-pose").addEventListener("input", (event) => choose(this.poses, event.target.value.trim()));
  }

  calibration() {
    const file = html("input", { type: "file", accept: ".toml", id: "camera-file", onchange: () => this.chooseCamera(file) });
    this.cameraTrouble = html("p", { role: "alert", class: "fault", hidden: true });
    this.camera.after(html("label", { for: "camera-file" }, "Its file, as digitize camera has written it (TOML)"), file, this.cameraTrouble);
  }

  // The rows that belong to what was chosen, and those that hold something.
  rows() {
    const kind = this.reference.value;
    for (const name of ["ruler", "checker"]) {
      const row = this.row(`scale:${name}`);
      row.hidden = kind !== name && !(this.kept && this.kept.has(name));
    }
    this.pointRow.hidden = kind !== "points" && !this.points.length;
    this.placed.hidden = !kind || kind === "none" || kind === "points";
    this.behind.hidden = !["farther", "nearer"].includes(chosen(this.places));
    this.told.changed();
  }

  row(name) {
    return this.parts.map((part) => part.querySelector(`[data-row="${name}"]`)).find(Boolean);
  }

  inputs() {
    return this.parts.flatMap((part) => [...part.querySelectorAll("[data-name]")]);
  }

  // The calibrations there are to choose from, by name.
  cameras(names) {
    const now = this.camera.value;
    this.camera.replaceChildren(...choices({ "": "none", ...Object.fromEntries(names.map((name) => [name, name])) }));
    this.camera.value = names.includes(now) ? now : "";
  }

  async chooseCamera(input) {
    this.cameraTrouble.hidden = true;
    if (!input.files.length) return;
    try {
      const told = await uploadCamera(input.files[0]);
      this.cameras(told.cameras);
      this.camera.value = told.chosen;
      this.told.chosen(told);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.cameraTrouble.textContent = `${sentence(error.said.what)} ${sentence(error.said.remedy)}`;
      this.cameraTrouble.hidden = false;
    }
    input.value = "";
  }

  // The words as the options take them.
  words() {
    const found = { scale: [...this.points, ...this.others] };
    if (this.reference.value in FIELDS.THINGS) found.scale.push(this.reference.value);
    for (const input of this.inputs()) {
      const [name, kind] = input.dataset.name.split(":");
      if (name === "behind") {
        const place = this.place();
        if (place) found.behind = place;
        continue;
      }
      const value = said(input);
      if (!value || (kind && this.row(input.dataset.name).hidden)) continue;
      if (kind) found.scale.push(`${kind}=${value}`);
      else if (input.tagName === "TEXTAREA") found[name] = value.split("\n").map((line) => line.trim()).filter(Boolean);
      else found[name] = value;
    }
    return found;
  }

  // What was begun and not said: [field, words], or null. Left out it would be dropped without a word.
  lacking() {
    const kind = this.reference.value;
    for (const name of ["ruler", "checker"]) {
      const input = byId(`field-scale-${name}`);
      if (kind === name && !input.value.trim()) return [input, name === "ruler" ? "Say how long its marks are, from the first to the last." : "Say how many squares it has and how large one is, as 7x5x15mm."];
    }
    if (kind === "points" && !this.points.length) return [this.reference, "Set the two points on the photo, or choose something else."];
    const far = byId("field-behind");
    if (!this.placed.hidden && chosen(this.places) === "nearer" && !far.value.trim()) return [far, "Say by how much it lies nearer to you."];
    return null;
  }

  // How far behind, with its sign; empty where nobody has said it.
  place() {
    if (this.placed.hidden) return "";
    const [where, value] = [chosen(this.places), said(byId("field-behind"))];
    if (where === "level") return "0mm";
    return where === "nearer" && value ? `-${value.replace(/^-/, "")}` : where ? value : "";
  }

  // Fields that hold nothing yet are asked for in these units.
  units(shown) {
    const before = JSON.stringify(this.words());
    for (const part of this.parts)
      for (const unit of part.querySelectorAll("[data-unit]")) {
        const has = (name) => [...unit.options].some((option) => option.value === name);
        if (unit.parentNode.querySelector("[data-name]").value.trim()) continue;
        if (has("mm")) unit.value = shown;
        if (has("oz")) unit.value = shown === "in" ? "oz" : "g";
      }
    if (before === this.filled) this.filled = JSON.stringify(this.words());
  }

  // typed: what was typed here meanwhile and nobody told otherwise; it stays, and counts as changed.
  fill(words, typed = {}) {
    this.write(words);
    this.filled = JSON.stringify(this.words());
    if (Object.keys(typed).length) this.write({ ...words, ...typed });
    this.told.changed();
  }

  write(words) {
    const scales = words.scale || [];
    const kinds = scales.map((text) => text.split("=")[0].trim());
    this.kept = new Set(kinds);
    this.points = scales.filter((text, k) => kinds[k] === "points");
    const first = kinds.find((kind) => kind in FIELDS.REFERENCES);
    this.reference.value = first || (scales.length ? "none" : "");
    this.others = scales.filter((text, k) => kinds[k] in FIELDS.THINGS && kinds[k] !== this.reference.value);
    for (const input of this.inputs()) {
      const [name, kind] = input.dataset.name.split(":");
      const claim = scales[kinds.indexOf(kind)];
      if (kind) put(input, claim ? claim.slice(claim.indexOf("=") + 1) : "");
      else if (name === "behind") this.fillPlace(input, words.behind);
      else put(input, Array.isArray(words[name]) ? words[name].join("\n") : words[name] ?? "");
    }
    choose(this.poses, words.pose ?? "");
    this.listPoints();
    this.faultless();
  }

  fillPlace(input, behind) {
    put(input, behind ?? "");
    const value = Number.parseFloat(input.value);
    choose(this.places, value === 0 ? "level" : value < 0 ? "nearer" : behind ? "farther" : "");
    if (value < 0) input.value = input.value.replace(/^\s*-/, "");
  }

  // Names of what is told otherwise than when it was last filled.
  changed() {
    const [before, now] = [JSON.parse(this.filled), this.words()];
    return [...new Set([...Object.keys(before), ...Object.keys(now)])].filter((name) => JSON.stringify(before[name]) !== JSON.stringify(now[name]));
  }

  addPoints(text) {
    this.points.push(text);
    this.listPoints();
    this.told.changed();
  }

  listPoints() {
    const item = (list, words) => (text, k) =>
      html("li", {}, words(text), " ", html("button", { type: "button", onclick: () => { list.splice(k, 1); this.listPoints(); this.told.changed(); } }, "take out"));
    this.pointList.replaceChildren(...this.points.map(item(this.points, (text) => `two points, ${text.split(",").slice(4).join(",")} apart`)), ...this.others.map(item(this.others, (text) => FIELDS.THINGS[text])));
    this.rows();
  }

  // --- faults, told beside their field ---

  touched(element) {
    const row = element.closest("[data-row]");
    if (row) this.faultless(row);
    this.told.changed();
  }

  faultless(within = null) {
    for (const part of within ? [within] : this.parts) {
      for (const told of part.querySelectorAll(".fault")) told.hidden = true;
      for (const wrong of part.querySelectorAll("[aria-invalid]")) wrong.removeAttribute("aria-invalid");
    }
  }

  // The field that a refusal is about, if there is one: it is named as the command's option.
  fieldOf({ what, remedy }) {
    for (const text of [what, remedy])
      for (const [, name, kind] of text.matchAll(/--([a-z-]+)(?: ([a-z0-9]+)\b)?/g)) {
        const plain = name.replaceAll("-", "_");
        const tried = plain === "scale" ? [`field-scale-${kind}`, "field-reference"] : [`field-${plain}`];
        const found = tried.map(byId).find((element) => element && this.parts.some((part) => part.contains(element)));
        if (found) return found;
      }
    return null;
  }

  // Shows it there; gives the step it is in.
  fault(input, words) {
    for (let up = input.parentElement; up; up = up.parentElement) {
      if (up.tagName === "DETAILS") up.open = true;
      if (up.dataset.row) up.hidden = false;
    }
    if (input.id === "field-behind") this.placed.hidden = false;
    input.setAttribute("aria-invalid", "true");
    const told = byId(`${input.id}-fault`);
    told.textContent = words;
    told.hidden = false;
    return this.parts[0].contains(input) ? "scale" : "fins";
  }
}
