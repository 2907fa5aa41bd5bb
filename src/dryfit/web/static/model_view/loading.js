// Fetches the copies one after another, so that the page stays free between them.
import { THREE } from "nicegui-scene";

const HEADER_BYTES = 28;
const MAGIC = 0x31564644; // "DFV1", little-endian

export function nextFrame() {
  // A hidden page has no frames: do not wait for one for ever.
  return new Promise((resolve) => {
    const timer = setTimeout(resolve, 100);
    requestAnimationFrame(() => {
      clearTimeout(timer);
      resolve();
    });
  });
}

// Blocks are views of the received bytes: nothing is copied.
export function parseCopy(buffer) {
  const head = new DataView(buffer, 0, HEADER_BYTES);
  if (head.getUint32(0, true) !== MAGIC) throw new Error("what arrived is not a view copy");
  const [vertices, triangles, edges, exact, leftOut, closed] = [4, 8, 12, 16, 20, 24].map((at) => head.getUint32(at, true));
  const expected = HEADER_BYTES + 12 * vertices + 12 * triangles + 24 * edges;
  if (buffer.byteLength !== expected) throw new Error(`${buffer.byteLength} bytes arrived, ${expected} were announced`);
  let at = HEADER_BYTES;
  const positions = new Float32Array(buffer, at, 3 * vertices);
  at += 12 * vertices;
  const indices = new Uint32Array(buffer, at, 3 * triangles);
  at += 12 * triangles;
  return { positions, indices, edges: new Float32Array(buffer, at, 6 * edges), triangles, exact, leftOut, isClosed: closed === 1 };
}

export async function fetchCopy(url, signal) {
  const answer = await fetch(url, { signal, credentials: "same-origin" });
  if (!answer.ok) throw new Error((await answer.text()) || `the server answered ${answer.status}`);
  return parseCopy(await answer.arrayBuffer());
}

export function geometriesOf(copy) {
  const faces = new THREE.BufferGeometry();
  faces.setAttribute("position", new THREE.BufferAttribute(copy.positions, 3));
  faces.setIndex(new THREE.BufferAttribute(copy.indices, 1));
  faces.computeBoundingBox();
  faces.computeBoundingSphere();
  const edges = new THREE.BufferGeometry();
  edges.setAttribute("position", new THREE.BufferAttribute(copy.edges, 3));
  return { faces, edges };
}
