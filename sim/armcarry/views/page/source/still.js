// Bodies that never move, drawn as one mesh a material; the single ones stay, hidden, for highlighting.

import { Mesh } from "three";
import { mergeGeometries } from "three/examples/jsm/utils/BufferGeometryUtils.js";

export class Still {
  // still: the group of what never moves; apart: whether a mesh is to stay by itself.
  constructor(scene, still, apart) {
    this.scene = scene;
    this.meshes = new Map();
    this.without = new Set();
    still.updateMatrixWorld(true);
    const byMaterial = new Map();
    still.traverse((node) => {
      if (!node.isMesh || apart(node)) return;
      const parts = byMaterial.get(node.material) ?? [];
      parts.push({ node, shape: node.geometry.clone().applyMatrix4(node.matrixWorld) });
      byMaterial.set(node.material, parts);
      node.visible = false;
    });
    for (const [material, parts] of byMaterial) {
      const mesh = new Mesh(mergeGeometries(parts.map((part) => part.shape)), material);
      mesh.castShadow = true;
      mesh.receiveShadow = true;
      this.meshes.set(mesh, parts);
      scene.add(mesh);
    }
  }

  // Leave out some meshes, which are shown by themselves; none puts all back.
  leaveOut(nodes) {
    const gone = new Set(nodes);
    for (const [mesh, parts] of this.meshes) {
      if (!parts.some(({ node }) => gone.has(node) !== this.without.has(node))) continue;
      const left = parts.filter(({ node }) => !gone.has(node));
      mesh.geometry.dispose();
      mesh.visible = left.length > 0;
      if (left.length) mesh.geometry = mergeGeometries(left.map((part) => part.shape));
      for (const { node } of parts) if (gone.has(node) !== this.without.has(node)) node.visible = gone.has(node);
    }
    this.without = gone;
  }
}
