// The 3-D view: bodies from the glTF, cameras, the line between the closest pair.

import {
  AmbientLight, AnimationMixer, BoxGeometry, Color, CylinderGeometry, DirectionalLight, LoopOnce, Mesh,
  MeshBasicMaterial, MeshStandardMaterial, NeutralToneMapping, PCFSoftShadowMap, PerspectiveCamera, Quaternion, Scene,
  Spherical, Vector3, WebGLRenderer,
} from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
import { GLTFLoader } from "three/examples/jsm/loaders/GLTFLoader.js";
import { toPage, toRun } from "./axes.js";
import { data, rowAt, sceneBytes } from "./data.js";
import { Ghost } from "./ghost.js";
import { coneOf, Cut, pathAt, pathLines } from "./overlay.js";
import { Sky } from "./sky.js";
import { Still } from "./still.js";

const UP = new Vector3(0, 1, 0);
const PROVEN = "proven ";
const ROOM = "room ";
// there is nothing around the scene to reflect, so bare metal would be black
const METAL_SHARE = 0.4;
const CORNER = 0.26; // share of the width that the picture in the corner takes
const CLEAR = 0.16; // opacity of what is seen through

function drawnBySoftware() {
  const probe = document.createElement("canvas").getContext("webgl");
  const names = probe && probe.getExtension("WEBGL_debug_renderer_info");
  return Boolean(names) && /swiftshader|llvmpipe|software/i.test(probe.getParameter(names.UNMASKED_RENDERER_WEBGL));
}

export class View {
  constructor(canvas) {
    this.canvas = canvas;
    const software = drawnBySoftware();
    this.renderer = new WebGLRenderer({ canvas, antialias: !software, preserveDrawingBuffer: true });
    this.renderer.shadowMap.enabled = !software; // a processor alone would not play smoothly
    this.renderer.shadowMap.type = PCFSoftShadowMap;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
    this.scene = new Scene();
    // white in full sun keeps its form, and colours their hue
    this.renderer.toneMapping = NeutralToneMapping;
    this.renderer.autoClear = false;
    this.renderer.localClippingEnabled = true;
    this.ground = new Color(data.colours.room);
    this.sky = data.sun ? new Sky(toPage(data.sun.earth), data.sun.away, this.ground) : null;
    this.free = new PerspectiveCamera(32, 1, 0.05, 600);
    this.controls = new OrbitControls(this.free, canvas);
    this.controls.addEventListener("change", () => { this.dirty = true; });
    this.light();
    this.line = this.gapLine();
    this.ruler = this.gapLine();
    this.camera = this.free;
    this.named = new Map();
    this.marked = [];
    this.cleared = [];
    this.within = new Set();
    this.corner = [];
    this.followed = null;
    this.dirty = true;
  }

  // The sun where the run's table has it, the Earth's side, and a weak lamp at the eye; the lamp alone without a table.
  light() {
    this.sun = new DirectionalLight(0xffffff, 0);
    this.sun.castShadow = true;
    this.sun.shadow.mapSize.set(2048, 2048);
    this.sun.shadow.normalBias = 0.03;
    this.earth = new DirectionalLight(0xcfe4ff, 0);
    this.earth.position.copy(toPage(data.sun ? data.sun.earth : [0, 0, -1]));
    this.lamp = new DirectionalLight(0xffffff, data.sun ? 0.6 : 2.2);
    this.dim = new AmbientLight(0xffffff, data.sun ? 0.35 : 1.1);
    this.scene.add(this.dim, this.sun, this.sun.target, this.earth, this.lamp, this.lamp.target);
  }

  shine(time) {
    if (!data.sun) return;
    const k = rowAt(data.sun.times, time);
    const share = data.sun.share[k];
    this.towardsSun = toPage(data.sun.way.slice(3 * k, 3 * k + 3));
    this.sun.intensity = 3.1 * share;
    this.earth.intensity = 0.15 + 0.85 * share;
    this.lamp.intensity = 1.5 - 0.9 * share; // by night only lamps
  }

