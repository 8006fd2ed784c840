// What is known of each group of fins, to be set right by number.
import { byId, html } from "./dom.js";
import { shownIn } from "./numbers.js";
import { button } from "./pinned.js";

export function fins(view, change) {
  const box = byId("fins");
  if (view.phase !== "ready" || !view.sketch.fins.length) {
    box.replaceChildren();
    return;
  }
  const open = box.firstElementChild ? box.firstElementChild.open : false;
  const [unit, per] = shownIn("mm");
  const rows = view.sketch.fins.map((fin, group) => {
    const set = (name, value) => change({ do: "set-fin", group, [name]: value });
    const number = (name, words, value, step, times = 1) =>
      html("label", {}, words, html("input", { type: "number", step: times === 1 ? step : "any", value: times === 1 ? value : Number((value * times).toFixed(3)), "data-fin": `${group}-${name}`, onchange: (event) => set(name, Number(event.target.value) / times) }));
    return html("fieldset", {}, html("legend", {}, `Fin group ${group + 1}`),
      number("count", "Number of fins", fin.count, 1), number("thickness_mm", `Thickness, ${unit}`, fin.thickness_mm, 0.1, per),
      number("roll_deg", "Fin 1: degrees from flat in the picture", fin.roll_deg, 0.5),
      html("div", { class: "row" }, button("Take this group out", null, () => change({ do: "remove-fin", group }))));
  });
  box.replaceChildren(html("details", { id: "fin-details", class: "fold", open }, html("summary", {}, "Fins: number, thickness, how they stand"), ...rows));
}
