// A small map of the platform seen from above: x of the run to the right, y up; people in their hue, the tool as a ring.

import { data } from "./data.js";
import { toRun } from "./axes.js";

const EDGE = 8;

export class Plan {
  constructor(canvas) {
    this.canvas = canvas;
    const xs = data.plan.flatMap((outline) => outline.filter((_, k) => k % 2 === 0));
    const ys = data.plan.flatMap((outline) => outline.filter((_, k) => k % 2 === 1));
    this.low = [Math.min(...xs), Math.min(...ys)];
    this.size = [Math.max(...xs) - this.low[0], Math.max(...ys) - this.low[1]];
  }

  resize() {
    this.ratio = Math.min(window.devicePixelRatio, 2);
    const wide = this.canvas.clientWidth;
    this.scale = (wide - 2 * EDGE) / Math.max(this.size[0], 1);
    this.tall = Math.max(this.scale * this.size[1] + 2 * EDGE, wide / 8);
    this.canvas.style.height = `${this.tall}px`;
    Object.assign(this.canvas, { width: wide * this.ratio, height: this.tall * this.ratio });
  }

  at([x, y]) {
    return [EDGE + (x - this.low[0]) * this.scale, this.tall - EDGE - (y - this.low[1]) * this.scale];
  }

  // placeOf: where a node of the scene is, in the page's axes, or null.
  draw(placeOf) {
    if (!this.canvas.clientWidth) return;
    const pen = this.canvas.getContext("2d");
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.fillStyle = data.colours.panel;
    pen.fillRect(0, 0, this.canvas.width, this.canvas.height);
    pen.fillStyle = "#7D8791";
    pen.strokeStyle = data.colours.rule;
    for (const outline of data.plan) {
      pen.beginPath();
      for (let k = 0; k < outline.length; k += 2) pen.lineTo(...this.at(outline.slice(k, k + 2)));
      pen.closePath();
      pen.fill();
      pen.stroke();
    }
    const tool = placeOf(data.follow);
    if (tool) this.ring(pen, this.at(toRun(tool)), 8, data.colours.orange, 2.5);
    for (const person of data.people) {
      const place = placeOf(person.node);
      if (!place) continue;
      const at = this.at(toRun(place));
      pen.fillStyle = person.hue;
      pen.beginPath();
      pen.arc(...at, 5, 0, 2 * Math.PI);
      pen.fill();
      for (let k = 0; k < person.bands; k += 1) this.ring(pen, at, 5 + 3 * k, data.colours.light, k ? 1 : 2);
    }
  }

  ring(pen, at, radius, colour, wide) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.arc(...at, radius, 0, 2 * Math.PI);
    pen.stroke();
    pen.lineWidth = 1;
  }
}
