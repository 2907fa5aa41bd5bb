// The drawing: parts, joints, eye and sheet together. It draws when something changed and not otherwise.
import { THREE } from "nicegui-scene";
import { Eye } from "./camera.js";
import { builtWash, cssOf, machineWash, partWash, stateWash, themeOf } from "./colours.js";
import { Found } from "./found.js";
import { JointLines, drawGap, drawJoint } from "./joints.js";
import { fetchCopy, nextFrame } from "./loading.js";
import { Overlay } from "./overlay.js";
import { DrawnPart } from "./parts.js";
import { sharedUniforms } from "./shaders.js";
import { Walls } from "./walls.js";

const FRAME_MS = 12; // work on copies between two turns of the page
const LOADING_REDRAW_MS = 400; // not after every part
const PAGE_SHARE = 2; // of a drawing's time, left to the page between two drawings that follow a slider
const FOLLOW_MS = 150; // a drawing that takes longer waits until the slider rests
const REST_MS = 600; // without a move of the slider
const LARGEST_LEVEL = 3; // each level has a quarter of the triangles of the one before
const SLOW_MS = 500; // a drawing that takes longer holds the page up: ask for lighter copies
const FEW = 500; // triangles that no lighter copy is asked for
const ENOUGH_TO_TELL = 20_000; // triangles whose drawing tells how fast this screen is
const HIT_PX = 9;
const NEEDLE = 0.022; // length of a contact's needle, of the radius of the model
const ALONG = ["size", "outward", "along X", "along Y", "along Z"];

export class Drawing {
  constructor(stage, canvas, sheet, tell) {
    Object.assign(this, { stage, canvas, tell });
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.renderer.setClearColor(0x000000, 0); // the sheet shows through
    this.scene = new THREE.Scene();
    this.shared = sharedUniforms();
    this.overlay = new Overlay(sheet);
    this.jointLines = new JointLines(this.scene, this.shared);
    this.parts = new Map();
    this.marks = [];
    this.matrices = {};
    this.lit = { parts: [], joints: [] };
    this.look = { stand: "placed", colouring: "part", along: 0, exaggeration: 1, apart: 0, cut: "none", cutAt: 50, joints: true };
    this.states = [];
    this.builts = []; // how parts are drawn by their state as built
    this.siblings = () => []; // drawings that show another state from the same place
    this.onEye = null;
    this.drawnBox = new THREE.Box3();
    this.loading = null;
    this.level = 0;
    this.isTimed = false;
    this.msEach = 0; // a triangle's share of a drawing's time; 0: not known
    this.ahead = null; // the copy after the one that is being shown: {url, copy}
    this.picked = null;
    this.drawMs = 0; // from one drawing that follows a slider until the page is free again
    this.freeAt = 0;
    this.follower = null;
    this.walls = new Walls(this);
    this.found = new Found(this);
    this.eye = new Eye(canvas, () => {
      this.redraw();
      this.onEye?.();
    });
    this.watch();
  }

  watch() {
    this.sizes = new ResizeObserver(() => this.resize());
    this.sizes.observe(this.stage);
    this.themes = new MutationObserver(() => this.retheme());
    for (const element of [document.documentElement, document.body]) {
      this.themes.observe(element, { attributes: true, attributeFilter: ["class", "data-theme", "style"] });
    }
    this.scheme = window.matchMedia("(prefers-color-scheme: dark)");
    this.onScheme = () => this.retheme();
    this.scheme.addEventListener("change", this.onScheme);
    this.retheme();
    this.resize();
  }

  close() {
    this.loading?.abort();
    clearTimeout(this.follower);
    this.found.clear();
    this.sizes.disconnect();
    this.themes.disconnect();
    this.scheme.removeEventListener("change", this.onScheme);
    for (const part of this.parts.values()) part.remove(this.scene);
    this.eye.controls.dispose();
    this.renderer.dispose();
  }

  resize() {
    const { clientWidth: width, clientHeight: height } = this.stage;
    if (!width || !height) return;
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(width, height, false);
    this.overlay.resize(width, height, ratio);
    this.shared.hatch.value = 6 * ratio;
    this.eye.resize(width, height);
    this.draw();
  }

  retheme() {
    const theme = themeOf(this.stage);
    this.theme = theme;
    this.stage.style.background = cssOf(theme.paper);
    for (const name of ["paper", "ink", "less", "more"]) this.shared[name].value.copy(theme[name]);
    this.shared.isDark.value = theme.isDark;
    theme.walls.forEach((stop, index) => this.shared.walls.value[index].copy(stop));
    this.recolour();
  }

