// The magnifier: the photo four times as large round the point that is being set, away from the finger.

const TIMES = 4;

export class Loupe {
  constructor(canvas, stage) {
    this.canvas = canvas;
    this.stage = stage;
    this.image = null;
  }

  load(url) {
    this.image = new Image();
    this.image.src = url;
  }

  show(at, clientX, clientY, perScreenPx, photoWidth) {
    if (!this.image || !this.image.complete || !this.image.naturalWidth) return;
    const pen = this.canvas.getContext("2d");
    const size = this.canvas.width;
    const k = this.image.naturalWidth / photoWidth;
    const span = Math.max((size / TIMES) * Math.min(perScreenPx, 4), 24);
    pen.imageSmoothingEnabled = false;
    pen.fillStyle = "#3a3f4a";
    pen.fillRect(0, 0, size, size);
    pen.drawImage(this.image, (at[0] + 0.5 - span / 2) * k, (at[1] + 0.5 - span / 2) * k, span * k, span * k, 0, 0, size, size);
    for (const [colour, width] of [["#fff", 3], ["#962e00", 1]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      pen.moveTo(size / 2, 0);
      pen.lineTo(size / 2, size);
      pen.moveTo(0, size / 2);
      pen.lineTo(size, size / 2);
      pen.stroke();
    }
    const frame = this.stage.getBoundingClientRect();
    const x = clientX - frame.left;
    const y = clientY - frame.top;
    this.canvas.style.left = `${Math.max(x < frame.width / 2 ? Math.min(x + 50, frame.width - size) : x - size - 50, 0)}px`;
    this.canvas.style.top = `${Math.max(y - size - 20, 0)}px`;
    this.canvas.hidden = false;
  }

  hide() {
    this.canvas.hidden = true;
  }
}
