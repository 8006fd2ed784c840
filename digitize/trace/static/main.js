// The page's story: what the program says is shown; what the person does is sent; the answer is shown.
import { Refused, send, state, upload } from "./api.js";
import { byId, html } from "./dom.js";
import { camera, Follow } from "./follow.js";
import { Form } from "./form.js";
import { changes, sentence, showUnits, shownIn, table, verdict, warnings } from "./numbers.js";
import { curve, downloads } from "./result.js";
import { Sheet } from "./sheet.js";
import { NoseWeight } from "./weight.js";

let view = null;
let filled = false;
let regions = [];
const weight = new NoseWeight(byId("weight"));
const trouble = { said: null };

const sheet = new Sheet(byId("sheet"), byId("loupe"), byId("stage"), {
  preview: (change) => follow(change),
  commit: (change) => doing(() => send("change", change)),
  drop: () => {
    trouble.said = null;
    show(view);
  },
  pulled: (pull) => pullOutline(pull),
  hint: (words) => byId("hint").replaceChildren(...hint(words)),
});
const form = new Form(byId("form"), () => measure(), (told) => Object.assign(view, told));

// --- talking to the program ---

async function doing(work) {
  waiting = null;
  try {
    show(await work());
    trouble.said = null;
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    trouble.said = error.said;
    if (view) show(view);
  }
  status();
}

// One preview at a time; of those that come meanwhile only the newest is sent. An answer is drawn with the next frame,
// while the program works on the next one already, unless its drag is over by then.
let waiting = null;
let busy = false;
async function follow(change) {
  waiting = change;
  if (busy) return;
  busy = true;
  try {
    while (waiting) {
      const [now, drag] = [waiting, sheet.drag];
      waiting = null;
      let answer;
      try {
        answer = { seen: await send("preview", now), said: null };
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
        answer = { seen: null, said: error.said };
      }
      arrived({ ...answer, drag });
    }
  } finally {
    busy = false;
  }
}

let answered = null;
function arrived(answer) {
  if (!answered) requestAnimationFrame(drawAnswer);
  answered = answer;
}

function drawAnswer() {
  const { seen, said, drag } = answered;
  answered = null;
  if (!drag || drag !== sheet.drag) return;
  trouble.said = said;
  if (seen) show({ ...view, ...seen }, false);
  status();
}

async function poll() {
  while (view.phase === "working") {
    await new Promise((resolve) => setTimeout(resolve, 250));
    show(await state());
    status();
  }
}

function measure(extra = {}) {
  doing(() => send("measure", { words: form.words(), regions, ...extra })).then(poll);
}

// Regions and pulls, the last one to be taken back.
function takeBack() {
  const buttons = [["regions", "the last marked region"], ["pulls", "the last pull"]]
    .filter(([name]) => view.phase === "ready" && view[name].length)
    .map(([name, words]) => html("button", { type: "button", id: `back-${name}`, onclick: () => again({ [name]: view[name].slice(0, -1) }) }, `Take back ${words}`));
  return buttons.length ? [html("div", { class: "row" }, ...buttons)] : [];
}

// What was only seen counts once a person says it is right.
function unchecked(next) {
  if (next.checked !== false || next !== view) return [];
  const check = () => doing(() => send("change", { do: "check" }));
  return [html("div", { class: "row" }, html("button", { type: "button", id: "check", onclick: check }, "I have checked every point"))];
}

// Before there is a result a marked region is only the page's.
function unmark() {
  regions.pop();
  show(view);
}

function again(change) {
  doing(() => send("measure", { words: view.asked, regions: view.regions, pulls: view.pulls, ...change })).then(poll);
}

// The outline is pulled under the same words as it was found with, so the picture need not be searched again.
function pullOutline({ from, to, reach }) {
  again({ pulls: [...view.pulls, { from, to, reach }] });
}

