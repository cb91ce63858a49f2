// The axes of the run and of the page.

import { Vector3 } from "three";

// (x forward, y left, z up) of the run to (z forward, x left, y up) of glTF
export const toPage = ([x, y, z]) => new Vector3(y, z, x);
export const toRun = ({ x, y, z }) => [z, x, y];
