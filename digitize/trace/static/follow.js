// Two screens kept in step, and where the phone finds the page. The program counts what is shown; when the count has
// grown, the page asks for what there is now, unless a hand is at work on it: then once it rests.
import { state, version } from "./api.js";
import { byId, html } from "./dom.js";

const EVERY_MS = 1000;
const WORKING_MS = 300;
const SLOWEST_MS = 8000; // while the computer does not answer
const TYPING_MS = 10000;

export class Follow {
  // page: { view() shown now, show(next), busy() a point, outline or drawing is held }
  constructor(page) {
    this.page = page;
    this.wait = EVERY_MS;
    this.typed = -TYPING_MS;
    document.addEventListener("input", (event) => {
      if (event.target.matches("input:not([type=range], [type=file]), textarea")) this.typed = performance.now();
    });
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && this.corner && this.corner.contains(document.activeElement)) this.corner.open = false;
    });
    document.addEventListener("stale", () => this.refresh());
    document.addEventListener("visibilitychange", () => !document.hidden && this.look());
    document.addEventListener("sending", (event) => this.say(event.detail === null ? "" : `Sending the photo: ${Math.round(100 * event.detail)} %`));
    this.line = html("p", { id: "following", role: "status", hidden: true });
    document.body.append(this.line);
  }

  // To be called once the page is there; nothing happens where it is served to this machine alone.
  start() {
    const view = this.page.view();
    if (!view || !view.shared || this.corner) return;
    this.corner = corner(view);
    if (view.phone) byId("shown-in").before(this.corner);
    else {
      byId("panel").append(this.corner);
      byId("stays").textContent = "It goes to your computer, and stays there.";
    }
    this.next();
  }

  next() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.look(), this.wait === EVERY_MS && this.page.view().phase === "working" ? WORKING_MS : this.wait);
  }

  async look() {
    if (!this.corner || this.looking || document.hidden) return;
    this.looking = true;
    try {
      const now = await version();
      if (this.wait !== EVERY_MS) this.say("");
      this.wait = EVERY_MS;
      devices(this.corner, now.devices);
      const behind = now.version !== this.page.view().version;
      if (behind && !this.held()) await this.refresh();
      this.missed(behind && this.held());
    } catch (error) {
      if (error.status === 404) return this.say("This address is no longer valid, as the program was ended. Open the new one.");
      this.wait = Math.min(2 * this.wait, SLOWEST_MS);
      this.say("The computer does not answer; trying again. Is the program running, and the phone in its Wi-Fi?");
    } finally {
      this.looking = false;
    }
    this.next();
  }

  held() {
    return this.page.busy() || performance.now() - this.typed < TYPING_MS;
  }

  async refresh() {
    this.page.show(await state());
  }

  missed(behind) {
    const words = "It was changed on the other screen; that is shown once you rest here.";
    if (behind) this.say(words);
    else if (this.line.textContent === words) this.say("");
  }

  say(words) {
    if (this.line.textContent === words) return;
    this.line.textContent = words;
    this.line.hidden = !words;
  }
}

// On the computer the code and who has come; on the phone only what the network means.
function corner(view) {
  if (!view.phone) return html("details", { id: "phone" }, html("summary", {}, "Over the Wi-Fi"), html("div", {}, html("p", {}, "This page comes from the computer over the Wi-Fi, unencrypted: use a network you trust. What is changed here is changed there.")));
  const { addresses, words } = view.phone;
  const picture = html("img", { id: "phone-code", src: "qr/0.svg", width: 230, height: 230, alt: "QR code of the address below" });
  const address = html("code", { id: "phone-address" }, addresses[0]);
  const choose = (k) => {
    picture.setAttribute("src", `qr/${k}.svg`);
    address.textContent = addresses[k];
  };
  const host = (k) => new URL(addresses[k]).hostname;
  const several = addresses.length > 1
    ? html("label", { for: "phone-network" }, "Network the phone is in", html("select", { id: "phone-network", onchange: (event) => choose(Number(event.target.value)) }, ...addresses.map((_, k) => html("option", { value: k }, `that of ${host(k)}`))))
    : null;
  return html("details", { id: "phone", open: !view.photo && !view.phone.devices.length },
    html("summary", {}, "On your phone"),
    html("div", {}, html("p", {}, "In the same Wi-Fi, point the phone's camera at this:"), picture, address, several, html("p", { id: "phone-devices" }, came(view.phone.devices)), ...words.map((text) => html("p", { class: "soft" }, text))));
}

const came = (list) =>
  list.length ? `Opened by ${list.join(", ")}. If one of them is not yours, end the program and start it again.` : "Nobody has opened it yet.";

// The code folds away once the phone is there.
function devices(element, list) {
  const line = element.querySelector("#phone-devices");
  if (!line || line.textContent === came(list)) return;
  if (line.textContent === came([])) element.open = false;
  line.textContent = came(list);
}

// For a phone: its camera at once. Choosing a photo that is there already stays beside it.
export function camera(take) {
  if (!matchMedia("(pointer: coarse)").matches) return [];
  const file = html("input", { type: "file", accept: "image/*", capture: "environment", id: "camera-shot", class: "unseen", onchange: (event) => take(event.target.files[0]) });
  return [html("label", { for: "camera-shot", class: "as-button" }, "Take the photo now", file)];
}
