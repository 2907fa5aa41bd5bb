// The eye: parallel or in perspective, named views, keys.
import { THREE, OrbitControls } from "nicegui-scene";

const FIELD_DEG = 28; // a long lens: a drawing has little perspective
const DIRECTIONS = {
  front: [0, -1, 0],
  side: [1, 0, 0],
  top: [0, -1e-4, 1],
  corner: [0.62, -0.86, 0.56],
};
const MARGIN = 1.08;
const TURN = Math.PI / 24;

const MOVE_MS = 420;
const STEEPEST = (78 * Math.PI) / 180; // looked at from straight above, up would have no meaning

function levelled(way) {
  const unit = way.normalize();
  const height = Math.min(STEEPEST, Math.max(-STEEPEST, Math.asin(Math.min(1, Math.max(-1, unit.z)))));
  const round = Math.hypot(unit.x, unit.y) > 1e-6 ? Math.atan2(unit.y, unit.x) : -Math.PI / 3;
  return new THREE.Vector3(Math.cos(height) * Math.cos(round), Math.cos(height) * Math.sin(round), Math.sin(height));
}

export class Eye {
  constructor(element, changed) {
    this.sphere = new THREE.Sphere(new THREE.Vector3(), 1);
    this.corners = []; // of the boxes round the parts, as drawn
    this.clear = { right: 0, bottom: 34 }; // px of the sheet that are kept for words when the model is framed
    this.isParallel = false;
    this.perspective = new THREE.PerspectiveCamera(FIELD_DEG, 1, 1, 1e5);
    this.parallel = new THREE.OrthographicCamera(-1, 1, 1, -1, -1e5, 1e5);
    for (const camera of [this.perspective, this.parallel]) camera.up.set(0, 0, 1);
    this.perspective.position.set(...DIRECTIONS.corner);
    this.controls = new OrbitControls(this.perspective, element);
    this.controls.enableDamping = false;
    this.controls.addEventListener("change", changed);
    this.changed = changed;
  }

  get camera() {
    return this.isParallel ? this.parallel : this.perspective;
  }

  get distance() {
    return this.camera.position.distanceTo(this.controls.target);
  }

  resize(width, height) {
    Object.assign(this, { width, height, aspect: width / height });
    this.perspective.aspect = this.aspect;
    this.prepare();
  }

  // Near and far hug the model, so that edges lie cleanly on their faces.
  prepare() {
    const toMiddle = this.camera.position.distanceTo(this.sphere.center);
    const radius = 1.05 * this.sphere.radius;
    this.perspective.far = toMiddle + radius;
    this.perspective.near = Math.max(toMiddle - radius, this.perspective.far / 2000);
    const half = this.halfHeight();
    Object.assign(this.parallel, { left: -half * this.aspect, right: half * this.aspect, top: half, bottom: -half });
    this.parallel.near = toMiddle - radius;
    this.parallel.far = toMiddle + radius;
    this.perspective.updateProjectionMatrix();
    this.parallel.updateProjectionMatrix();
  }

  halfHeight() {
    return this.distance * Math.tan((FIELD_DEG * Math.PI) / 360);
  }

  setParallel(isParallel) {
    if (isParallel === this.isParallel) return;
    const [from, to] = isParallel ? [this.perspective, this.parallel] : [this.parallel, this.perspective];
    const offset = from.position.clone().sub(this.controls.target);
    // The parallel camera zooms instead of coming nearer: hand the one on as the other.
    if (!isParallel) offset.divideScalar(this.parallel.zoom);
    to.position.copy(this.controls.target).add(offset);
    this.parallel.zoom = 1;
    this.isParallel = isParallel;
    this.controls.object = to;
    this.controls.update();
    this.changed();
  }

  look(name) {
    const direction = new THREE.Vector3(...DIRECTIONS[name]).normalize();
    this.fit(direction);
  }

  fit(direction = null) {
    const toward = direction ?? this.camera.position.clone().sub(this.controls.target).normalize();
    const { target, distance } = this.frame(toward);
    this.controls.target.copy(target);
    this.camera.position.copy(target).addScaledVector(toward, distance);
    this.parallel.zoom = 1;
    this.controls.update();
    this.changed();
  }

  // Where it stands, so that another may stand there too.
  get stance() {
    const { zoom } = this.parallel;
    return { isParallel: this.isParallel, target: this.controls.target.toArray(), position: this.camera.position.toArray(), zoom };
  }

