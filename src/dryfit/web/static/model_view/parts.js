// One part on the drawing: its copy, where it stands, how it is coloured.
import { THREE } from "nicegui-scene";
import { edgeMaterial, faceMaterial } from "./shaders.js";
import { geometriesOf } from "./loading.js";

// Directions in which the outermost points of a copy are looked for, to frame it.
const FEELERS = [-1, 0, 1].flatMap((x) => [-1, 0, 1].flatMap((y) => [-1, 0, 1].map((z) => [x, y, z]))).filter((d) => d.some(Boolean));
const IDENTITY = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1];

export class DrawnPart {
  constructor(row, index, shared) {
    Object.assign(this, { row, index, shared });
    this.drawn = new THREE.Matrix4();
    this.copy = null;
    this.walls = this.wallsUrl = null;
    this.middle = new THREE.Vector3();
    this.place(IDENTITY);
  }

  // level: how much lighter the copy is than the server's own choice.
  receive(copy, level, scene) {
    this.remove(scene);
    this.copy = copy;
    this.level = level;
    const { faces, edges } = geometriesOf(copy);
    this.mesh = new THREE.Mesh(faces, faceMaterial(this.shared));
    this.lines = new THREE.LineSegments(edges, edgeMaterial(this.shared));
    this.mesh.part = this;
    for (const object of [this.mesh, this.lines]) object.matrixAutoUpdate = false;
    this.lines.frustumCulled = false;
    faces.boundingBox.getCenter(this.middle);
    this.outermost = outermostOf(copy.positions);
    scene.add(this.mesh, this.lines);
    this.place(this.placed);
  }

  // The same surface divided more finely, coloured by the thickness of its walls.
  receiveWalls(geometry, url, scene) {
    this.removeWalls(scene);
    this.wallsUrl = url;
    this.walls = new THREE.Mesh(geometry, faceMaterial(this.shared));
    this.walls.material.uniforms.showsWall.value = true;
    Object.assign(this.walls, { matrixAutoUpdate: false, frustumCulled: false, visible: false });
    scene.add(this.walls);
    this.place(this.placed);
  }

  removeWalls(scene) {
    if (!this.walls) return;
    scene.remove(this.walls);
    this.walls.geometry.dispose();
    this.walls.material.dispose();
    this.walls = null;
    this.wallsUrl = null;
  }

  remove(scene) {
    this.removeWalls(scene);
    if (!this.mesh) return;
    this.copy = null;
    scene.remove(this.mesh, this.lines);
    for (const object of [this.mesh, this.lines]) {
      object.geometry.dispose();
      object.material.dispose();
    }
  }

  // placed: sixteen numbers, column after column. Departures are kept apart, since they are small.
  place(placed) {
    this.placed = placed ?? IDENTITY;
    this.departure = this.placed.map((value, index) => value - IDENTITY[index]);
    if (!this.mesh) return;
    const d = this.departure;
    const { strain, shift } = this.mesh.material.uniforms;
    strain.value.set(d[0], d[4], d[8], d[1], d[5], d[9], d[2], d[6], d[10]);
    shift.value.set(d[12], d[13], d[14]);
  }

  // M_s = I + s (M - I), then apart by the given shift.
  arrange(exaggeration, shift) {
    this.drawn.fromArray(this.departure.map((value, index) => IDENTITY[index] + exaggeration * value));
    this.drawn.premultiply(new THREE.Matrix4().makeTranslation(shift));
    if (!this.mesh) return;
    for (const object of [this.mesh, this.lines, this.walls].filter(Boolean)) {
      object.matrix.copy(this.drawn);
      object.matrixWorldNeedsUpdate = true;
    }
  }

  // The outermost points of the part, as drawn.
  corners() {
    return this.outermost.map((point) => point.clone().applyMatrix4(this.drawn));
  }

  departureOf(point) {
    const d = this.departure;
    return new THREE.Vector3(
      d[0] * point.x + d[4] * point.y + d[8] * point.z + d[12],
      d[1] * point.x + d[5] * point.y + d[9] * point.z + d[13],
      d[2] * point.x + d[6] * point.y + d[10] * point.z + d[14],
    );
  }

  // Largest departure of any point shown, or of one component (2, 3, 4: X, Y, Z).
  largestDeparture(along) {
    const [d, at] = [this.departure, this.copy.positions];
    let largest = 0;
    for (let i = 0; i < at.length; i += 3) {
      const x = d[0] * at[i] + d[4] * at[i + 1] + d[8] * at[i + 2] + d[12];
      const y = d[1] * at[i] + d[5] * at[i + 1] + d[9] * at[i + 2] + d[13];
      const z = d[2] * at[i] + d[6] * at[i + 1] + d[10] * at[i + 2] + d[14];
      const size = along < 2 ? Math.hypot(x, y, z) : Math.abs([x, y, z][along - 2]);
      if (size > largest) largest = size;
    }
    return largest;
  }

  // The inside of a closed part is seen only where it is cut; leaving it out saves half the drawing.
  // look: {showsWalls, isHidden, mark}; mark: how it is hatched, 0 for not
  colour(wash, fade, isCut, { showsWalls = false, isHidden = false, mark = 0 } = {}) {
    if (!this.mesh || !this.copy) return; // a part that was let go
    this.mesh.material.side = isCut || !this.copy.isClosed ? THREE.DoubleSide : THREE.FrontSide;
    this.mesh.visible = !isHidden && !(showsWalls && this.walls);
    if (this.walls) {
      this.walls.visible = !isHidden && showsWalls;
      this.walls.material.side = this.mesh.material.side;
      this.walls.material.uniforms.fade.value = fade;
    }
    this.mesh.material.uniforms.wash.value.copy(wash);
    this.mesh.material.uniforms.fade.value = fade;
    this.mesh.material.uniforms.mark.value = mark;
    this.lines.material.uniforms.strength.value = isHidden ? 0.1 : fade ? 0.22 : 0.85;
  }
}

function outermostOf(at) {
  const points = new Map();
  for (const [x, y, z] of FEELERS) {
    let [best, found] = [-Infinity, 0];
    for (let i = 0; i < at.length; i += 3) {
      const reach = x * at[i] + y * at[i + 1] + z * at[i + 2];
      if (reach > best) [best, found] = [reach, i];
    }
    points.set(found, new THREE.Vector3(at[found], at[found + 1], at[found + 2]));
  }
  return [...points.values()];
}