  // Shadows are sharpest about what the view turns round.
  aimSun(eye) {
    if (!this.towardsSun) return;
    const at = this.camera === this.free ? this.controls.target : eye;
    const half = Math.min(Math.max(0.8 * eye.distanceTo(this.controls.target), 8), 45);
    this.sun.target.position.copy(at);
    this.sun.position.copy(at).addScaledVector(this.towardsSun, 80);
    Object.assign(this.sun.shadow.camera, { left: -half, right: half, top: half, bottom: -half, near: 1, far: 160 });
    this.sun.shadow.camera.updateProjectionMatrix();
  }

  gapLine() {
    const line = new Mesh(new CylinderGeometry(1, 1, 1, 12), new MeshBasicMaterial({ depthTest: false, toneMapped: false }));
    const ends = [0, 1].map(() => new Mesh(new BoxGeometry(1, 1, 1), line.material));
    for (const part of [line, ...ends]) {
      part.renderOrder = 10;
      part.visible = false;
      this.scene.add(part);
    }
    return { line, ends };
  }

  async load() {
    const gltf = await new GLTFLoader().parseAsync(await sceneBytes(), "");
    this.scene.add(gltf.scene);
    const materials = new Set();
    gltf.scene.traverse((node) => {
      if (node.userData.name) this.named.set(node.userData.name, node);
      if (!node.isMesh) return;
      node.castShadow = true;
      node.receiveShadow = true;
      materials.add(node.material);
    });
    for (const material of materials) material.metalness *= METAL_SHARE;
    this.showProven(false);
    this.clearRooms();
    this.mixer = new AnimationMixer(gltf.scene);
    if (gltf.animations.length) {
      this.clip = gltf.animations[0];
      const action = this.mixer.clipAction(this.clip);
      action.setLoop(LoopOnce);
      action.clampWhenFinished = true;
      action.play();
    }
    const still = this.named.get("group static");
    if (still) this.still = new Still(this.scene, still, (node) => this.ofPerson(node) || node.userData.name?.startsWith(ROOM));
    this.cut = new Cut(materials);
    this.ghost = new Ghost(this.named.get("armcarry") ?? gltf.scene, this.named, this.cut);
    this.path = pathLines();
    this.scene.add(this.path);
    this.home();
  }

  // Show or hide the planned path, or what every camera sees.
  showPath(on) {
    this.path.visible = on;
    this.dirty = true;
  }

  showCones(on) {
    if (on && !this.cones) {
      const people = new Set(data.people.map((person) => person.name));
      this.cones = data.cameras.map(({ name }) => {
        const camera = this.named.get(`camera ${name}`);
        const cone = coneOf(camera, data.cone_m, people.has(name) ? data.colours.near : data.colours.sky);
        camera.add(cone);
        return { camera, cone };
      });
    }
    this.conesShown = on;
    this.dirty = true;
  }

  // The platform's rooms, seen through, while they ask for anything.
  showRooms(on) {
    this.roomsShown = on;
    this.dirty = true;
  }

  roomsNow() {
    for (const { node, on } of data.rooms.each) {
      const asks = on.some(([start, end]) => start <= this.time && this.time <= end);
      this.named.get(node).visible = this.roomsShown === true && asks;
    }
  }

  clearRooms() {
    for (const { node } of data.rooms.each) {
      const mesh = this.named.get(node);
      // as bright in shadow as in the sun
      mesh.material = new MeshBasicMaterial({ color: mesh.material.color, transparent: true, opacity: data.rooms.opacity, depthWrite: false });
      Object.assign(mesh, { castShadow: false, receiveShadow: false, visible: false });
    }
  }

  cutAcross(axis) {
    this.cut.choose(axis);
    this.dirty = true;
  }

