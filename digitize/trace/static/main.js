// The page's story: what the program says is shown; what the person does is sent; the answer is shown.
import { Refused, send, state, upload } from "./api.js";
import { begin, empty, listEarlier } from "./begin.js";
import { byId, html, refill } from "./dom.js";
import { dropping } from "./dropping.js";
import { fins } from "./fins.js";
import { camera, Follow } from "./follow.js";
import { Form } from "./form.js";
import { Hands } from "./hands.js";
import { legend } from "./legend.js";
import { changes, sentence, showUnits, table, warnings } from "./numbers.js";
import { button, Pinned, why } from "./pinned.js";
import { curve, downloads } from "./result.js";
import { Sheet } from "./sheet.js";
import { Steps } from "./steps.js";
import { Talk } from "./talk.js";
import { Toolbar } from "./toolbar.js";
import { NoseWeight } from "./weight.js";

let view = null;
let said = null; // what was refused last
let regions = []; // before there is a result a marked region is only the page's
let asked = null; // what the form was filled with last

const talk = new Talk({
  show: (next, whole) => show(next, whole),
  refused: (refused, whole = true) => {
    said = refused;
    if (view && whole) numbers(view);
    pinned();
  },
  view: () => view, drag: () => sheet.drag, attend: () => attend(),
});
const steps = new Steps(() => onward());
const sheet = new Sheet(byId("sheet"), byId("loupe"), byId("stage"), {
  preview: (change) => talk.preview(change),
  commit: (change) => talk.change(change),
  drop: () => {
    said = null;
    show(view);
  },
  pulled: ({ from, to, reach }) => remeasure({ pulls: [...view.pulls, { from, to, reach }] }),
  hint: () => {
    hands.hint();
    drafting();
  },
});
const hands = new Hands(sheet, {
  view: () => view, count: () => Number((byId("field-fins").value.match(/\d+/g) || ["3"]).pop()),
  measure: (extra) => measure(extra), change: (change) => talk.change(change), doing: (work) => talk.doing(work), show: (next, whole) => show(next, whole),
  marked: (region) => {
    regions.push(region);
    measure();
  },
  scaled: (text) => {
    form.addPoints(text);
    if (view.phase === "ready") again();
    else steps.go("scale", true);
  },
});
const acts = { drawFin: () => hands.fin(), drawRocket: () => hands.rocket(), region: (rocket) => hands.region(rocket), twoPoints: () => hands.twoPoints() };
const toolbar = new Toolbar(sheet, acts);
const dock = new Pinned({
  ...acts, again: () => again(), go: (to) => talk.going(to), fromSeen: () => measure({ seen: true }),
  stop: () => talk.doing(() => send("stop", {})),
  save: () => talk.doing(() => send("save", { paper: byId("paper").value || null })),
  untell: () => {
    form.fill(asked);
    attend();
  },
  unmark: () => {
    regions.pop();
    show(view);
  },
});
const form = new Form(byId("scale-fields"), byId("fin-fields"), {
  points: () => hands.twoPoints(),
  chosen: (told) => {
    Object.assign(view, told);
    pinned();
  },
  changed: () => {
    if (!view) return;
    said = null;
    pinned();
    onward();
  },
});
const weight = new NoseWeight(byId("weight"), (name) => {
  steps.go("fins");
  byId(`field-${name}`).focus();
});

// --- measuring ---

async function measure(extra = {}) {
  const lacking = form.lacking();
  if (lacking) {
    mark(...lacking);
    return;
  }
  form.faultless();
  steps.go("answer");
  dock.focus();
  await talk.measuring("measure", { words: form.words(), regions, ...extra });
}

// Regions and pulls, under the same words, so the picture need not be searched for anything else again.
const remeasure = (change) => talk.measuring("measure", { words: view.asked, regions: view.regions, pulls: view.pulls, ...change });

// The form has changed: what can be told without looking at the photo again leaves the points where they are.
async function again() {
  const [names, words] = [form.changed(), form.words()];
  const searched = (scales) => JSON.stringify((scales || []).filter((text) => !/^(points|tube|length)=/.test(text)));
  if (!names.every((name) => view.quick.includes(name)) || searched(words.scale) !== searched(view.asked.scale)) {
    await measure(view.drawn ? { again: true } : { pulls: view.pulls });
    return;
  }
  const lacking = form.lacking();
  if (lacking) {
    mark(...lacking);
    return;
  }
  form.faultless();
  await talk.change({ do: "ask", words: Object.fromEntries(names.map((name) => [name, words[name] ?? ""])) });
  attend();
}

const answer = () => (view.phase !== "ready" ? measure() : form.changed().length ? again() : steps.go("answer", true));