  // Parts whose copy is unchanged stay; the others are fetched one by one.
  async setParts(rows) {
    this.loading?.abort();
    const loading = new AbortController();
    this.loading = loading;
    const kept = new Map();
    rows.forEach((row, index) => {
      const old = this.parts.get(row.id);
      const part = old && old.row.url === row.url ? old : new DrawnPart(row, index, this.shared);
      Object.assign(part, { row, index });
      part.place(this.matrices[row.id]);
      kept.set(row.id, part);
    });
    for (const [id, part] of this.parts) if (kept.get(id) !== part) part.remove(this.scene);
    this.parts = kept;
    this.failed = [];
    await this.loadAll(loading.signal);
  }

  async loadAll(signal) {
    let dueAt = 0;
    let begunAt = performance.now();
    for (let part = this.nextToLoad(); part; part = this.nextToLoad()) {
      await this.load(part, signal);
      if (signal.aborted) return;
      const canTell = !this.isTimed && this.counts().shown > ENOUGH_TO_TELL;
      if (canTell || performance.now() > dueAt) {
        this.arrive();
        if (canTell) this.lighten(this.timeDrawing());
        this.draw();
        // A slow screen must leave most of the time to the page.
        dueAt = performance.now() + Math.max(LOADING_REDRAW_MS, 4 * this.msEach * this.counts().shown);
        this.tell("progress", this.counts());
      }
      // Small parts arrive several in a frame; the page has its turn after each large one.
      if (performance.now() - begunAt < FRAME_MS) continue;
      await nextFrame();
      begunAt = performance.now();
      if (signal.aborted) return;
    }
    this.arrive();
    this.walls.load();
    this.tell("shown", this.counts());
  }

  setFound(found) {
    return this.found.set(found);
  }

  // The whole of some parts; of none: of all.
  seeParts(names, toward = null) {
    const corners = names.map((name) => this.parts.get(name)).filter((part) => part?.copy).flatMap((part) => part.corners());
    if (!corners.length) return this.seeAll();
    const sphere = new THREE.Box3().setFromPoints(corners).getBoundingSphere(new THREE.Sphere());
    this.hasMoved = true;
    this.eye.goTo(sphere.center, toward, 1.05 * sphere.radius);
  }

  seeAll() {
    this.hasMoved = false;
    this.eye.fit();
  }

  nextToLoad() {
    const missing = new Set(this.failed.map((fault) => fault.part));
    const all = [...this.parts.values()].filter((part) => !missing.has(part.row.id));
    const isHeavy = (part) => part.copy && part.level < this.level && part.copy.triangles > FEW;
    return all.find(isHeavy) ?? all.find((part) => !part.copy);
  }

  // Milliseconds that a drawing takes, once everything is on the card.
  timeDrawing() {
    const pixel = new Uint8Array(4);
    const context = this.renderer.getContext();
    const finish = () => context.readPixels(0, 0, 1, 1, context.RGBA, context.UNSIGNED_BYTE, pixel);
    this.draw();
    finish();
    const start = performance.now();
    this.renderer.render(this.scene, this.eye.camera);
    finish();
    return performance.now() - start;
  }

  lighten(took) {
    const sum = (values) => values.reduce((total, value) => total + value, 0);
    const all = [...this.parts.values()];
    const drawn = sum(all.map((part) => part.copy?.triangles ?? 0));
    this.isTimed = true;
    this.drawMs = took;
    this.msEach = took / drawn;
    const expected = (level) => this.msEach * sum(all.map((part) => part.row.shown / 4 ** level));
    while (this.level < LARGEST_LEVEL && expected(this.level) > SLOW_MS) this.level += 1;
  }

  // Parts have arrived: put them in place, and in view unless the user has chosen a view already.
  arrive() {
    this.arrange();
    this.recolour();
    if (!this.hasMoved) this.eye.fit();
  }

  async load(part, signal) {
    try {
      const level = this.level;
      const url = this.addressOf(part);
      const copy = await (this.ahead?.url === url ? this.ahead.copy : fetchCopy(url, signal));
      if (signal.aborted) return;
      part.receive(copy, level, this.scene);
      this.fetchAhead(signal);
    } catch (error) {
      if (!signal.aborted) this.failed.push({ part: part.row.id, words: error.message });
    }
  }

  addressOf(part) {
    return this.level ? `${part.row.url}&level=${this.level}` : part.row.url;
  }

  // The server makes the next copy while this page draws.
  fetchAhead(signal) {
    const next = this.nextToLoad();
    this.ahead = next ? { url: this.addressOf(next), copy: fetchCopy(this.addressOf(next), signal) } : null;
    this.ahead?.copy.catch(() => {}); // told when its turn comes, or not wanted any more
  }