function saving() {
  doing(() => send("save", { paper: byId("paper").value || null }));
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

const choose = (units) => doing(() => send("units", { units }));

byId("units").addEventListener("change", () => {
  const units = byId("units").value;
  document.cookie = `units=${units}; path=/; max-age=31536000; SameSite=Strict`;
  weight.built = false;
  choose(units);
});

// --- showing ---

function show(next, whole = true) {
  if (whole) {
    shownUnits(next.units);
    view = next;
    form.cameras(next.cameras);
  }
  const words = next.chosen ? { ...next.asked, camera: next.chosen } : next.asked;
  if (!filled && next.asked) {
    form.fill(words);
    byId("paper").value = next.paper || "";
    filled = true;
    byId("told").open = next.phase !== "ready";
  }
  if (whole && next.phase === "ready") {
    regions = next.regions.slice();
    form.fill(words);
  }
  sheet.show({ ...next, regions });
  document.title = next.result ? `${next.result.name}: the outline by hand` : "digitize: the outline by hand";
  numbers(next);
  if (whole) {
    tools();
    fins();
    more();
    weight.show(next);
    status();
    byId("cautions").replaceChildren(html("h2", {}, "Cautions"), html("ul", { class: "soft" }, ...next.cautions.map((c) => html("li", {}, c))));
  } else weight.stale();
}

function numbers(next) {
  const ready = next.phase === "ready";
  byId("numbers").replaceChildren(...(ready ? [verdict(next.result), table(next.result), ...warnings(next.result)] : []));
  byId("changes").replaceChildren(...(ready ? [...changes(next.changed), ...takeBack(), ...unchecked(next)] : []));
}

function status() {
  const parts = [];
  const refused = trouble.said || (view && view.refused);
  if (refused) parts.push(html("div", { class: "refused", role: "alert" }, html("strong", {}, sentence(refused.what)), ` ${sentence(refused.remedy)}`));
  if (view.phase === "working") parts.push(html("p", {}, `Working: ${view.said} \u2026`));
  if (view.phase === "start") parts.push(...beginning());
  if (view.phase === "ready") parts.push(history());
  byId("status").replaceChildren(...parts);
}

function beginning() {
  const file = html("input", { type: "file", accept: "image/*,.heic,.heif", id: "file", onchange: (event) => take(event.target.files[0]) });
  const parts = [html("h2", {}, view.photo ? view.photo.name : "A side photo of the rocket"), ...camera(take), html("label", { for: "file" }, "Choose a photo, or drop it on the left"), file];
  if (view.photo)
    parts.push(
      html("p", {}, "Tell what gives the scale, and how many fins there are; then let the outline be found, or draw it."),
      html("div", { class: "row" },
        html("button", { type: "button", class: "chief", id: "go", onclick: () => measure() }, "Find the outline"),
        view.seen && view.seen.start ? html("button", { type: "button", id: "from-seen", onclick: () => measure({ seen: true }) }, "Start from what was seen") : "",
        html("button", { type: "button", id: "by-hand", onclick: drawRocket }, "Draw it all by hand"),
        html("button", { type: "button", onclick: twoPoints }, "Set two points of known distance"),
        regions.length ? html("button", { type: "button", id: "unmark", onclick: unmark }, "Take back the last marked region") : ""),
    );
  return parts;
}

function history() {
  const go = (to) => doing(() => send("go", { to })).then(poll);
  const button = (words, id, enabled, act) => html("button", { type: "button", id, onclick: act, disabled: !enabled }, words);
  return html(
    "div", { class: "row" },
    button("Undo", "undo", view.at > 0, () => go(view.at - 1)),
    button("Redo", "redo", view.at < view.states - 1, () => go(view.at + 1)),
    button("As found", "as-found", view.at > view.found_at, () => go(view.found_at)),
    html("button", { type: "button", id: "save", class: view.saved ? "" : "chief", onclick: saving }, view.saved ? "Saved" : "Save"),
  );
}

function tools() {
  const ready = view.phase === "ready";
  const tool = (name, words) =>
    html("button", { type: "button", "aria-pressed": String(sheet.tool === name && !sheet.draft), disabled: !ready, "data-tool": name, onclick: () => pick(name) }, words);
  const act = (words, id, enabled, work) => html("button", { type: "button", id, disabled: !enabled, onclick: work }, words);
  byId("tools").replaceChildren(
    tool("move", "Move points"), tool("add", "Add a point"), tool("remove", "Take a point out"),
    view.drawn ? "" : tool("pull", "Pull the outline"),
    act("Draw a fin", "draw-fin", ready, drawFin),
    act("Mark: not rocket", "not-rocket", view.photo && !view.drawn, () => region(false)),
    act("Mark: rocket", "rocket", view.photo && !view.drawn, () => region(true)),
    act("Draw the rocket", "draw-rocket", view.photo, drawRocket),
    act("Two points", "two-points", view.photo, twoPoints),
    act("+", "zoom-in", view.photo, () => sheet.camera.zoom(1.4)), act("\u2212", "zoom-out", view.photo, () => sheet.camera.zoom(1 / 1.4)),
    act("Rocket", "whole-rocket", ready, () => sheet.fitRocket()),
    act("Whole photo", "whole", view.photo, () => sheet.camera.fit(view.photo.width, view.photo.height)),
  );
  byId("zoom-in").setAttribute("aria-label", "nearer");
  byId("zoom-out").setAttribute("aria-label", "farther");
}

function pick(name) {
  sheet.stop();
  sheet.tool = name;
  const words = { move: "", add: "Click on the line where a point is wanted.", remove: "Click on the point to take out.", pull: "Drag the thin yellow outline; body and fins are then fitted to it anew, without the changes made so far; Undo brings those back." }[name];
  byId("hint").replaceChildren(...hint(words));
  tools();
}

function hint(words) {
  if (!words) return [];
  const parts = [html("span", {}, `${words} `)];
  if (sheet.draft && sheet.draft.points.length >= sheet.draft.least && sheet.draft.least !== sheet.draft.most)
    parts.push(html("button", { type: "button", id: "done", onclick: () => sheet.finish() }, "Done"));
  if (sheet.draft) parts.push(html("button", { type: "button", onclick: () => sheet.stop() }, "Leave it"));
  return parts;
}

function fins() {
  if (view.phase !== "ready") {
    byId("fins").replaceChildren();
    return;
  }
  const rows = view.sketch.fins.map((fin, group) => {
    const set = (name, value) => doing(() => send("change", { do: "set-fin", group, [name]: value }));
    const number = (name, words, value, step, per = 1) =>
      html("label", {}, words, html("input", { type: "number", step: per === 1 ? step : "any", value: per === 1 ? value : Number((value * per).toFixed(3)), "data-fin": `${group}-${name}`, onchange: (event) => set(name, Number(event.target.value) / per) }));
    return html("fieldset", {}, html("legend", {}, `Fin group ${group + 1}`),
      number("count", "Number of fins", fin.count, 1), number("thickness_mm", `Thickness, ${shownIn("mm")[0]}`, fin.thickness_mm, 0.1, shownIn("mm")[1]),
      number("roll_deg", "Fin 1 from the photo's plane, degrees", fin.roll_deg, 0.5),
      html("div", { class: "row" }, html("button", { type: "button", onclick: () => doing(() => send("change", { do: "remove-fin", group })) }, "Take this group out")));
  });
  byId("fins").replaceChildren(html("details", { id: "fin-details" }, html("summary", {}, "Fins"), ...rows));
}

function more() {
  if (view.phase !== "ready") {
    for (const id of ["more", "files"]) byId(id).replaceChildren();
    return;
  }
  const quick = html("div", { class: "row" }, html("button", { type: "button", id: "tell", onclick: tell }, "Use balance, mass and scale as told below"));
  byId("more").replaceChildren(quick, ...curve(view.result));
  byId("files").replaceChildren(...downloads(view));
}

// What of the form can be used without looking at the photo again.
function tell() {
  const words = form.words();
  const wanted = {};
  for (const name of ["balance", "mass", "behind", "distance", "name"]) wanted[name] = words[name] || "";
  wanted.scale = words.scale;
  doing(() => send("change", { do: "ask", words: wanted }));
}

// --- drawing ---

function drawRocket() {
  const ends = ["Click on the nose tip.", "Click in the middle of the aft edge of the body.", "Now one edge of the body from nose to tail, as many points as it bends; the last at the aft end."];
  sheet.begin({
    least: 3, most: null, words: (n) => ends[Math.min(n, 2)],
    done: (points) => measure({ drawn: { tip_px: points[0], aft_px: points[1], body_px: points.slice(2) } }),
  });
}

function drawFin() {
  const count = Number((byId("field-fins").value.match(/\d+/g) || ["3"]).pop());
  sheet.begin({
    least: 3, most: null,
    words: (n) => (n ? "Go on round the fin; the last point is the root's trailing edge." : "The fin that lies flattest in the photo: click on its root's leading edge, at the body."),
    done: (points) => finDrawn({ do: "draw-fin", points }, count),
  });
}

// A fin drawn where a group stands already takes its place, unless both are there.
async function finDrawn(change, count) {
  let seen = null;
  await doing(async () => {
    seen = await send("preview", { ...change, count });
    return seen.over.length ? view : send("change", { ...change, count });
  });
  if (!seen || !seen.over.length) return;
  const groups = `fin group ${seen.over.map((k) => k + 1).join(" and ")}`;
  const fins = view.sketch.fins[seen.over[0]].count;
  const answer = (id, words, told) =>
    html("button", { type: "button", id, onclick: () => {
      byId("hint").replaceChildren();
      if (told) doing(() => send("change", { ...change, ...told }));
      else show(view);
    } }, words);
  show({ ...view, ...seen }, false);
  byId("hint").replaceChildren(
    html("span", {}, `Here stands ${groups} already. `),
    answer("replace", `Replace ${groups} (${fins} fins)`, {}), answer("beside", "Both are there", { count, beside: true }), answer("leave", "Leave it", null),
  );
  byId("replace").className = "chief";
  byId("replace").focus();
}

function region(rocket) {
  sheet.begin({
    least: 3, most: null, closed: true,
    words: () => `Click round what is ${rocket ? "rocket" : "not rocket (hand, stand, string)"}; then the outline is found again, without the changes made so far; Undo brings those back.`,
    done: (points) => {
      regions.push({ rocket, points });
      measure();
    },
  });
}

function twoPoints() {
  sheet.begin({
    least: 2, most: 2,
    words: (n) => (n ? "And on the other." : "Click on one end of a distance you know."),
    done: (points) => {
      const box = html("input", { id: "true-distance", placeholder: "300mm", "aria-label": "true distance with its unit" });
      const use = () => {
        if (!box.value.trim()) return;
        form.addPoints(`points=${points.flat().join(",")},${box.value.trim()}`);
        byId("hint").replaceChildren();
        if (view.phase === "ready") tell();
      };
      box.addEventListener("keydown", (event) => event.key === "Enter" && use());
      byId("hint").replaceChildren(html("label", {}, "Their true distance, with its unit ", box), html("button", { type: "button", id: "use-distance", onclick: use }, "Use it"));
      box.focus();
    },
  });
}

// --- a photo dropped or chosen ---

async function take(file) {
  if (!file) return;
  await doing(async () => {
    const next = await upload(file);
    filled = true;
    regions = [];
    return next;
  });
}

// Only files are taken; text dragged into a field is the field's. Leaving the window has no element it goes to.
function dropping() {
  const zone = byId("drop");
  const file = (event) => event.dataTransfer && event.dataTransfer.types.includes("Files");
  document.addEventListener("dragover", (event) => {
    if (!file(event)) return;
    event.preventDefault();
    zone.hidden = false;
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) zone.hidden = true;
  });
  document.addEventListener("drop", (event) => {
    if (!file(event)) return;
    event.preventDefault();
    zone.hidden = true;
    take(event.dataTransfer.files[0]);
  });
}

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || !view || view.phase !== "ready" || event.target.matches("input, textarea")) return;
  const to = event.key.toLowerCase() === "z" ? view.at + (event.shiftKey ? 1 : -1) : event.key.toLowerCase() === "y" ? view.at + 1 : null;
  if (to === null) return;
  event.preventDefault();
  if (to >= 0 && to < view.states) doing(() => send("go", { to })).then(poll);
});

const following = new Follow({
  view: () => view,
  show: (next) => {
    show(next);
    status();
  },
  busy: () => Boolean(sheet.drag || sheet.pull || sheet.draft || sheet.nudges.size || sheet.settling),
});
dropping();
doing(state).then(() => following.start()).then(poll);
