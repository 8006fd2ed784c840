// The first step: the photo, how to take it, and the rockets whose folders lie beside this one's.
import { byId, html } from "./dom.js";
import { icon } from "./icons.js";
import { earlier } from "./api.js";
import { button } from "./pinned.js";
import { TIPS } from "./pictures.js";

// acts: choose() a file, open(folder), next()
export function empty(acts) {
  const tip = ([title, words, picture]) => html("li", {}, picture(), html("h3", {}, title), html("p", {}, words));
  byId("empty").replaceChildren(
    html("div", { class: "zone" }, icon("photo"), html("h2", {}, "Start with one photo of your rocket, from the side"),
      html("p", {}, "Lay it beside a ruler or a bank card. ", acts.camera.length ? "" : "Drop the photo here, or choose it. ", html("span", { id: "stays" }, "It stays on this computer.")),
      html("div", { class: "row" }, ...acts.camera, button(acts.camera.length ? "Choose one you have" : "Choose a photo", "choose", acts.choose, { chief: !acts.camera.length, sign: "photo" }))),
    html("h3", { class: "tips-title" }, "How to take it"), html("ul", { class: "tips" }, ...TIPS.map(tip)),
  );
}

export function begin(view, acts) {
  const parts = view.photo
    ? [html("p", {}, html("strong", {}, view.photo.name), ` \u00b7 ${view.photo.width} x ${view.photo.height} pixels`),
      html("div", { class: "row onward" }, button("Next: scale", "next-photo", acts.next, { chief: true, sign: "next" }), button("Take another photo of it", "choose-other", acts.choose, { sign: "photo" }))]
    : [html("p", {}, "Four steps, about three minutes: the photo, what gives its scale, a few facts about the rocket, and the answer."),
      html("p", { class: "hint" }, "JPEG and HEIC as the phone saves them; PNG, WebP, TIFF and BMP too.")];
  byId("begin").replaceChildren(...parts);
}

export async function listEarlier(acts) {
  const { rockets } = await earlier();
  const row = (rocket) => html("li", {}, html("button", { type: "button", "data-folder": rocket.folder, onclick: () => acts.open(rocket.folder) },
    html("strong", {}, rocket.rocket), html("span", { class: "soft" }, `${rocket.changed} \u00b7 ${rocket.saved ? rocket.folder : `${rocket.folder}, not saved yet`}`)));
  byId("earlier").replaceChildren(...(rockets.length ? [html("h3", {}, "Earlier rockets in this folder"), html("ul", {}, ...rockets.map(row))] : []));
}