  counts() {
    const all = [...this.parts.values()];
    const copies = all.filter((part) => part.copy);
    const sum = (values) => values.reduce((total, value) => total + value, 0);
    return {
      parts: all.length,
      arrived: copies.length,
      shown: sum(copies.map((part) => part.copy.triangles)),
      exact: sum(all.map((part) => part.row.triangles)),
      level: this.level,
      leftOut: sum(copies.map((part) => part.copy.leftOut)),
      failed: this.failed,
    };
  }

  setPlacing(matrices, marks) {
    this.matrices = matrices;
    this.marks = marks;
    for (const [id, part] of this.parts) part.place(matrices[id]);
    this.arrange();
    this.recolour();
  }

  // Follows a slider. On a slow screen the figures come first: the page has most of the time, the drawing the rest;
  // on a very slow one it is drawn when the slider rests.
  follow(matrices, gaps) {
    this.matrices = matrices;
    for (const mark of this.marks) mark.gap = gaps[mark.id] ?? null;
    const isVerySlow = this.drawMs > FOLLOW_MS;
    if (this.follower !== null && !isVerySlow) return;
    clearTimeout(this.follower);
    const wait = isVerySlow ? REST_MS : Math.max(0, this.freeAt - performance.now());
    this.follower = setTimeout(() => {
      this.follower = null;
      const start = performance.now();
      this.setPlacing(this.matrices, this.marks);
      requestAnimationFrame(() => {
        setTimeout(() => {
          this.drawMs = performance.now() - start;
          this.freeAt = performance.now() + PAGE_SHARE * this.drawMs;
        });
      });
    }, wait);
  }

  setLook(look) {
    Object.assign(this.look, look);
    this.eye.clear.right = { deviation: 84, wall: 124 }[this.look.colouring] ?? 0;
    this.walls.load();
    this.arrange();
    if (!this.hasMoved) this.eye.fit();
    this.recolour();
  }

  highlight(lit) {
    this.lit = lit;
    this.recolour();
  }

  // As assembled, every departure is drawn as nothing.
  get factor() {
    return this.look.stand === "assembled" ? 0 : this.look.exaggeration;
  }

  // Where every part is drawn: exaggerated, apart, cut.
  arrange() {
    const copies = [...this.parts.values()].filter((part) => part.copy);
    const box = new THREE.Box3();
    for (const part of copies) box.union(part.mesh.geometry.boundingBox);
    const middle = box.isEmpty() ? new THREE.Vector3() : box.getCenter(new THREE.Vector3());
    const drawn = new THREE.Box3();
    this.eye.corners = [];
    for (const part of this.parts.values()) {
      const shift = part.middle.clone().sub(middle).multiplyScalar(this.look.apart);
      part.arrange(this.factor, part.copy ? shift : new THREE.Vector3());
      if (!part.copy) continue;
      const corners = part.corners();
      this.eye.corners.push(...corners);
      for (const corner of corners) drawn.expandByPoint(corner);
    }
    if (!drawn.isEmpty()) drawn.getBoundingSphere(this.eye.sphere);
    this.found.arrange();
    this.drawnBox = drawn.clone();
    // The same section through all that are turned together.
    for (const other of this.siblings()) if (!other.drawnBox.isEmpty()) drawn.union(other.drawnBox);
    this.cut(drawn);
    this.jointLines.rebuild(this.marks, this.parts, NEEDLE * this.eye.sphere.radius);
    this.redraw();
  }

  cut(box) {
    const axis = ["x", "y", "z"].indexOf(this.look.cut);
    this.shared.isCut.value = axis >= 0;
    if (axis < 0 || box.isEmpty()) return;
    const normal = [0, 0, 0];
    const sign = this.look.isOtherSide ? -1 : 1;
    normal[axis] = sign;
    const [low, high] = [box.min.getComponent(axis), box.max.getComponent(axis)];
    this.shared.cut.value.set(...normal, sign * (low + (high - low) * (this.look.cutAt / 100)));
  }

