// What is laid over the scene on demand: the planned path with its places, where cameras look, a cut through all of it.

import {
  BufferGeometry, Color, DoubleSide, Float32BufferAttribute, FrontSide, Group, LineBasicMaterial, LineSegments, Mesh,
  MeshBasicMaterial, Plane, Vector3,
} from "three";
import { LineMaterial } from "three/examples/jsm/lines/LineMaterial.js";
import { LineSegments2 } from "three/examples/jsm/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/examples/jsm/lines/LineSegmentsGeometry.js";
import { data } from "./data.js";
import { toPage } from "./axes.js";

const APART_PX = 6; // between two names

// When each carry ends: the path of one is shown at a time, or a day would be a tangle of lines.
export function carryEnds() {
  const ends = [];
  data.moves.forEach(({ carry, end }, k) => {
    if (k && data.moves[k - 1].carry === carry) ends[ends.length - 1] = end;
    else ends.push(end);
  });
  return ends.length ? ends : [data.end_s];
}

// The path as fat lines, a group a carry: plain, wider and in another colour where little is left, or not enough.
export function pathLines() {
  const { points, kept, times } = data.way;
  const at = (k) => toPage(points.slice(3 * k, 3 * k + 3)).toArray();
  const whole = new Group();
  const ends = carryEnds();
  ends.forEach((until, n) => {
    const from = n ? ends[n - 1] : -Infinity;
    const part = new Group();
    [[0, data.colours.light, 3], [1, data.colours.near, 6], [2, data.colours.fail, 6]].forEach(([kind, colour, wide]) => {
      const corners = [];
      for (let k = 0; k + 1 < kept.length; k += 1) {
        const within = times[k] >= from && (times[k] < until || n === ends.length - 1);
        if (within && kept[k] === kind) corners.push(...at(k), ...at(k + 1));
      }
      if (!corners.length) return;
      const shape = new LineSegmentsGeometry();
      shape.setPositions(corners);
      part.add(new LineSegments2(shape, new LineMaterial({ color: colour, linewidth: wide, toneMapped: false })));
    });
    part.userData.until = until;
    whole.add(part);
  });
  return whole;
}

// Show the part of the path of the carry that is flown at a time, or comes next.
export function pathAt(whole, time) {
  const now = whole.children.find((part) => time < part.userData.until) ?? whole.children.at(-1);
  for (const part of whole.children) part.visible = part === now;
}

// Names of the places along the path, as text over the canvas; one that would cover an earlier one is left out.
export class Places {
  constructor(box) {
    this.items = data.way.places.map(({ words, at }) => {
      const item = document.createElement("div");
      item.textContent = words;
      box.append(item);
      return { item, at: toPage(at) };
    });
    this.box = box;
  }

  show(on, project, taken) {
    this.box.hidden = !on;
    if (!on) return;
    const rooms = [...taken];
    for (const { item, at } of this.items) {
      const place = project(at);
      item.hidden = place === null; // shown first: what is hidden has no width
      if (place === null) continue;
      const wide = item.offsetWidth;
      const left = place.x + 8 + wide < this.box.parentElement.clientWidth ? place.x + 8 : Math.max(place.x - 8 - wide, 0);
      const room = { left, top: place.y - 10, right: left + wide, bottom: place.y - 10 + item.offsetHeight };
      item.hidden = rooms.some((other) => covers(room, other, APART_PX));
      if (item.hidden) continue;
      rooms.push(room);
      item.style.transform = `translate(${room.left}px, ${room.top}px)`;
    }
  }
}

export function covers(one, other, apart = 0) {
  return one.left < other.right + apart && other.left < one.right + apart
    && one.top < other.bottom + apart && other.top < one.bottom + apart;
}

// What a camera sees, as a pyramid that goes with it.
export function coneOf(camera, far, colour) {
  const y = far * Math.tan((camera.fov * Math.PI) / 360);
  const x = y * camera.aspect;
  const corners = [[-x, -y], [x, -y], [x, y], [-x, y]].map((pair) => [...pair, -far]);
  const edges = [];
  const sides = [];
  corners.forEach((corner, k) => {
    const next = corners[(k + 1) % 4];
    edges.push(0, 0, 0, ...corner, ...corner, ...next);
    sides.push(0, 0, 0, ...corner, ...next);
  });
  const shape = (values) => new BufferGeometry().setAttribute("position", new Float32BufferAttribute(values, 3));
  const cone = new Group();
  cone.add(new LineSegments(shape(edges), new LineBasicMaterial({ color: colour, toneMapped: false })));
  cone.add(new Mesh(shape(sides), new MeshBasicMaterial({
    color: new Color(colour), transparent: true, opacity: 0.1, side: DoubleSide, depthWrite: false, toneMapped: false,
  })));
  return cone;
}

// A cut through what the view turns round, across one axis of the run; what lies on the viewer's side is left out.
export class Cut {
  constructor(materials) {
    this.materials = materials;
    this.plane = new Plane();
    this.axis = null;
  }

  // axis: "0" x, "1" y, "2" z of the run, or "" for none.
  choose(axis) {
    this.axis = axis === "" ? null : toPage([0, 1, 2].map((k) => Number(k === Number(axis))));
    for (const material of this.materials) this.put(material);
  }

  put(material) {
    material.clippingPlanes = this.axis ? [this.plane] : null;
    material.side = this.axis ? DoubleSide : FrontSide;
    material.needsUpdate = true;
  }

  aim(eye, focus) {
    if (!this.axis) return;
    const away = this.axis.clone();
    if (away.dot(new Vector3().subVectors(eye, focus)) > 0) away.negate();
    this.plane.setFromNormalAndCoplanarPoint(away, focus);
  }
}