// To where the eye belongs once an answer or a refusal is there: the field that is wrong, or what is pinned.
function attend() {
  const wrong = said || view.refused;
  const input = wrong && form.fieldOf(wrong);
  if (input) {
    mark(input, `${sentence(wrong.what)} ${sentence(wrong.remedy)}`);
    return;
  }
  steps.go("answer");
  dock.focus();
}

function mark(input, words) {
  const step = form.fault(input, words);
  pinned();
  steps.go(step);
  input.focus();
}

// --- units: the folder's; where nobody has said, what this browser showed last. A cookie, as it is the same for all ports ---

function shownUnits(units) {
  const now = units || remembered();
  if (now !== byId("units").value) weight.built = false; // its fields are asked for in other units
  byId("units").value = now;
  showUnits(now);
  form.units(now);
  if (!units && now === "in") choose(now);
}

const remembered = () => (/(?:^|; )units=in(?:;|$)/.test(document.cookie) ? "in" : "mm");

const choose = (units) => talk.doing(() => send("units", { units }));

byId("units").addEventListener("change", () => {
  const units = byId("units").value;
  document.cookie = `units=${units}; path=/; max-age=31536000; SameSite=Strict`;
  weight.built = false;
  choose(units);
});

// --- showing ---

function show(next, whole = true) {
  const [first, before] = [!view, view];
  if (whole) {
    shownUnits(next.units);
    view = next;
    form.cameras(next.cameras);
    filled(next, before);
  }
  if (whole && next.phase === "ready") regions = next.regions.slice();
  byId("photo").hidden = !next.photo;
  byId("empty").hidden = Boolean(next.photo);
  byId("another").hidden = !next.photo;
  sheet.show({ ...next, regions });
  legend({ ...next, regions });
  numbers(next);
  pinned(next);
  if (!whole) {
    weight.stale();
    return;
  }
  byId("title").textContent = (next.result && next.result.name) || "digitize";
  document.title = next.result ? `${next.result.name}: digitize` : "digitize";
  toolbar.show(next);
  begin(next, { choose: pickFile, next: () => steps.next() });
  fins(next, (change) => talk.change(change));
  if (next.phase === "ready" && !next.unfinished) {
    weight.show(next);
    byId("more").replaceChildren(...curve(next.result));
    byId("files").replaceChildren(...downloads(next));
  } else {
    weight.show({ phase: "start" });
    for (const id of ["more", "files"]) byId(id).replaceChildren();
  }
  byId("saving").hidden = next.phase !== "ready" || Boolean(next.unfinished);
  onward();
  byId("cautions").replaceChildren(html("h3", {}, "Before you fly"), html("ul", {}, ...next.cautions.map((words) => html("li", {}, words))));
  if (first) {
    if (next.photo) steps.go(next.phase === "start" && !next.refused ? "scale" : "answer");
    else earlier();
  } else if (!before.photo && next.photo && steps.now === "photo") steps.go("scale"); // from the other screen too
  else if (before.phase === "working" && next.phase === "ready") steps.go("answer");
}

// What was asked fills the form; what is typed since stays until that very thing was asked otherwise, here or on the
// other screen, or another rocket is shown.
function filled(next, before) {
  const words = next.asked || {};
  if (JSON.stringify(words) !== JSON.stringify(asked)) {
    const same = before && before.folder === next.folder && asked;
    const [was, typed] = [asked, form.words()];
    const kept = same ? form.changed().filter((name) => JSON.stringify(words[name]) === JSON.stringify(was[name])) : [];
    asked = words;
    form.fill(words, Object.fromEntries(kept.map((name) => [name, typed[name]])));
    if (next.paper) byId("paper").value = next.paper;
  }
  if (next.chosen) form.camera.value = next.chosen;
}

function numbers(next) {
  const ready = next.phase === "ready";
  const whole = ready && !next.unfinished;
  byId("numbers").replaceChildren(...(whole ? [...why(next), ...warnings(next.result), table(next.result)] : []));
  byId("changes").replaceChildren(...(ready ? [...changes(next.changed), ...takeBack(), ...unchecked(next)] : []));
}

// What follows from where it stands: the pinned part, the steps, whether the numbers still are those of the form.
function pinned(next = view) {
  const stale = next && next.phase === "ready" ? form.changed() : [];
  const wrong = said || (next && next.refused);
  dock.show({ view: next, said, field: wrong && form.fieldOf(wrong), stale, marked: regions.length });
  document.body.classList.toggle("stale", stale.length > 0);
  if (!next) return;
  const words = form.words();
  const there = Boolean(next.photo);
  steps.mark({ photo: there, scale: words.scale.length > 0, fins: Boolean(words.fins && (words.balance || words.balance_at)), answer: next.phase === "ready" && !next.unfinished && !stale.length }, { photo: true, scale: there, fins: there, answer: there });
}

