// What the builder is asked, step by step: the few that matter first, all others in a fold.

export const LENGTHS = ["mm", "cm", "m", "in", "ft"];
export const MASSES = ["g", "kg", "oz", "lb"];
export const SPEEDS = ["m/s", "km/h", "mph", "ft/s"];

// Things of known size that need no number.
export const THINGS = { card: "a bank card", a4: "an A4 sheet", letter: "a Letter sheet", sheet: "the printed scale sheet" };
export const REFERENCES = { "": "choose\u2026", ruler: "a ruler or tape", ...THINGS, checker: "a checkerboard", points: "two marks whose distance I know", none: "nothing: I measured the tube" };

// [name, words, units or "" for plain text, example, words that may follow after a comma, a hint]
export const SCALE = [
  ["scale:ruler", "How long are its marks, first to last?", LENGTHS, "300"],
  ["scale:checker", "Squares across x down x side, with unit", "", "7x5x15mm"],
];
export const BEHIND = [
  ["behind", "By how much, along your line of sight?", LENGTHS, "45"],
];
export const CALIPER = [
  ["scale:tube", "Largest diameter of the body, by caliper", LENGTHS, "41.6", null, "The best number you can give: to a tenth of a millimetre, without the fins."],
];
export const SCALE_MORE = [
  ["scale:length", "Length of the body by tape, nose tip to tail end", LENGTHS, "425"],
  ["distance", "From the camera to the rocket", LENGTHS, "1.8"],
  ["sheet_bar", "The printed sheet's 100 mm bar, by your ruler", LENGTHS, "99.2"],
  ["camera", "A calibration of your camera, if you have made one", { "": "none" }],
];
export const FINS = [
  ["fins", "How many fins?", "", "3", null, "Two rows of fins: nose to tail, as 3,4."],
];
export const BALANCE = [
  ["balance", "Where does it balance, ready to fly?", LENGTHS, "250", { "": "from the nose tip?", "from-nose": "from the nose tip", "from-tail": "from the tail end" }, "With the heaviest motor in. Hang it on a string or lay it over a ruler's edge."],
  ["mass", "What does it weigh, ready to fly?", MASSES, "180"],
];
export const ROCKET_MORE = [
  ["name", "Its name", "", "bramble"],
  ["nose", "Where the nose points in the photo", { "": "find it", left: "left", right: "right", up: "up", down: "down" }],
  ["pose", "If no drawing fits: the angle of fin 1", "", "30deg", null, "0deg is flat in the picture, 90deg points at you."],
  ["thickness", "Thickness of the fins, with unit", "", "2.4mm", null, "One for all, or one for each row."],
];
export const BALANCE_MORE = [
  ["balance_at", "Balance point as a place in the photo: pixels x,y", "", "1520,830"],
  ["motor", "Motors it may fly with, one a line: name, mass loaded, mass empty, length, how far it sticks out", null, "large,24g,12g,70mm,5mm"],
  ["balanced_with", "The motor that was in when you balanced it: its name, or none", "", "large"],
  ["add", "What was not in then, one a line: name, mass, place from the nose tip", null, "parachute,12g,180mm"],
];
export const CHECKS = [
  ["hand", "Measured by hand to compare, one a line: length, tube, nose, root, tip, span or cutout-balance", null, "span=52mm"],
  ["wind", "Wind across the launch rod", SPEEDS, "4"],
  ["rod_speed", "Speed as it leaves the rod", SPEEDS, "15"],
  ["mach", "Mach number to show the methods at, 0 to 0.7", "", "0.3"],
  ["seed", "Starting number of the random draws behind the bands", "", "1"],
];