  // What stands before a gap is drawn see-through; no names take that back.
  seeThrough(names) {
    for (const { mesh, material } of this.cleared) mesh.material = material;
    this.cleared = [];
    for (const name of names) {
      this.named.get(name)?.traverse((mesh) => {
        if (!mesh.isMesh) return;
        this.cleared.push({ mesh, material: mesh.material });
        mesh.material = mesh.material.clone();
        Object.assign(mesh.material, { transparent: true, opacity: CLEAR, depthWrite: false });
      });
    }
    this.still?.leaveOut(this.cleared.map(({ mesh }) => mesh).filter((mesh) => this.isStill(mesh)));
    this.dirty = true;
  }

  // Copies of what moves: where a fault brings it, else where it would rest if told to stop now, if that is asked.
  showGhost(after, pair, stop) {
    this.ghost.stand(after.length || !stop ? after : this.ghost.rest(this.time), pair);
    this.dirty = true;
  }

  // Whether a fault moves a body.
  goes(name, after) {
    const moved = new Set(after.map(({ node }) => this.named.get(node)));
    for (let up = this.named.get(name); up; up = up.parent) if (moved.has(up)) return true;
    return false;
  }

  isStill(mesh) {
    for (let up = mesh; up; up = up.parent) if (up === this.named.get("group static")) return !this.ofPerson(mesh);
    return false;
  }

  // Where a node is, in the page's axes; null where there is none.
  placeOf(name) {
    return this.named.get(name)?.getWorldPosition(new Vector3()) ?? null;
  }

  // People as they are drawn, or the bodies that were proven in their place.
  showProven(on) {
    this.proven = on;
    this.showBodies();
  }

  // Each body as it is to be drawn now; none of who or what is behind the hatch.
  showBodies() {
    for (const [name, node] of this.named) {
      const own = name.startsWith(PROVEN) ? name.slice(PROVEN.length) : name;
      const within = this.within.has(own.split("/")[0]);
      if (name !== own) node.visible = this.proven && !within;
      else if (this.named.has(PROVEN + name)) node.visible = !this.proven && !within;
      else if (own.split("/")[0] in data.indoors) node.visible = !within;
    }
    this.dirty = true;
  }

  // Who and what is behind the hatch at a time.
  goIndoors(time) {
    const inside = ([, spans]) => spans.some(([start, end]) => start <= time && time < end);
    const now = Object.entries(data.indoors).filter(inside).map(([name]) => name);
    if (now.join() === [...this.within].join()) return;
    this.within = new Set(now);
    this.showBodies();
  }

  // Whether a mesh is of a body that is drawn in two ways.
  ofPerson(node) {
    for (let up = node; up; up = up.parent) {
      const name = up.userData.name ?? "";
      if (name.startsWith(PROVEN) || this.named.has(PROVEN + name)) return true;
    }
    return false;
  }

  home() {
    this.place(data.home);
  }

  // Views were chosen for a picture of 16:9; a narrower canvas sees the same from farther away.
  place(view) {
    const focus = toPage(view.focus);
    const wide = Math.max((16 / 9) / (this.canvas.clientWidth / Math.max(this.canvas.clientHeight, 1)), 1);
    this.free.position.copy(toPage(view.eye).sub(focus).multiplyScalar(wide).add(focus));
    this.controls.target.copy(focus);
    this.controls.update();
    this.dirty = true;
  }

  // Where the free view looks from and to, in the run's axes; and such a view as it was kept.
  eyeAndFocus() {
    const told = (point) => toRun(point).map((value) => Math.round(value * 1e4) / 1e4);
    return { eye_m: told(this.free.position), focus_m: told(this.controls.target) };
  }

  stand(eye, focus) {
    this.free.position.copy(toPage(eye));
    this.controls.target.copy(toPage(focus));
    this.controls.update();
    this.dirty = true;
  }

