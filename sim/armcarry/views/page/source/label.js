// Where the figures of a gap stand: beside the gap and not over it, inside the view and clear of what else is there.

import { covers } from "./overlay.js";

const OFF = 12;

// ends: both ends of the gap on the canvas; size: of the label; within: of the canvas; taken: rooms of other things.
export function labelPlace(ends, size, within, taken) {
  const gap = {
    left: Math.min(...ends.map((end) => end.x)), right: Math.max(...ends.map((end) => end.x)),
    top: Math.min(...ends.map((end) => end.y)), bottom: Math.max(...ends.map((end) => end.y)),
  };
  const middle = { x: (gap.left + gap.right) / 2, y: (gap.top + gap.bottom) / 2 };
  const beside = [
    [middle.x - size.wide / 2, gap.top - OFF - size.tall], [middle.x - size.wide / 2, gap.bottom + OFF],
    [gap.right + OFF, middle.y - size.tall / 2], [gap.left - OFF - size.wide, middle.y - size.tall / 2],
    [gap.right + OFF, gap.bottom + OFF], [gap.left - OFF - size.wide, gap.top - OFF - size.tall],
  ].map(([x, y]) => [Math.min(Math.max(x, 0), Math.max(within.wide - size.wide, 0)), Math.min(Math.max(y, 0), Math.max(within.tall - size.tall, 0))]);
  const room = ([left, top]) => ({ left, top, right: left + size.wide, bottom: top + size.tall });
  const free = beside.find((place) => ![...taken, gap].some((other) => covers(room(place), other)));
  const [x, y] = free ?? beside.find((place) => !taken.some((other) => covers(room(place), other))) ?? beside[0];
  return { x, y };
}
