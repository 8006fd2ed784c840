// Talking to the program: one thing done at a time, previews of a drag, and what is measured followed to its end.
import { Refused, send, state } from "./api.js";

export class Talk {
  // told: { show(view, whole), refused(said or null), view(), drag() the one going on, attend() once an answer is there }
  constructor(told) {
    this.told = told;
    this.waiting = null;
    this.busy = false;
    this.answered = null;
    this.following = false;
  }

  // Gives whether it was done.
  async doing(work) {
    this.waiting = null;
    try {
      const next = await work();
      this.told.refused(null);
      this.told.show(next, true);
      return true;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.told.refused(error.said);
      return false;
    }
  }

  change(change) {
    return this.doing(() => send("change", change));
  }

  // What takes a while, followed to its end; then the answer is where the eye is.
  async measuring(path, words) {
    if (await this.doing(() => send(path, words))) await this.follow(false);
    this.told.attend();
  }

  // Undo and redo: mostly at once, and then nothing has to be looked for.
  async going(to) {
    if (await this.doing(() => send("go", { to }))) await this.follow(true);
  }

  // attend: told once what was worked at is done.
  async follow(attend) {
    if (this.following) return;
    this.following = true;
    const worked = this.told.view().phase === "working";
    try {
      while (this.told.view().phase === "working") {
        await new Promise((resolve) => setTimeout(resolve, 250));
        this.told.show(await state(), true);
      }
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.told.refused(error.said);
    } finally {
      this.following = false;
    }
    if (attend && worked) this.told.attend();
  }

  // One preview at a time; of those that come meanwhile only the newest is sent. An answer is drawn with the next frame,
  // while the program works on the next one already, unless its drag is over by then.
  async preview(change) {
    this.waiting = change;
    if (this.busy) return;
    this.busy = true;
    try {
      while (this.waiting) {
        const [now, drag] = [this.waiting, this.told.drag()];
        this.waiting = null;
        let answer;
        try {
          answer = { seen: await send("preview", now), said: null };
        } catch (error) {
          if (!(error instanceof Refused)) throw error;
          answer = { seen: null, said: error.said };
        }
        this.arrived({ ...answer, drag });
      }
    } finally {
      this.busy = false;
    }
  }

  arrived(answer) {
    if (!this.answered) requestAnimationFrame(() => this.drawAnswer());
    this.answered = answer;
  }

  drawAnswer() {
    const { seen, said, drag } = this.answered;
    this.answered = null;
    if (!drag || drag !== this.told.drag()) return;
    this.told.refused(said, false);
    if (seen) this.told.show({ ...this.told.view(), ...seen }, false);
  }
}