  // Turn the free view about what it looks at, and go nearer or farther.
  turn(aside, up, far) {
    const off = new Spherical().setFromVector3(this.free.position.clone().sub(this.controls.target));
    off.set(off.radius * far, off.phi + up, off.theta + aside).makeSafe();
    this.free.position.setFromSpherical(off).add(this.controls.target);
    this.controls.update();
    this.dirty = true;
  }

  // name: "free", "follow", or a camera of the scene.
  use(name) {
    this.camera = this.named.get(`camera ${name}`) ?? this.free;
    this.controls.enabled = this.camera === this.free;
    this.followed = name === "follow" ? this.named.get(data.follow) ?? null : null;
    this.last = this.followed ? this.followed.getWorldPosition(new Vector3()) : null;
    if (this.followed) {
      const towards = new Vector3().subVectors(this.free.position, this.controls.target).setLength(9);
      this.controls.target.copy(this.last);
      this.free.position.copy(this.last).add(towards);
      this.controls.update();
    }
    this.resize();
  }

  show(time) {
    this.time = time;
    if (this.clip) this.mixer.setTime(Math.max(Math.min(time, this.clip.duration - 1e-4), 0));
    this.scene.updateMatrixWorld();
    this.goIndoors(time);
    pathAt(this.path, time);
    this.shine(time);
    if (this.followed) {
      const now = this.followed.getWorldPosition(new Vector3());
      const moved = now.clone().sub(this.last);
      this.last = now;
      this.free.position.add(moved);
      this.controls.target.add(moved);
      this.controls.update();
    }
    this.dirty = true;
  }

  highlight(names, colours) {
    for (const { mesh, material, visible } of this.marked) Object.assign(mesh, { material, visible });
    this.marked = [];
    names.forEach((name, k) => {
      const mesh = this.named.get(PROVEN + name) ?? this.named.get(name);
      if (!mesh || !mesh.isMesh) return;
      this.marked.push({ mesh, material: mesh.material, visible: mesh.visible });
      mesh.material = new MeshStandardMaterial({
        color: colours[k], roughness: 0.7, polygonOffset: true, polygonOffsetFactor: -2, polygonOffsetUnits: -2,
      });
      this.cut.put(mesh.material);
      mesh.visible = true;
    });
    this.dirty = true;
  }

  // Draw the line between two points of the run, or none; return where its middle is on the canvas.
  gap(pair, colour) {
    this.middle = pair === null ? null : this.stretch(this.line, toPage(pair.a), toPage(pair.b), colour);
    if (pair === null) this.stretch(this.line);
  }

  // Draw the line of what is measured, between two points of the page, or none.
  measured(found) {
    this.stretch(this.ruler, found?.a, found?.b, data.colours.sky);
  }

  // Put a line between two points, or take it away; return its middle.
  stretch({ line, ends }, a = null, b = null, colour = "") {
    for (const part of [line, ...ends]) part.visible = a !== null;
    this.dirty = true;
    if (a === null) return null;
    const middle = a.clone().add(b).multiplyScalar(0.5);
    const eye = this.camera.getWorldPosition(new Vector3());
    const thick = 0.0022 * eye.distanceTo(middle);
    line.material.color.set(colour);
    line.position.copy(middle);
    line.quaternion.copy(new Quaternion().setFromUnitVectors(UP, b.clone().sub(a).normalize()));
    line.scale.set(thick, Math.max(a.distanceTo(b), 1e-4), thick);
    [a, b].forEach((point, k) => {
      ends[k].position.copy(point);
      ends[k].scale.setScalar(3.2 * thick);
    });
    return middle;
  }

  // T_page_body of a body as it was proven, whatever is drawn in its place.
  provenPose(name) {
    return (this.named.get(PROVEN + name) ?? this.named.get(name)).matrixWorld;
  }

