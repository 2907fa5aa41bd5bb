// Walls coloured by their thickness: finer surfaces that are fetched only when they are looked at.
import { THREE } from "nicegui-scene";
import { cssOf } from "./colours.js";
import { nextFrame } from "./loading.js";

export async function fetchFloats(url, signal) {
  const answer = await fetch(url, { signal, credentials: "same-origin" });
  if (!answer.ok) throw new Error((await answer.text()) || `the server answered ${answer.status}`);
  return new Float32Array(await answer.arrayBuffer());
}

// Corners in threes, each with the thickness there.
async function fetchSurface(url) {
  const values = new THREE.InterleavedBuffer(await fetchFloats(url), 4);
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.InterleavedBufferAttribute(values, 3, 0));
  geometry.setAttribute("wall", new THREE.InterleavedBufferAttribute(values, 1, 3));
  return geometry;
}

// told: {urls, low, high, ticks, marks}, or null where no wall is measured.
export class Walls {
  constructor(drawing) {
    this.drawing = drawing;
    this.told = null;
    this.isLoading = false;
    this.failed = new Set(); // addresses
  }

  set(told) {
    this.told = told;
    if (told) this.drawing.shared.wallRange.value.set(told.low, told.high);
    this.load();
    this.drawing.recolour();
  }

  get isWanted() {
    return this.told !== null && this.drawing.look.colouring === "wall";
  }

  urlOf(part) {
    return this.told.urls[part.row.id] ?? null;
  }

  // What is brought out comes first.
  get waiting() {
    if (!this.isWanted) return [];
    const isDue = (part) => part.copy && this.urlOf(part) !== part.wallsUrl && !this.failed.has(this.urlOf(part));
    const { parts } = this.drawing.lit;
    return [...this.drawing.parts.values()].filter(isDue).sort((a, b) => parts.includes(b.row.id) - parts.includes(a.row.id));
  }

  async load() {
    if (this.isLoading) return;
    this.isLoading = true;
    let [part] = this.waiting;
    for (; part; [part] = this.waiting) {
      await this.loadOne(part, this.urlOf(part));
      this.drawing.arrange();
      this.drawing.recolour();
      const left = this.waiting.length;
      this.drawing.tell("trouble", left ? `wall thickness: ${left} parts still to come` : "");
      await nextFrame();
    }
    this.isLoading = false;
  }

  async loadOne(part, url) {
    const { scene } = this.drawing;
    if (url === null) return part.removeWalls(scene);
    try {
      part.receiveWalls(await fetchSurface(url), url, scene);
    } catch (error) {
      this.failed.add(url);
      this.drawing.tell("trouble", `${part.row.id}: its walls are not shown: ${error.message}`);
    }
  }

  colour(value) {
    const { low, high } = this.told;
    const stops = this.drawing.theme.walls;
    const share = Math.min(1, Math.max(0, Math.log(value / low) / Math.log(high / low))) * (stops.length - 1);
    const index = Math.min(stops.length - 2, Math.floor(share));
    return cssOf(stops[index].clone().lerp(stops[index + 1], share - index));
  }
}
