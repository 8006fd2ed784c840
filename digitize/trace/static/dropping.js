// A photo dropped anywhere on the page. Only files are taken; text dragged into a field is the field's.
import { byId } from "./dom.js";

export function dropping(take) {
  const zone = byId("drop");
  const file = (event) => event.dataTransfer && event.dataTransfer.types.includes("Files");
  document.addEventListener("dragover", (event) => {
    if (!file(event)) return;
    event.preventDefault();
    zone.hidden = false;
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) zone.hidden = true; // leaving the window has no element it goes to
  });
  document.addEventListener("drop", (event) => {
    if (!file(event)) return;
    event.preventDefault();
    zone.hidden = true;
    take(event.dataTransfer.files[0]);
  });
}
