// What stands behind the scene: the Earth where it is, lit by the sun, and stars; quiet, so that words read.

import {
  BufferGeometry, Color, DirectionalLight, Float32BufferAttribute, Mesh, MeshLambertMaterial, PerspectiveCamera, Points,
  PointsMaterial, Scene, SphereGeometry, AmbientLight,
} from "three";

const STARS = 900;

// A draw that gives the same stars each time (Park and Miller).
function drawn(seed) {
  let state = seed;
  return () => { state = (state * 48271) % 2147483647; return state / 2147483647; };
}

export class Sky {
  // earth: unit vector to its centre; away: how far that is in its radii; both in the page's axes.
  constructor(earth, away, ground) {
    this.scene = new Scene();
    this.scene.background = new Color(ground);
    this.camera = new PerspectiveCamera(32, 1, 0.005, 20);
    this.sun = new DirectionalLight(0xffffff, 2.2);
    const ball = new Mesh(new SphereGeometry(1, 192, 96), new MeshLambertMaterial({ color: 0x12315c }));
    const air = new Mesh(new SphereGeometry(1.009, 192, 96), new MeshLambertMaterial({
      color: 0x3f74b4, transparent: true, opacity: 0.14, depthWrite: false,
    }));
    for (const each of [ball, air]) each.position.copy(earth).multiplyScalar(away);
    this.scene.add(this.sun, this.sun.target, new AmbientLight(0x7f9fc8, 0.12), this.stars(), ball, air);
  }

  stars() {
    const next = drawn(7);
    const places = [];
    const colours = [];
    while (places.length < 3 * STARS) {
      const [x, y, z] = [2 * next() - 1, 2 * next() - 1, 2 * next() - 1];
      const size = Math.hypot(x, y, z);
      if (size > 1 || size < 0.1) continue;
      places.push((15 * x) / size, (15 * y) / size, (15 * z) / size);
      const bright = 0.12 + 0.6 * next() ** 4;
      colours.push(bright, bright, bright);
    }
    const shape = new BufferGeometry();
    shape.setAttribute("position", new Float32BufferAttribute(places, 3));
    shape.setAttribute("color", new Float32BufferAttribute(colours, 3));
    return new Points(shape, new PointsMaterial({ size: 1.6, sizeAttenuation: false, vertexColors: true }));
  }

  draw(renderer, camera, towardsSun, share) {
    camera.getWorldQuaternion(this.camera.quaternion);
    Object.assign(this.camera, { fov: camera.fov, aspect: camera.aspect });
    this.camera.updateProjectionMatrix();
    this.sun.position.copy(towardsSun);
    this.sun.intensity = 0.4 + 1.8 * share;
    renderer.render(this.scene, this.camera);
  }
}