  standLike({ isParallel, target, position, zoom }) {
    this.stay();
    this.setParallel(isParallel);
    this.controls.target.fromArray(target);
    this.camera.position.fromArray(position);
    this.parallel.zoom = zoom;
    this.controls.update();
    this.changed();
  }

  // Where to look and from how far, so that every corner is seen with a margin.
  frame(toward) {
    const across = new THREE.Vector3(0, 0, 1).cross(toward).normalize();
    const upward = toward.clone().cross(across);
    const target = this.sphere.center.clone();
    for (const axis of [across, upward]) {
      const seen = this.corners.map((corner) => corner.dot(axis) - this.sphere.center.dot(axis));
      if (seen.length) target.addScaledVector(axis, (Math.min(...seen) + Math.max(...seen)) / 2);
    }
    const slope = Math.tan((FIELD_DEG * Math.PI) / 360);
    const { width = 1, height = 1, clear } = this;
    const free = { x: Math.max(0.5, 1 - clear.right / width), y: Math.max(0.5, 1 - clear.bottom / height) };
    const needed = this.corners.map((corner) => {
      const arm = corner.clone().sub(target);
      const [x, y] = [Math.abs(arm.dot(across)) / (this.aspect || 1), Math.abs(arm.dot(upward))];
      return arm.dot(toward) + (MARGIN * Math.max(x / free.x, y / free.y)) / slope;
    });
    const distance = Math.max(this.sphere.radius * 0.1, ...needed);
    // To the middle of what is left free.
    target.addScaledVector(across, (1 - free.x) * distance * slope * (this.aspect || 1));
    target.addScaledVector(upward, -(1 - free.y) * distance * slope);
    return { target, distance };
  }

  // Bring a place into view; on the way the eye keeps it in the middle, unless motion is not wanted.
  goTo(place, toward, reach) {
    const start = { target: this.controls.target.clone(), offset: this.camera.position.clone().sub(this.controls.target) };
    if (this.isParallel) start.offset.divideScalar(this.parallel.zoom);
    this.parallel.zoom = 1;
    const offset = levelled(toward ?? start.offset.clone()).multiplyScalar(reach / Math.sin((FIELD_DEG * Math.PI) / 360));
    const end = { target: place.clone(), offset };
    const isStill = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    cancelAnimationFrame(this.moving);
    if (isStill) return this.stand(start, end, 1);
    const began = performance.now();
    const step = () => {
      const share = Math.min(1, (performance.now() - began) / MOVE_MS);
      this.stand(start, end, share * share * (3 - 2 * share));
      if (share < 1) this.moving = requestAnimationFrame(step);
    };
    this.moving = requestAnimationFrame(step);
  }

  // Whoever takes the eye in hand stops its own way.
  stay() {
    cancelAnimationFrame(this.moving);
  }

  stand(start, end, share) {
    this.controls.target.lerpVectors(start.target, end.target, share);
    const length = start.offset.length() ** (1 - share) * end.offset.length() ** share;
    const way = start.offset.clone().normalize().lerp(end.offset.clone().normalize(), share);
    if (way.length() < 0.1) way.set(0.62, -0.86, 0.56);
    this.camera.position.copy(this.controls.target).addScaledVector(way.normalize(), length);
    this.controls.update();
    this.changed();
  }

  orbit(right, up) {
    const offset = this.camera.position.clone().sub(this.controls.target);
    const height = Math.asin(Math.min(1, Math.max(-1, offset.z / offset.length())));
    const lifted = Math.min(Math.PI / 2 - 1e-4, Math.max(-Math.PI / 2 + 1e-4, height + up * TURN));
    const round = Math.atan2(offset.y, offset.x) + right * TURN;
    const length = offset.length();
    offset.set(Math.cos(lifted) * Math.cos(round), Math.cos(lifted) * Math.sin(round), Math.sin(lifted));
    this.camera.position.copy(this.controls.target).addScaledVector(offset, length);
    this.controls.update();
    this.changed();
  }

  approach(factor) {
    if (this.isParallel) this.parallel.zoom *= factor;
    else this.camera.position.sub(this.controls.target).divideScalar(factor).add(this.controls.target);
    this.controls.update();
    this.changed();
  }

  // Returns whether the key meant something.
  press(key) {
    const turns = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    const views = { 1: "front", 2: "side", 3: "top", 4: "corner" };
    if (key in turns) this.orbit(...turns[key]);
    else if (key in views) this.look(views[key]);
    else if (key === "+" || key === "=") this.approach(1.2);
    else if (key === "-") this.approach(1 / 1.2);
    else if (key === "Home") this.fit();
    else return false;
    return true;
  }
}
