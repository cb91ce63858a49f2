// The distance between any two things, now: of the convex bodies that were proven, each with its exact shape, by the
// algorithm of Gilbert, Johnson and Keerthi. Poses are those of the scene, which strays from the run by 2 mm at most.

import { Vector3 } from "three";
import { data } from "./data.js";

const TINY = 1e-9;
const MOST = 80; // rounds; round edges take the most
const SUBSETS = [...Array(15).keys()].map((k) => [0, 1, 2, 3].filter((bit) => ((k + 1) >> bit) & 1));

// A body's hull without its rounding: the farthest point of it in a direction, in the body's own axes.
const FARTHEST = {
  sphere: () => [0, 0, 0],
  capsule: ([, length], d) => [0, 0, (Math.sign(d.z) * length) / 2],
  box: (half, d) => [Math.sign(d.x) * half[0], Math.sign(d.y) * half[1], Math.sign(d.z) * half[2]],
  cylinder: ([radius, length], d) => {
    const flat = Math.hypot(d.x, d.y);
    const share = flat > TINY ? radius / flat : 0;
    return [share * d.x, share * d.y, (Math.sign(d.z) * length) / 2];
  },
  hull: (points, d) => {
    let [best, most] = [0, -Infinity];
    for (let k = 0; k < points.length; k += 3) {
      const along = points[k] * d.x + points[k + 1] * d.y + points[k + 2] * d.z;
      if (along > most) [best, most] = [k, along];
    }
    return points.slice(best, best + 3);
  },
};
const ROUNDED = { sphere: ([radius]) => radius, capsule: ([radius]) => radius };

export class Placed {
  constructor(name, matrix) {
    const { kind, size, far } = data.shapes[name];
    Object.assign(this, { name, kind, size, far, matrix });
    this.inverse = matrix.clone().invert();
    this.middle = new Vector3().setFromMatrixPosition(matrix);
    this.round = ROUNDED[kind]?.(size) ?? 0;
  }

  farthest(way) {
    const own = way.clone().transformDirection(this.inverse);
    return new Vector3(...FARTHEST[this.kind](this.size, own)).applyMatrix4(this.matrix);
  }
}

// Nearest points of two placed bodies and their distance, 0 in contact.
export function between(one, other) {
  let simplex = [];
  let way = one.middle.clone().sub(other.middle);
  let found = null;
  for (let round = 0; round < MOST; round += 1) {
    const back = way.clone().negate();
    const corner = { a: one.farthest(back), b: other.farthest(way) };
    corner.off = corner.a.clone().sub(corner.b);
    // no corner is nearer by more than this: done
    if (found && found.way.lengthSq() - found.way.dot(corner.off) <= 1e-10 * found.way.lengthSq() + TINY * TINY) break;
    simplex.push(corner);
    found = nearest(simplex);
    simplex = found.kept;
    way = found.way;
    if (simplex.length === 4 || way.lengthSq() < TINY) break; // one is inside the other
  }
  const far = simplex.length === 4 ? 0 : found.way.length();
  const distance = Math.max(far - one.round - other.round, 0);
  const ahead = far > TINY ? found.way.clone().multiplyScalar(1 / far) : new Vector3();
  return {
    distance, a: found.a.addScaledVector(ahead, -Math.min(one.round, far)),
    b: found.b.addScaledVector(ahead, Math.min(other.round, far)),
  };
}

// The point of a simplex that is nearest to the origin: of all its corners, edges, faces and itself.
function nearest(simplex) {
  let best = null;
  for (const subset of SUBSETS) {
    if (subset.at(-1) >= simplex.length) continue;
    const corners = subset.map((k) => simplex[k]);
    const share = weights(corners.map(({ off }) => off));
    if (!share || share.some((value) => value < -1e-12)) continue;
    const sum = (part) => corners.reduce((all, corner, k) => all.addScaledVector(corner[part], share[k]), new Vector3());
    const way = sum("off");
    if (!best || way.lengthSq() < best.way.lengthSq() - TINY * TINY) best = { way, kept: corners, sum };
  }
  return { way: best.way, kept: best.kept, a: best.sum("a"), b: best.sum("b") };
}

// Shares of points whose sum is nearest to the origin in the plane through all of them; null where they are flat.
function weights(points) {
  const [first, ...others] = points;
  const sides = others.map((point) => point.clone().sub(first));
  const rows = sides.map((side) => [...sides.map((each) => side.dot(each)), -side.dot(first)]);
  const count = rows.length;
  for (let k = 0; k < count; k += 1) {
    const pivot = rows.slice(k).reduce((most, row, i) => (Math.abs(row[k]) > Math.abs(rows[most][k]) ? k + i : most), k);
    [rows[k], rows[pivot]] = [rows[pivot], rows[k]];
    if (Math.abs(rows[k][k]) < 1e-14) return null;
    for (let i = 0; i < count; i += 1) {
      if (i === k) continue;
      const factor = rows[i][k] / rows[k][k];
      rows[i] = rows[i].map((value, j) => value - factor * rows[k][j]);
    }
  }
  const share = rows.map((row, k) => row[count] / row[k]);
  return [1 - share.reduce((all, value) => all + value, 0), ...share];
}

// The nearest two bodies of two things (each a body, or everything of a thing); null where there are none.
export function measure(one, other, poseOf) {
  const of = (name) => Object.keys(data.shapes).filter((body) => body === name || body.startsWith(`${name}/`));
  const [left, right] = [of(one), of(other)].map((names) => names.map((name) => new Placed(name, poseOf(name))));
  const pairs = left.flatMap((a) => right.filter((b) => b.name !== a.name).map((b) => ({
    a, b, least: a.middle.distanceTo(b.middle) - a.far - b.far,
  })));
  pairs.sort((a, b) => a.least - b.least);
  let best = null;
  for (const { a, b, least } of pairs) {
    if (best && least > best.distance) break;
    const found = between(a, b);
    if (!best || found.distance < best.distance) best = { ...found, names: [a.name, b.name] };
  }
  return best;
}
