// Requests to the program that serves this page. A refusal comes back as an Error with what is wrong and what to do.

export class Refused extends Error {
  constructor(said) {
    super(`${said.what}. ${said.remedy}.`);
    this.said = said;
  }
}

async function answer(response) {
  let data = null;
  try {
    data = await response.json();
  } catch {
    throw new Refused({ what: `the program answered with ${response.status}`, remedy: "reload the page" });
  }
  if (data.refused && !response.ok) throw new Refused(data.refused);
  return data;
}

async function ask(path, options) {
  try {
    return await answer(await fetch(path, options));
  } catch (error) {
    if (error instanceof Refused) throw error;
    throw new Refused({ what: "the program does not answer", remedy: "start digitize trace again; nothing is lost" });
  }
}

export const state = () => ask("state");
export const send = (path, data) =>
  ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(data) });
const post = (path, file) => ask(path, { method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: file });
export const upload = (file) => post("upload", file);
export const uploadCamera = (file) => post("camera", file);
