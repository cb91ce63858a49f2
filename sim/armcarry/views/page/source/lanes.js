// Who does what when: a lane an actor, with the instant shown; a click goes there.

import { data, TIME } from "./data.js";

const LANE = 20;
const { left: LEFT, right: RIGHT } = TIME;
const LOOKS = {
  move: ["orange", "room"], critical: ["orange", "room"], carried: ["sky", "room"], still: ["rule", "light"], parked: ["rule", "light"],
};

export class Lanes {
  constructor(canvas, seek) {
    this.canvas = canvas;
    this.shown = data.lanes;
    const timeOf = (event) => {
      const share = (event.offsetX - LEFT) / Math.max(canvas.clientWidth - LEFT - RIGHT, 1);
      return data.start_s + Math.min(Math.max(share, 0), 1) * (data.end_s - data.start_s);
    };
    const go = (event) => { if (event.buttons === 1 || event.type === "pointerdown") seek(timeOf(event)); };
    canvas.addEventListener("pointerdown", go);
    canvas.addEventListener("pointermove", (event) => {
      go(event);
      const lane = this.shown[Math.floor(event.offsetY / LANE)];
      const time = timeOf(event);
      const bar = lane && lane.bars.find((each) => each.start <= time && time <= each.end);
      canvas.title = bar ? `${lane.name}: ${bar.words}` : "";
    });
  }

  // Only one actor's lane, or all with "".
  only(name) {
    this.shown = data.lanes.filter((lane) => !name || lane.name === name);
    if (!this.shown.length) this.shown = data.lanes;
    this.resize();
  }

  resize() {
    this.ratio = Math.min(window.devicePixelRatio, 2);
    this.canvas.style.height = `${this.shown.length * LANE}px`;
    this.wide = this.canvas.clientWidth;
    this.tall = this.canvas.clientHeight;
    Object.assign(this.canvas, { width: this.wide * this.ratio, height: this.tall * this.ratio });
    this.base = null;
  }

  x(time) {
    return LEFT + ((time - data.start_s) / (data.end_s - data.start_s)) * (this.wide - LEFT - RIGHT);
  }

  draw(time) {
    if (!this.wide) return;
    if (!this.base) this.base = this.drawn();
    const pen = this.canvas.getContext("2d");
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.drawImage(this.base, 0, 0);
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.fillStyle = data.colours.light;
    pen.fillRect(this.x(time) - 1.25, 0, 2.5, this.tall);
  }

  drawn() {
    const sheet = document.createElement("canvas");
    Object.assign(sheet, { width: this.canvas.width, height: this.canvas.height });
    const pen = sheet.getContext("2d");
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.fillStyle = data.colours.panel;
    pen.fillRect(0, 0, this.wide, this.tall);
    pen.font = "13px system-ui, sans-serif";
    pen.textBaseline = "middle";
    this.shown.forEach((lane, k) => {
      const top = k * LANE;
      pen.fillStyle = data.colours.light;
      pen.textAlign = "right";
      pen.fillText(fitted(pen, lane.name, LEFT - 6), LEFT - 5, top + LANE / 2);
      pen.textAlign = "left";
      for (const bar of lane.bars) this.bar(pen, bar, top);
    });
    return sheet;
  }

  bar(pen, bar, top) {
    const left = this.x(bar.start);
    const wide = Math.max(this.x(bar.end) - left, 1);
    const [fill, text] = LOOKS[bar.kind] ?? LOOKS.still;
    pen.fillStyle = data.colours[fill];
    pen.fillRect(left, top + 2, wide - (wide > 3 ? 1 : 0), LANE - 4);
    if (wide < 30) return;
    pen.fillStyle = data.colours[text];
    pen.fillText(fitted(pen, bar.words, wide - 8), left + 4, top + LANE / 2);
  }
}

// Words cut to a width, with the sign of what is left out.
function fitted(pen, words, wide) {
  if (pen.measureText(words).width <= wide) return words;
  let cut = words;
  while (cut && pen.measureText(`${cut}…`).width > wide) cut = cut.slice(0, -1);
  return cut.length > 2 ? `${cut.trimEnd()}…` : "";
}