  recolour() {
    const isAnyLit = this.lit.parts.length + this.lit.joints.length > 0;
    const machines = [...new Set([...this.parts.values()].map((part) => part.row.machine))];
    this.machines = machines;
    this.shared.showsDeviation.value = this.look.colouring === "deviation";
    this.shared.along.value = this.look.along;
    this.jointLines.show(this.look.joints && !this.found.isShown, isAnyLit);
    for (const part of this.parts.values()) {
      const isLit = this.lit.parts.includes(part.row.id);
      const [showsWalls, isHidden] = [this.look.colouring === "wall", this.found.hides(part.row.id)];
      const fade = isAnyLit && !isLit && !this.found.isShown ? 0.72 : 0;
      part.colour(this.washOf(part, machines), fade, this.shared.isCut.value, { showsWalls, isHidden, mark: this.markOf(part) });
    }
    this.shared.isSigned.value = Boolean(this.walls.told?.reach);
    if (this.shared.showsDeviation.value) this.rescale();
    else if (this.walls.told?.reach) {
      this.shared.reach.value = this.walls.told.reach;
      this.shared.step.value = this.walls.told.step;
    }
    this.redraw();
  }

  builtOf(part) {
    return this.builts.find((state) => state.id === part.row.built);
  }

  markOf(part) {
    return this.look.colouring === "built" ? (this.builtOf(part)?.hatch ?? 0) : 0;
  }

  washOf(part, machines) {
    if (this.look.colouring === "wall") return this.theme.paper;
    if (this.look.colouring === "machine") return machineWash(this.theme, machines.indexOf(part.row.machine));
    if (this.look.colouring === "built") {
      const colour = this.builtOf(part)?.colour;
      return colour ? builtWash(this.theme, colour) : this.theme.paper;
    }
    if (this.look.colouring === "state") {
      return stateWash(this.theme, this.states.find((state) => state.id === part.row.state).colour);
    }
    return partWash(this.theme, part.index);
  }

  // Isolines at 1, 2 or 5 times a power of ten, about six of them.
  rescale() {
    const copies = [...this.parts.values()].filter((part) => part.copy);
    const largest = Math.max(0, ...copies.map((part) => part.largestDeparture(this.look.along)));
    const rough = (largest || 1) / 6;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = power * [1, 2, 5, 10].find((factor) => factor * power >= rough * 0.999);
    this.shared.step.value = step;
    this.shared.reach.value = step * Math.max(1, Math.ceil(largest / step - 1e-6));
  }

  redraw() {
    if (this.isDue) return;
    this.isDue = true;
    requestAnimationFrame(() => {
      this.isDue = false;
      this.draw();
    });
  }

  draw() {
    if (!this.overlay.width || !this.theme) return;
    this.eye.prepare();
    this.renderer.render(this.scene, this.eye.camera);
    this.write();
  }

  write() {
    const { overlay, look } = this;
    overlay.begin(this.theme, this.eye.camera);
    this.legend();
    overlay.keepFootClear();
    const isShown = (mark) => (look.joints && !this.found.isShown) || this.lit.joints.includes(mark.id);
    for (const mark of this.marks.filter(isShown)) {
      const isLit = this.lit.joints.includes(mark.id) || this.picked?.joint === mark.id;
      drawJoint(overlay, mark, this.parts, isLit, NEEDLE * this.eye.sphere.radius);
    }
    for (const mark of this.marks) {
      if (!mark.gap || !isShown(mark) || !this.haveArrived(mark.parts)) continue;
      drawGap(overlay, mark, this.parts, this.lit.joints.includes(mark.id), look.apart > 0);
    }
    this.found.write(overlay);
    overlay.foot(this.footWords());
    if (this.picked?.at) overlay.cross(this.pickedPlace(), this.picked.words);
  }

  // The ground has no copy to wait for.
  haveArrived(names) {
    return names.every((name) => !this.parts.has(name) || this.parts.get(name).copy);
  }

  footWords() {
    const { factor } = this;
    const exaggerated = factor === 1 ? "as placed, departures as they are, 1x" : `as placed, departures drawn ${factor}x`;
    const still = this.look.alone ? "as modelled" : "as assembled, without departures";
    const words = [factor === 0 ? still : exaggerated];
    if (this.look.apart > 0) words.push("parts drawn apart");
    const { unwritten } = this.overlay;
    if (unwritten) words.push(`${unwritten} ${unwritten === 1 ? "gap" : "gaps"} without a value here: come nearer`);
    if (this.shared.isCut.value) words.push(`cut across ${this.look.cut.toUpperCase()}`);
    return words;
  }

