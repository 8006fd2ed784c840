// What the builder is asked, step by step: the few that matter first, all others in a fold. Every option but the scale
// comes from the command's own table; a scale's kinds have a field each.
import { FIELDS, LENGTHS } from "./options.js";

// Things of known size that need no number.
export const THINGS = { card: "a bank card", a4: "an A4 sheet", letter: "a Letter sheet", sheet: "the printed scale sheet" };
export const REFERENCES = { "": "choose\u2026", ruler: "a ruler or tape", ...THINGS, checker: "a checkerboard", points: "two marks whose distance I know", none: "nothing: I measured the tube" };

// name, label, units, example, choices, ends: words that may follow after a comma, hint, lines: one value a line
export const SCALE = [
  { name: "scale:ruler", label: "How long are its marks, first to last?", units: LENGTHS, example: "300" },
  { name: "scale:checker", label: "Squares across x down x side, with unit", example: "7x5x15mm" },
];
export const CALIPER = {
  name: "scale:tube", label: "Largest diameter of the body, by caliper", units: LENGTHS, example: "41.6", hint: "The best number you can give: to a tenth of a millimetre, without the fins.",
};
export const TAPE = { name: "scale:length", label: "Length of the body by tape, nose tip to tail end", units: LENGTHS, example: "425" };

// The table's fields of one part of the form.
export const part = (name) => FIELDS.filter((field) => field.part === name);
