// Where everything on the arm would stand after a fault, or after a stop told now: a see-through copy of what moves.

import { Matrix4, Mesh, MeshStandardMaterial, Quaternion, Vector3 } from "three";
import { data, rowAt } from "./data.js";

const OPACITY = 0.45;
const SAME_M = 1e-3; // what moves less has no copy
const PROVEN = "proven ";

export class Ghost {
  // named: the nodes of the scene by name; their root is what all groups stand in.
  constructor(root, named, cut) {
    [this.root, this.named] = [root, named];
    this.clear = new MeshStandardMaterial({ color: data.colours.orange, roughness: 0.8, transparent: true, opacity: OPACITY });
    this.bright = new MeshStandardMaterial({ color: data.colours.light, roughness: 0.7 });
    for (const material of [this.clear, this.bright]) cut.put(material);
    this.copies = new Map();
  }

  // Stand copies of nodes where a fault brings them; the two bodies of its gap are drawn bright.
  stand(after, pair = []) {
    for (const copy of this.copies.values()) copy.visible = false;
    for (const { node, place, turn } of after) {
      const copy = this.copyOf(node);
      if (!copy) continue;
      copy.position.fromArray(place);
      copy.quaternion.fromArray(turn);
      copy.visible = true;
      copy.traverse((part) => { if (part.isMesh) part.material = pair.includes(part.userData.of) ? this.bright : this.clear; });
    }
  }

  // Where everything would come to rest if it were told to stop at a time: none where nothing moves.
  rest(time) {
    const { times, at, more, axes, foot, hangs } = data.stops;
    const count = axes.length / 7;
    const k = Math.min(rowAt(times, time), times.length - 2);
    if (k < 0 || time < times[k] || time > times[k + 1]) return [];
    const share = (time - times[k]) / (times[k + 1] - times[k]);
    const within = (list, i) => list[k * count + i] * (1 - share) + list[(k + 1) * count + i] * share;
    const base = foot ? poseOf(this.named.get(foot)) : new Matrix4();
    // T_rest = base (product to there) (product to here)^-1 base^-1 T_now, by how many joints are before it
    const goes = [new Matrix4()];
    let [here, there] = [new Matrix4(), new Matrix4()];
    for (let i = 0; i < count; i += 1) {
      const axis = axes.slice(7 * i, 7 * i + 7);
      here = here.clone().multiply(moved(axis, within(at, i)));
      there = there.clone().multiply(moved(axis, within(at, i) + within(more, i)));
      goes.push(base.clone().multiply(there).multiply(here.clone().invert()).multiply(base.clone().invert()));
    }
    const found = [];
    for (const [node, spans] of Object.entries(hangs)) {
      const span = spans.find(([start, end]) => start <= time && time < end);
      const now = span && this.named.get(node);
      if (!now) continue;
      const place = new Vector3();
      const turn = new Quaternion();
      goes[span[2]].clone().multiply(poseOf(now)).decompose(place, turn, new Vector3());
      if (place.distanceTo(now.position) + turn.angleTo(now.quaternion) > SAME_M) found.push({ node, place: place.toArray(), turn: turn.toArray() });
    }
    return found;
  }

  copyOf(name) {
    if (!this.copies.has(name)) {
      const node = this.named.get(name);
      const copy = node ? bodiesOf(node, this.clear) : null;
      if (copy) this.root.add(copy);
      this.copies.set(name, copy);
    }
    return this.copies.get(name);
  }
}

// A copy of the bodies of a group as they are drawn for people, without cameras and what else hangs on it.
function bodiesOf(node, material) {
  const copy = node.clone(false);
  node.traverse((part) => {
    if (!part.isMesh || ownerOf(part).startsWith(PROVEN)) return;
    const mesh = new Mesh(part.geometry, material);
    mesh.userData = { of: ownerOf(part) };
    mesh.castShadow = false;
    mesh.matrixAutoUpdate = false;
    mesh.matrix.copy(node.matrixWorld).invert().multiply(part.matrixWorld);
    copy.add(mesh);
  });
  return copy;
}

// The name of the body that a mesh is of: its own node's, or that of the node above it.
function ownerOf(mesh) {
  return mesh.userData.name ?? mesh.parent?.userData.name ?? "";
}

function poseOf(node) {
  node.updateMatrix();
  return node.matrix.clone();
}

// The motion of a joint: direction, point of its axis, 1 for one that turns; by an angle or a way.
function moved([x, y, z, px, py, pz, turns], by) {
  const axis = new Vector3(x, y, z);
  if (!turns) return new Matrix4().makeTranslation(axis.multiplyScalar(by));
  const point = new Vector3(px, py, pz);
  const turn = new Matrix4().makeRotationAxis(axis, by);
  return turn.setPosition(point.clone().sub(point.clone().applyMatrix4(turn)));
}
