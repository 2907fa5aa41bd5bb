// What was found on the parts: its faces over the model, its places, a dimension line, and the way there.
import { THREE } from "nicegui-scene";
import { vectorOf } from "./colours.js";
import { overlayMaterial } from "./shaders.js";
import { fetchFloats } from "./walls.js";

// Corners of a box as lowest (0) or highest (1) along x, y and z, so that bits of their number tell them apart.
const CORNERS = [0, 1, 2, 3, 4, 5, 6, 7].map((corner) => [corner & 1, (corner >> 1) & 1, corner >> 2]);
const vector = (values) => new THREE.Vector3(values[0], values[1], values[2]);

// found: {parts, colour, words, places, at, shape, faces: [{part, url}], line, lead, box, view: {part, at, from, reach}}
export class Found {
  constructor(drawing) {
    this.drawing = drawing;
    this.shown = null;
    this.meshes = [];
  }

  get isShown() {
    return this.shown !== null;
  }

  // Parts that are not concerned are drawn as lines, so that nothing stands before the place.
  hides(part) {
    return this.isShown && this.shown.parts.length > 0 && !this.shown.parts.includes(part);
  }

  async set(found) {
    const { drawing } = this;
    const before = this.shown;
    this.shown = found;
    if (before?.view && !found) drawing.seeAll();
    if (JSON.stringify(before?.faces) !== JSON.stringify(found?.faces)) await this.load(found?.faces ?? [], found?.colour);
    if (this.shown !== found) return;
    drawing.arrange();
    drawing.recolour();
    const isSame = JSON.stringify(before?.view) === JSON.stringify(found?.view);
    if (found?.view && !isSame) this.look(found.view);
  }

  async load(faces, colour) {
    this.loading?.abort();
    const loading = new AbortController();
    this.loading = loading;
    this.clear();
    for (const face of faces) {
      try {
        const corners = await fetchFloats(face.url, loading.signal);
        if (loading.signal.aborted) return;
        this.add(face.part, corners, vectorOf(colour));
      } catch (error) {
        if (loading.signal.aborted) return;
        this.drawing.tell("trouble", `what was found cannot be marked: ${error.message}`);
      }
    }
  }

  add(part, corners, colour) {
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(corners, 3));
    // Once as it lies on the model, once faintly through whatever is before it.
    for (const isThrough of [false, true]) {
      const mesh = new THREE.Mesh(geometry, overlayMaterial(this.drawing.shared, colour, isThrough));
      Object.assign(mesh, { matrixAutoUpdate: false, frustumCulled: false, renderOrder: isThrough ? 3 : 2 });
      mesh.part = part;
      this.drawing.scene.add(mesh);
      this.meshes.push(mesh);
    }
  }

  clear() {
    for (const mesh of this.meshes) {
      this.drawing.scene.remove(mesh);
      mesh.geometry.dispose();
      mesh.material.dispose();
    }
    this.meshes = [];
  }

  arrange() {
    for (const mesh of this.meshes) {
      mesh.matrix.copy(this.matrixOf(mesh.part));
      mesh.matrixWorldNeedsUpdate = true;
    }
  }

  matrixOf(part) {
    return this.drawing.parts.get(part)?.drawn ?? new THREE.Matrix4();
  }

  drawn(part, point) {
    return vector(point).applyMatrix4(this.matrixOf(part));
  }

  look(view) {
    this.drawing.hasMoved = true;
    const toward = view.from ? vector(view.from) : null;
    if (view.at) this.drawing.eye.goTo(this.drawn(view.part, view.at), toward, view.reach);
    else this.drawing.seeParts(view.parts ?? [], toward);
  }

  write(overlay) {
    if (!this.isShown) return;
    const { shown } = this;
    const [first, last] = [shown.parts[0], shown.parts[shown.parts.length - 1]];
    if (shown.lead) overlay.lead(this.drawn(first, shown.lead[0]), this.drawn(last, shown.lead[1]));
    if (shown.line) overlay.dimension(this.drawn(first, shown.line[0]), this.drawn(shown.lead ? first : last, shown.line[1]), shown.words);
    if (shown.box) overlay.box(CORNERS.map((ends) => this.drawn(first, ends.map((end, axis) => shown.box[end][axis]))));
    const current = shown.at ?? -1;
    shown.places.forEach((place, index) => {
      if (index !== current) overlay.place3d(this.drawn(first, place), shown.colour, false);
    });
    if (current >= 0 && shown.places[current]) {
      overlay.place3d(this.drawn(first, shown.places[current]), shown.colour, true, shown.line ? "" : shown.words);
    }
  }
}
