// The 3-D view: bodies from the glTF, cameras, the line between the closest pair.

import {
  AmbientLight, AnimationMixer, BoxGeometry, Color, CylinderGeometry, DirectionalLight, LoopOnce, Mesh,
  MeshBasicMaterial, MeshStandardMaterial, PerspectiveCamera, Quaternion, Scene, Spherical, Vector3, WebGLRenderer,
} from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
import { GLTFLoader } from "three/examples/jsm/loaders/GLTFLoader.js";
import { mergeGeometries } from "three/examples/jsm/utils/BufferGeometryUtils.js";
import { data, sceneBytes } from "./data.js";

const UP = new Vector3(0, 1, 0);

// (x forward, y left, z up) of the run to (z forward, x left, y up) of glTF
export const toPage = ([x, y, z]) => new Vector3(y, z, x);

function drawnBySoftware() {
  const probe = document.createElement("canvas").getContext("webgl");
  const names = probe && probe.getExtension("WEBGL_debug_renderer_info");
  return Boolean(names) && /swiftshader|llvmpipe|software/i.test(probe.getParameter(names.UNMASKED_RENDERER_WEBGL));
}

export class View {
  constructor(canvas) {
    this.canvas = canvas;
    this.renderer = new WebGLRenderer({ canvas, antialias: !drawnBySoftware(), preserveDrawingBuffer: true });
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
    this.scene = new Scene();
    this.scene.background = new Color(data.colours.room);
    this.free = new PerspectiveCamera(32, 1, 0.05, 600);
    this.controls = new OrbitControls(this.free, canvas);
    this.controls.addEventListener("change", () => { this.dirty = true; });
    this.light();
    this.line = this.gapLine();
    this.camera = this.free;
    this.named = new Map();
    this.marked = [];
    this.followed = null;
    this.dirty = true;
  }

  light() {
    this.scene.add(new AmbientLight(0xffffff, 1.1));
    this.lamp = new DirectionalLight(0xffffff, 2.2);
    this.scene.add(this.lamp, this.lamp.target);
  }

  gapLine() {
    const line = new Mesh(new CylinderGeometry(1, 1, 1, 12), new MeshBasicMaterial({ depthTest: false }));
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
    gltf.scene.traverse((node) => { if (node.userData.name) this.named.set(node.userData.name, node); });
    this.mixer = new AnimationMixer(gltf.scene);
    if (gltf.animations.length) {
      this.clip = gltf.animations[0];
      const action = this.mixer.clipAction(this.clip);
      action.setLoop(LoopOnce);
      action.clampWhenFinished = true;
      action.play();
    }
    this.mergeStill();
    this.home();
  }

  // Bodies that never move become one mesh a material; the single ones stay, hidden, for highlighting.
  mergeStill() {
    const still = this.named.get("group static");
    if (!still) return;
    still.updateMatrixWorld(true);
    const byMaterial = new Map();
    still.traverse((node) => {
      if (!node.isMesh) return;
      const parts = byMaterial.get(node.material) ?? [];
      parts.push(node.geometry.clone().applyMatrix4(node.matrixWorld));
      byMaterial.set(node.material, parts);
      node.visible = false;
    });
    for (const [material, parts] of byMaterial) this.scene.add(new Mesh(mergeGeometries(parts), material));
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
    if (this.clip) this.mixer.setTime(Math.max(Math.min(time, this.clip.duration - 1e-4), 0));
    this.scene.updateMatrixWorld();
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
      const mesh = this.named.get(name);
      if (!mesh || !mesh.isMesh) return;
      this.marked.push({ mesh, material: mesh.material, visible: mesh.visible });
      mesh.material = new MeshStandardMaterial({
        color: colours[k], roughness: 0.7, polygonOffset: true, polygonOffsetFactor: -2, polygonOffsetUnits: -2,
      });
      mesh.visible = true;
    });
    this.dirty = true;
  }

  // Draw the line between two points of the run, or none; return where its middle is on the canvas.
  gap(pair, colour) {
    const { line, ends } = this.line;
    for (const part of [line, ...ends]) part.visible = pair !== null;
    this.middle = null;
    if (pair === null) return;
    const [a, b] = [toPage(pair.a), toPage(pair.b)];
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
    this.middle = middle;
    this.dirty = true;
  }

  // Where the middle of the line is on the canvas in CSS pixels, null when it is out of view.
  labelPlace() {
    if (!this.middle) return null;
    this.camera.updateMatrixWorld();
    const at = this.middle.clone().project(this.camera);
    if (Math.abs(at.x) > 1 || Math.abs(at.y) > 1 || at.z > 1) return null;
    return { x: (0.5 + at.x / 2) * this.canvas.clientWidth, y: (0.5 - at.y / 2) * this.canvas.clientHeight };
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
    this.renderer.render(this.scene, this.camera);
  }

  // T_page_body of a node as 16 numbers in column order, for those who check the page.
  poseOf(name) {
    const node = this.named.get(name);
    return node ? [...node.matrixWorld.elements] : null;
  }
}