  // Where a point of the page is on the canvas in CSS pixels, null when it is out of view.
  project(point) {
    this.camera.updateMatrixWorld();
    const at = point.clone().project(this.camera);
    if (Math.abs(at.x) > 1 || Math.abs(at.y) > 1 || at.z > 1) return null;
    return { x: (0.5 + at.x / 2) * this.canvas.clientWidth, y: (0.5 - at.y / 2) * this.canvas.clientHeight };
  }

  // Both ends of the line on the canvas; where only its middle is seen, that; null when it is out of view.
  gapOnCanvas() {
    if (!this.middle) return null;
    const ends = this.line.ends.map((end) => this.project(end.position)).filter((end) => end !== null);
    const middle = this.project(this.middle);
    return middle === null && !ends.length ? null : [...ends, ...(middle ? [middle] : [])];
  }

  resize() {
    const { clientWidth: wide, clientHeight: tall } = this.canvas;
    this.renderer.setSize(wide, tall, false);
    this.camera.aspect = wide / Math.max(tall, 1);
    this.camera.updateProjectionMatrix();
    this.dirty = true;
  }

  draw() {
    this.dirty = false;
    const eye = this.camera.getWorldPosition(new Vector3());
    const ahead = this.camera.getWorldDirection(new Vector3());
    const aside = new Vector3().crossVectors(ahead, UP).multiplyScalar(-0.4).add(UP.clone().multiplyScalar(0.7));
    this.lamp.position.copy(eye).add(aside);
    this.lamp.target.position.copy(eye).add(ahead);
    this.aimSun(eye);
    this.cut.aim(eye, this.controls.target);
    this.render(this.camera);
    this.drawCorner();
  }

  render(camera) {
    const towards = this.towardsSun ?? UP;
    this.renderer.setClearColor(this.ground);
    this.renderer.clear();
    if (this.sky) {
      this.sky.draw(this.renderer, camera, towards, data.sun.share[rowAt(data.sun.times, this.time)]);
      this.renderer.clearDepth();
    }
    this.roomsNow();
    for (const each of this.cones ?? []) each.cone.visible = this.conesShown && each.camera !== camera;
    this.renderer.render(this.scene, camera);
  }

  // What other cameras see, one above another in the corner; no names take that away.
  inCorner(names) {
    this.corner = names.map((name) => this.named.get(`camera ${name}`)).filter(Boolean);
    this.dirty = true;
  }

  // Rooms of the pictures in the corner, from the lowest up, as far as there is room for them.
  cornerRooms() {
    const { clientWidth: wide, clientHeight: tall } = this.canvas;
    const w = Math.round(CORNER * wide);
    let bottom = tall - 12;
    return this.corner.filter((camera) => camera !== this.camera).flatMap((camera) => {
      const room = { camera, left: wide - w - 12, right: wide - 12, top: bottom - Math.round(w / camera.aspect), bottom };
      bottom = room.top - 8;
      return room.top < 60 ? [] : [room];
    });
  }

  drawCorner() {
    const rooms = this.cornerRooms();
    if (!rooms.length) return;
    const { clientWidth: wide, clientHeight: tall } = this.canvas;
    const shown = [this.line, this.ruler].flatMap(({ line, ends }) => [line, ...ends]).concat(this.path).map((part) => [part, part.visible]);
    for (const [part] of shown) part.visible = false; // it is as thick as the main view wants it
    this.renderer.setScissorTest(true);
    for (const { camera, left, right, top, bottom } of rooms) {
      const box = [left, tall - bottom, right - left, bottom - top];
      this.renderer.setViewport(...box);
      this.renderer.setScissor(...box);
      this.render(camera);
    }
    this.renderer.setScissorTest(false);
    this.renderer.setViewport(0, 0, wide, tall);
    for (const [part, visible] of shown) part.visible = visible;
  }

  // T_page_body of a node as 16 numbers in column order, for those who check the page.
  poseOf(name) {
    const node = this.named.get(name);
    return node ? [...node.matrixWorld.elements] : null;
  }
}