// What leads on from each step.
function onward() {
  if (!view) return;
  const [ready, working] = [view.phase === "ready", view.phase === "working"];
  const words = !ready ? "Get the answer" : form.changed().length ? "Measure again" : "To the answer";
  refill(byId("after-scale"), [button("Next: fins and balance", "next-scale", () => steps.next(), { chief: true, sign: "next" })]);
  refill(byId("after-fins"), [button(words, "go", answer, { chief: true, sign: "yes", enabled: !working })]);
  const none = view.phase === "start" && view.photo && !(said || view.refused);
  refill(byId("none-yet"), none ? [
    html("p", {}, "Nothing is measured yet. Tell what gives the scale and how many fins there are; then the rocket is found in the photo."),
    html("div", { class: "row onward" }, button("Get the answer", "go-now", () => measure(), { chief: true, sign: "yes" }), button("Draw it by hand", "by-hand", acts.drawRocket, { sign: "rocket" }),
      regions.length ? button("Take back the last marked region", "unmark", dock.acts.unmark, { sign: "undo" }) : null),
  ] : []);
}

// While something is drawn a small screen has room for the photo and the next point alone.
function drafting() {
  const now = Boolean(sheet.draft);
  if (now === document.body.classList.contains("drafting")) return;
  document.body.classList.toggle("drafting", now);
  if (now && window.matchMedia("(max-width: 60rem)").matches) byId("stage").scrollIntoView({ block: "start" });
}

// Regions and pulls, the last one to be taken back.
function takeBack() {
  const buttons = [["regions", "the last marked region"], ["pulls", "the last pull"]]
    .filter(([name]) => view.phase === "ready" && view[name].length)
    .map(([name, words]) => button(`Take back ${words}`, `back-${name}`, () => remeasure({ [name]: view[name].slice(0, -1) }), { sign: "undo" }));
  return buttons.length ? [html("div", { class: "row" }, ...buttons)] : [];
}

// What was only seen counts once a person says it is right.
function unchecked(next) {
  if (next.checked !== false || next !== view) return [];
  return [html("div", { class: "row" }, button("I have checked every point", "check", () => talk.change({ do: "check" }), { sign: "yes" }))];
}

// --- a photo dropped or chosen, another rocket ---

const pickFile = () => byId("file").click();

async function take(file) {
  if (!file) return;
  const taken = await talk.doing(async () => {
    const next = await upload(file);
    asked = next.asked; // what is told already stays
    regions = [];
    return next;
  });
  byId("file").value = "";
  if (taken && !byId("field-name").value) byId("field-name").value = file.name.replace(/\.[^.]*$/, "").slice(0, 40);
  if (taken) steps.go("scale", true);
  else dock.focus();
}

async function swap(path, words) {
  sheet.stop();
  const done = await talk.doing(async () => {
    const next = await send(path, words);
    asked = null;
    regions = [];
    return next;
  });
  if (!done) return;
  steps.go(view.photo ? "answer" : "photo", true);
  if (!view.photo) await earlier();
  await talk.follow(true);
}

async function earlier() {
  try {
    await listEarlier({ open: (folder) => swap("open", { folder }) });
  } catch (error) {
    if (!(error instanceof Refused)) throw error; // the list is no part of the measuring
  }
}

byId("file").addEventListener("change", (event) => take(event.target.files[0]));
byId("another").addEventListener("click", () => swap("another", {}));
byId("form").addEventListener("submit", (event) => event.preventDefault());
byId("form").addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input:not([type=file], [type=radio])") || event.isComposing) return;
  event.preventDefault();
  if (steps.now === "scale") steps.next();
  else answer();
});

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || !view || view.phase !== "ready" || event.target.matches("input, textarea")) return;
  const to = event.key.toLowerCase() === "z" ? view.at + (event.shiftKey ? 1 : -1) : event.key.toLowerCase() === "y" ? view.at + 1 : null;
  if (to === null) return;
  event.preventDefault();
  if (to >= 0 && to < view.states) talk.going(to);
});

const following = new Follow({
  view: () => view, show: (next) => show(next),
  busy: () => Boolean(sheet.drag || sheet.pull || sheet.draft || sheet.nudges.size || sheet.settling || !byId("hint").matches(":empty")),
});
empty({ choose: pickFile, camera: camera(take) });
dropping(take);
talk.doing(state).then(() => {
  if (!view) return;
  following.start();
  talk.follow(true);
});
