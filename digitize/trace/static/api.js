// Requests to the program that serves this page. A refusal comes back as an Error with what is wrong and what to do.
// What changes the rocket says on which edition of it: one that has been changed elsewhere is refused, and "stale" is
// told to the document, so that what is there now is shown.

export class Refused extends Error {
  constructor(said, status = 0) {
    super(`${said.what}. ${said.remedy}.`);
    this.said = said;
    this.status = status;
  }
}

const BUILDING = new Set(["measure", "preview", "change", "go", "save"]);
const LARGEST_MB = 120;
let edition = null;
let queue = Promise.resolve();

function answer(status, text) {
  let data = null;
  try {
    data = JSON.parse(text);
  } catch {
    throw new Refused({ what: `the program answered with ${status}`, remedy: "reload the page" }, status);
  }
  if (data.refused && status >= 400) throw new Refused(data.refused, status);
  return data;
}

async function ask(path, options) {
  try {
    const response = await fetch(path, options);
    return answer(response.status, await response.text());
  } catch (error) {
    if (error instanceof Refused) throw error;
    throw new Refused({ what: "the program does not answer", remedy: "start digitize trace again; nothing is lost" });
  }
}

// What is shown of an answer is what the next edit is made on.
function shown(data) {
  if (data.edition !== undefined) edition = data.edition;
  return data;
}

const made = (headers) => (edition === null ? headers : { ...headers, "If-Match": `"${edition}"` });

async function post(path, body, type) {
  try {
    return shown(await ask(path, { method: "POST", headers: made({ "Content-Type": type }), body }));
  } catch (error) {
    if (error.status === 412) document.dispatchEvent(new Event("stale"));
    throw error;
  }
}

export const state = async () => shown(await ask("state"));
export const version = () => ask("version");

// One after the other, so that each is made on the edition that the one before has left.
export function send(path, data) {
  const work = () => post(path, JSON.stringify(data), "application/json");
  if (!BUILDING.has(path)) return work();
  const done = queue.then(work);
  queue = done.catch(() => null);
  return done;
}

export const uploadCamera = (file) => post("camera", file, "application/octet-stream");

// How far a photo has come is told to the document as "sending": a share, null at the end.
export function upload(file) {
  if (file.size > LARGEST_MB * 1e6) return Promise.reject(new Refused({ what: `this is larger than ${LARGEST_MB} MB`, remedy: "give a smaller file" }, 413));
  const tell = (share) => document.dispatchEvent(new CustomEvent("sending", { detail: share }));
  const silent = new Refused({ what: "the photo did not arrive", remedy: "go nearer to the Wi-Fi, then choose it again" });
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", "upload");
    for (const [name, value] of Object.entries(made({ "Content-Type": "application/octet-stream" }))) request.setRequestHeader(name, value);
    request.upload.addEventListener("progress", (event) => event.total && tell(event.loaded / event.total));
    request.addEventListener("loadend", () => {
      tell(null);
      if (!request.status) return reject(silent);
      try {
        resolve(shown(answer(request.status, request.responseText)));
      } catch (error) {
        if (error.status === 412) document.dispatchEvent(new Event("stale"));
        reject(error);
      }
    });
    request.send(file);
  });
}
export const earlier = () => ask("earlier");
