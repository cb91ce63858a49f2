// Clearance against time on a canvas: the proven band, the required line, the moment shown.

import { clock, data, TIME } from "./data.js";

const { left: LEFT, right: RIGHT } = TIME;
const TOP = 24;
const BOTTOM = 30;

export class Plot {
  constructor(canvas, seek) {
    this.canvas = canvas;
    this.curve = data.curves[0] ?? null;
    const move = (event) => {
      if (event.buttons !== 1 && event.type !== "pointerdown") return;
      const box = canvas.getBoundingClientRect();
      const share = (event.clientX - box.left - LEFT) / (box.width - LEFT - RIGHT);
      seek(data.start_s + Math.min(Math.max(share, 0), 1) * (data.end_s - data.start_s));
    };
    canvas.addEventListener("pointerdown", move);
    canvas.addEventListener("pointermove", move);
  }

  choose(index) {
    this.curve = data.curves[index] ?? null;
    this.base = null;
  }

  resize() {
    const ratio = Math.min(window.devicePixelRatio, 2);
    this.wide = this.canvas.clientWidth;
    this.tall = this.canvas.clientHeight;
    this.canvas.width = this.wide * ratio;
    this.canvas.height = this.tall * ratio;
    this.ratio = ratio;
    this.base = null;
  }

  x(time) {
    return LEFT + ((time - data.start_s) / (data.end_s - data.start_s)) * (this.wide - LEFT - RIGHT);
  }

  y(metres) {
    const share = Math.min(Math.max(metres, 0), this.top) / this.top;
    return this.tall - BOTTOM - share * (this.tall - TOP - BOTTOM);
  }

  draw(time) {
    if (!this.base) this.base = this.drawn();
    const pen = this.canvas.getContext("2d");
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.drawImage(this.base, 0, 0);
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.strokeStyle = data.colours.light;
    pen.lineWidth = 2.5;
    pen.beginPath();
    pen.moveTo(this.x(time), TOP - 6);
    pen.lineTo(this.x(time), this.tall - BOTTOM);
    pen.stroke();
  }

  drawn() {
    const sheet = document.createElement("canvas");
    sheet.width = this.canvas.width;
    sheet.height = this.canvas.height;
    const pen = sheet.getContext("2d");
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.fillStyle = data.colours.panel;
    pen.fillRect(0, 0, this.wide, this.tall);
    pen.font = "14px system-ui, sans-serif";
    if (!this.curve) {
      pen.fillStyle = data.colours.light;
      pen.textAlign = "center";
      pen.fillText("No clearance was asked for in this run", this.wide / 2, this.tall / 2);
      this.top = 1;
      return sheet;
    }
    this.top = this.curve.top;
    this.axes(pen);
    this.band(pen);
    pen.fillStyle = data.colours.light;
    pen.textAlign = "left";
    if (this.curve.least) pen.fillText(`least: ${this.curve.least}`, LEFT, TOP - 10);
    return sheet;
  }

  axes(pen) {
    pen.strokeStyle = data.colours.rule;
    pen.fillStyle = data.colours.light;
    pen.lineWidth = 1;
    pen.textAlign = "right";
    const step = [0.05, 0.1, 0.2, 0.5, 1, 2, 5].find((s) => this.top / s <= Math.max((this.tall - TOP - BOTTOM) / 22, 1)) ?? 10;
    for (let m = 0; m <= this.top + 1e-9; m += step) {
      pen.beginPath();
      pen.moveTo(LEFT, this.y(m));
      pen.lineTo(this.wide - RIGHT, this.y(m));
      pen.stroke();
      pen.fillText(`${Number(m.toFixed(2))} m`, LEFT - 8, this.y(m) + 5);
    }
    pen.textAlign = "center";
    const length = data.end_s - data.start_s;
    const wanted = length / Math.max(Math.floor(this.wide / 110), 2);
    const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200];
    const every = steps.find((s) => s >= wanted) ?? 14400;
    for (let t = 0; t <= length + 1e-9; t += every) {
      pen.beginPath();
      pen.moveTo(this.x(data.start_s + t), TOP);
      pen.lineTo(this.x(data.start_s + t), this.tall - BOTTOM);
      pen.stroke();
      if (t + every / 4 < length || t === 0) pen.fillText(clock(t, 0), this.x(data.start_s + t), this.tall - 9);
    }
  }

  band(pen) {
    const { times, lower, upper, required } = this.curve;
    const low = lower.map((value) => (value === null ? null : this.y(value)));
    const high = upper.map((value) => this.y(value ?? this.top));
    for (const [first, last] of stretches(low)) this.stretch(pen, times, low, high, first, last);
    pen.fillStyle = data.colours.fail;
    lower.forEach((value, k) => {
      if (value === null || value >= required) return;
      pen.fillRect(this.x(times[k]), this.tall - BOTTOM - 6, this.x(times[k + 1]) - this.x(times[k]) + 0.5, 6);
    });
    pen.strokeStyle = data.colours.fail;
    pen.lineWidth = 2.5;
    pen.setLineDash([9, 6]);
    pen.beginPath();
    pen.moveTo(LEFT, this.y(required));
    pen.lineTo(this.wide - RIGHT, this.y(required));
    pen.stroke();
    pen.setLineDash([]);
  }

  // The proven band from cell first to before last: filled, its lower edge drawn.
  stretch(pen, times, low, high, first, last) {
    const along = (values, back) => {
      for (let j = first; j < last; j += 1) {
        const k = back ? first + last - 1 - j : j;
        pen.lineTo(this.x(times[back ? k + 1 : k]), values[k]);
        pen.lineTo(this.x(times[back ? k : k + 1]), values[k]);
      }
    };
    pen.fillStyle = data.colours.band;
    pen.globalAlpha = 0.55;
    pen.beginPath();
    along(high, false);
    along(low, true);
    pen.fill();
    pen.globalAlpha = 1;
    pen.strokeStyle = data.colours.band;
    pen.lineWidth = 2.5;
    pen.beginPath();
    along(low, false);
    pen.stroke();
  }
}

// Runs [first, last) of cells that have a value.
function stretches(values) {
  const runs = [];
  let first = 0;
  for (let k = 0; k <= values.length; k += 1) {
    if (k < values.length && values[k] !== null) continue;
    if (k > first) runs.push([first, k]);
    first = k + 1;
  }
  return runs;
}
