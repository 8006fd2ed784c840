// Making elements: attributes by name, text as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const html = (tag, attributes = {}, ...children) => fill(document.createElement(tag), attributes, children);
export const svg = (tag, attributes = {}, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

// Filled anew, if it looks otherwise than before (a button that is being pressed must stay, so what its handler needs it
// has to look up); what had the focus in it has it again, or the box itself where that is gone.
export function refill(box, parts) {
  const made = parts.filter((part) => part !== null && part !== undefined && part !== false);
  if (made.length === box.childNodes.length && made.every((part, k) => box.childNodes[k].isEqualNode(part))) return;
  const had = box.contains(document.activeElement) ? document.activeElement.id : null;
  box.replaceChildren(...made);
  if (had === null) return;
  const again = had && byId(had);
  (again && !again.disabled ? again : box).focus({ preventScroll: true });
}

export const byId = (id) => document.getElementById(id);

// Words that name the command's options, in the form's own words.
const FIELDS = { scale: "the scale", fins: "the number of fins", behind: "how far the reference lies behind", balance: "the balance point", pose: "how the fins stand", nose: "where the nose points", distance: "the distance", mass: "the mass", out: "another folder", at: "the weight's place", fill: "what goes in", density: "the filling's density", wall: "the nose's wall", depth: "how far the filling reaches", margin: "the margin wanted" };
export const plainly = (text) => text.replace(/--([a-z][a-z-]*)/g, (_, name) => FIELDS[name] || name.replaceAll("-", " "));