  legend() {
    const { colouring, along } = this.look;
    if (colouring === "deviation") {
      const { reach, step } = this.shared;
      const { paper, less, more } = this.theme;
      const scale = (value) => {
        const part = value / reach.value;
        return cssOf(paper.clone().lerp(part < 0 ? less : more, Math.abs(part)));
      };
      this.overlay.ruler(scale, reach.value, step.value, along > 0, `${ALONG[along]}, mm`);
    } else if (colouring === "wall" && this.walls.told?.reach) {
      const { paper, less, more } = this.theme;
      const { reach, step, title } = this.walls.told;
      const scale = (value) => cssOf(paper.clone().lerp(value < 0 ? less : more, Math.abs(value / reach)));
      this.overlay.ruler(scale, reach, step, true, title);
    } else if (colouring === "wall" && this.walls.told) {
      this.overlay.wallRuler((value) => this.walls.colour(value), this.walls.told);
    } else if (colouring === "machine") {
      this.overlay.key(this.machines.map((id, index) => ({ words: id, wash: machineWash(this.theme, index) })));
    } else if (colouring === "built") {
      const used = new Set([...this.parts.values()].map((part) => part.row.built));
      const entries = this.builts.filter((state) => used.has(state.id));
      const wash = (state) => (state.colour ? builtWash(this.theme, state.colour) : this.theme.paper);
      this.overlay.key(entries.map((s) => ({ words: `${s.shape} ${s.id}`, wash: wash(s), mark: s.hatch })));
    } else if (colouring === "state") {
      const used = new Set([...this.parts.values()].map((part) => part.row.state));
      const entries = this.states.filter((state) => used.has(state.id));
      this.overlay.key(entries.map((s) => ({ words: `${s.shape} ${s.id}`, wash: stateWash(this.theme, s.colour) })));
    }
  }

  // What lies under a point of the stage [px]: a joint's marks first, since they are drawn on top.
  pick(x, y) {
    const joint = this.jointAt(x, y);
    const hit = this.partAt(x, y);
    if (joint && !(hit && joint.depth > hit.depth + 2e-3 && !joint.label)) {
      this.picked = { part: null, joint: joint.joint };
      this.tell("picked", { part: null, joint: joint.joint, model: null, placed: null });
    } else if (hit) {
      this.pickPoint(hit);
    } else {
      this.picked = null;
      this.tell("picked", { part: null, joint: null, model: null, placed: null });
    }
    this.redraw();
  }

  pickPoint(hit) {
    const part = hit.object.part;
    const model = hit.point.clone().applyMatrix4(part.drawn.clone().invert());
    const placed = model.clone().add(part.departureOf(model));
    const words = `${part.row.id}  ${model.toArray().map((value) => value.toFixed(1)).join(", ")} mm`;
    this.picked = { part: part.row.id, joint: null, at: model, words };
    this.tell("picked", { part: part.row.id, joint: null, model: model.toArray(), placed: placed.toArray() });
  }

  pickedPlace() {
    const part = this.parts.get(this.picked.part);
    return part ? this.picked.at.clone().applyMatrix4(part.drawn) : this.picked.at;
  }

  jointAt(x, y) {
    const inside = ({ label }) =>
      label && x >= label.x && x <= label.x + label.width && y >= label.y && y <= label.y + label.height;
    const near = this.overlay.targets
      .map((target) => ({ ...target, away: inside(target) ? 0 : Math.hypot(target.x - x, target.y - y) }))
      .filter((target) => target.away <= HIT_PX);
    return near.sort((a, b) => a.away - b.away)[0] ?? null;
  }

  partAt(x, y) {
    const { width, height } = this.overlay;
    const at = new THREE.Vector2((2 * x) / width - 1, 1 - (2 * y) / height);
    const ray = new THREE.Raycaster();
    this.scene.updateMatrixWorld();
    // The eye may have moved since the last drawing.
    this.eye.prepare();
    this.eye.camera.updateMatrixWorld();
    ray.setFromCamera(at, this.eye.camera);
    const meshes = [...this.parts.values()].filter((part) => part.copy && !this.found.hides(part.row.id)).map((part) => part.mesh);
    const { isCut, cut } = this.shared;
    const normal = new THREE.Vector3(cut.value.x, cut.value.y, cut.value.z);
    const seen = ray.intersectObjects(meshes, false).find((hit) => !isCut.value || hit.point.dot(normal) <= cut.value.w);
    if (!seen) return null;
    return { ...seen, depth: seen.point.clone().project(this.eye.camera).z };
  }

  // The drawing with everything written on it, as a PNG address.
  picture() {
    this.draw(); // the drawing buffer lasts only until the next frame
    const { width, height } = this.overlay.canvas;
    const sheet = document.createElement("canvas");
    Object.assign(sheet, { width, height });
    const pen = sheet.getContext("2d");
    pen.fillStyle = cssOf(this.theme.paper);
    pen.fillRect(0, 0, width, height);
    pen.drawImage(this.canvas, 0, 0, width, height);
    pen.drawImage(this.overlay.canvas, 0, 0);
    return sheet.toDataURL("image/png");
  }
}
