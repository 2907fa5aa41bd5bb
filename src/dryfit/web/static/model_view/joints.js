// Joints on the drawing: the common face, the contacts, the gap that closes or does not.
import { THREE } from "nicegui-scene";
import { cssOf } from "./colours.js";
import { edgeMaterial } from "./shaders.js";

const vector = (values) => new THREE.Vector3(values[0], values[1], values[2]);
const drawnOf = (part) => (part ? part.drawn : new THREE.Matrix4()); // the ground stays

function moved(part, points) {
  return points.map((point) => vector(point).applyMatrix4(drawnOf(part)));
}

function needlesOf(mark, part, length) {
  const from = moved(part, mark.points);
  return from.map((point, index) => {
    const direction = vector(mark.directions[index]).transformDirection(drawnOf(part));
    return [point, point.clone().addScaledVector(direction, length)];
  });
}

// All joints as hairlines among the parts, hidden where a part is in front of them.
export class JointLines {
  constructor(scene, shared) {
    const make = (ink) => {
      const lines = new THREE.LineSegments(new THREE.BufferGeometry(), edgeMaterial(shared, ink));
      lines.frustumCulled = false;
      scene.add(lines);
      return lines;
    };
    this.ordinary = make(shared.ink);
    this.closing = make(shared.more);
  }

  rebuild(marks, parts, needle) {
    const ends = { ordinary: [], closing: [] };
    for (const mark of marks) {
      const [first, second] = mark.parts.map((name) => parts.get(name));
      if (![first, second].some((part) => part?.copy)) continue;
      const into = mark.closing ? ends.closing : ends.ordinary;
      mark.outlines.forEach((outline, side) => {
        const points = moved([first, second][side], outline);
        points.forEach((point, index) => into.push(point, points[(index + 1) % points.length]));
      });
      for (const [from, to] of needlesOf(mark, first, needle)) into.push(from, to);
    }
    for (const name of ["ordinary", "closing"]) {
      this[name].geometry.dispose();
      this[name].geometry = new THREE.BufferGeometry().setFromPoints(ends[name]);
    }
  }

  show(isVisible, isFaded) {
    this.ordinary.visible = this.closing.visible = isVisible;
    this.ordinary.material.uniforms.strength.value = isFaded ? 0.15 : 0.45;
    this.closing.material.uniforms.strength.value = isFaded ? 0.25 : 1;
  }
}

// What a pointer can hit of a joint; a lit joint is also drawn over everything.
export function drawJoint(overlay, mark, parts, isLit, needle) {
  const [first, second] = mark.parts.map((name) => parts.get(name));
  for (const [from, to] of needlesOf(mark, first, needle)) overlay.contact(from, to, mark.id, isLit);
  if (!isLit) return;
  const colour = mark.closing ? cssOf(overlay.theme.more) : overlay.ink;
  overlay.outline(moved(first, mark.outlines[0]), 2, colour);
  overlay.outline(moved(second, mark.outlines[1]), 2, colour);
}

// isApart: the parts are drawn apart, so the line only tells which faces the value belongs to.
export function drawGap(overlay, mark, parts, isLit, isApart) {
  const [first, second] = mark.parts.map((name) => parts.get(name));
  const [from] = moved(first, [mark.gap.from]);
  const [to] = moved(second, [mark.gap.to]);
  overlay.gap(from, to, mark.gap.words, mark.id, isLit, isApart);
}
