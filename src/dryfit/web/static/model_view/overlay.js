// What is written over the drawing: gaps as dimension lines, contacts as needles, the ruler, the key.
// A canvas of its own, so that a picture holds the same strokes.
import { THREE } from "nicegui-scene";
import { cssOf } from "./colours.js";

const FONT = "12px system-ui, sans-serif";
const TICK_PX = 5;
const FLAG_TRIES = 4; // places that are tried for words before they are left out

export class Overlay {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d");
    this.targets = []; // what a pointer can hit: {x, y, joint}
  }

  resize(width, height, ratio) {
    Object.assign(this, { width, height, ratio });
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
  }

  begin(theme, camera) {
    this.theme = theme;
    this.ink = cssOf(theme.ink);
    this.paper = cssOf(theme.paper);
    this.camera = camera;
    this.targets = [];
    this.taken = [];
    this.unwritten = 0; // gaps whose value found no room
    this.pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    this.pen.clearRect(0, 0, this.width, this.height);
    this.pen.font = FONT;
    this.pen.textBaseline = "middle";
    this.pen.lineCap = "round";
  }

  // Place on the sheet of a point of the world; null behind the eye.
  place(point) {
    const at = point.clone().project(this.camera);
    if (at.z < -1 || at.z > 1) return null;
    return { x: (0.5 + 0.5 * at.x) * this.width, y: (0.5 - 0.5 * at.y) * this.height, depth: at.z };
  }

  line(a, b, width = 1, colour = this.ink) {
    this.pen.strokeStyle = colour;
    this.pen.lineWidth = width;
    this.pen.beginPath();
    this.pen.moveTo(a.x, a.y);
    this.pen.lineTo(b.x, b.y);
    this.pen.stroke();
  }

  outline(points, width, colour) {
    const places = points.map((point) => this.place(point));
    if (places.some((place) => place === null)) return;
    places.forEach((place, index) => this.line(place, places[(index + 1) % places.length], width, colour));
  }

  // A contact: a short needle along its direction, a dot where it touches; drawn only where it is lit.
  contact(from, to, joint, isLit) {
    const [a, b] = [this.place(from), this.place(to)];
    if (!a || !b) return;
    this.targets.push({ ...a, joint });
    if (!isLit) return;
    this.line(a, b, 1.6);
    this.pen.fillStyle = this.ink;
    this.pen.beginPath();
    this.pen.arc(a.x, a.y, 2.4, 0, 2 * Math.PI);
    this.pen.fill();
  }

  // A gap: a dimension line between its two faces that carries the value.
  gap(from, to, words, joint, isLit, isApart = false) {
    const [a, b] = [this.place(from), this.place(to)];
    if (!a || !b) return;
    const colour = cssOf(this.theme.more);
    const length = Math.hypot(b.x - a.x, b.y - a.y);
    this.pen.setLineDash(isApart ? [2, 4] : []);
    this.line(a, b, isApart ? 1.2 : isLit ? 4 : 3, colour);
    this.pen.setLineDash([]);
    if (length > 1 && !isApart) {
      const across = { x: (-(b.y - a.y) / length) * TICK_PX, y: ((b.x - a.x) / length) * TICK_PX };
      for (const end of [a, b]) {
        this.line({ x: end.x - across.x, y: end.y - across.y }, { x: end.x + across.x, y: end.y + across.y }, 1.2, colour);
      }
    }
    const middle = { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, depth: Math.min(a.depth, b.depth) };
    const label = this.flag(words, middle, isLit);
    this.targets.push({ ...middle, joint, label });
  }

  // Words on a patch of paper with a leader to their place; kept clear of words already there.
  flag(words, at, isBold = false) {
    this.pen.font = isBold ? `600 ${FONT}` : FONT;
    const [width, height] = [this.pen.measureText(words).width + 10, 19];
    const toRight = at.x < this.width / 2 ? -1 : 1;
    const box = { x: at.x + (toRight > 0 ? 26 : -26 - width), y: at.y - 32, width, height };
    box.x = Math.min(this.width - width - 4, Math.max(4, box.x));
    box.y = Math.min(this.height - height - 4, Math.max(4, box.y));
    const meets = (other) =>
      box.x < other.x + other.width && other.x < box.x + box.width && box.y < other.y + other.height && other.y < box.y + box.height;
    const isFree = () => box.y >= 2 && box.y + height <= this.height && !this.taken.some(meets);
    const start = box.y;
    for (let tries = 1; tries <= 2 * FLAG_TRIES && !isFree(); tries += 1) {
      const rows = tries <= FLAG_TRIES ? tries : FLAG_TRIES - tries; // below its place, then above it
      box.y = start + rows * (height + 3);
    }
    if (!isFree() && isBold) box.y = start;
    else if (!isFree()) {
      this.unwritten += 1;
      return null;
    }
    this.taken.push(box);
    const near = { x: Math.min(box.x + width, Math.max(box.x, at.x)), y: box.y + height / 2 };
    this.line(at, near, 0.8);
    this.pen.fillStyle = this.paper;
    this.pen.fillRect(box.x, box.y, width, height);
    this.pen.strokeStyle = this.ink;
    this.pen.lineWidth = isBold ? 1.4 : 0.8;
    this.pen.strokeRect(box.x + 0.5, box.y + 0.5, width - 1, height - 1);
    this.pen.fillStyle = this.ink;
    this.pen.fillText(words, box.x + 5, box.y + height / 2 + 0.5);
    this.pen.font = FONT;
    return box;
  }

  // A dimension line in the model that carries its value (ISO 129-1: oblique strokes at its ends).
  dimension(from, to, words) {
    const [a, b] = [this.place(from), this.place(to)];
    if (!a || !b) return;
    const length = Math.hypot(b.x - a.x, b.y - a.y) || 1;
    const along = { x: (b.x - a.x) / length, y: (b.y - a.y) / length };
    this.line(a, b, 5, this.paper);
    this.line(a, b, 2);
    for (const end of [a, b]) {
      const stroke = { x: (along.x - along.y) * TICK_PX, y: (along.y + along.x) * TICK_PX };
      this.line({ x: end.x - stroke.x, y: end.y - stroke.y }, { x: end.x + stroke.x, y: end.y + stroke.y }, 2);
    }
    const middle = { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
    this.flag(words, middle, true);
  }

  // The twelve edges of a box, through whatever is before it; corners that differ in one bit share an edge.
  box(corners) {
    const at = corners.map((corner) => this.place(corner));
    for (const [width, tone] of [[3, this.paper], [1.1, this.ink]]) {
      for (const bit of [1, 2, 4]) {
        at.forEach((from, corner) => {
          const to = at[corner | bit];
          if (!(corner & bit) && from && to) this.line(from, to, width, tone);
        });
      }
    }
  }

  lead(from, to) {
    const [a, b] = [this.place(from), this.place(to)];
    if (!a || !b) return;
    this.pen.setLineDash([7, 3]);
    this.line(a, b, 1);
    this.pen.setLineDash([]);
  }

  // A place: a ring in the colour of its state with ink round it; the one that is looked at larger, with words.
  place3d(point, colour, isCurrent, words = "") {
    const at = this.place(point);
    if (!at) return;
    const radius = isCurrent ? 11 : 4.5;
    for (const [width, tone] of [[isCurrent ? 5.5 : 4, this.ink], [isCurrent ? 3 : 2, colour]]) {
      this.pen.beginPath();
      this.pen.arc(at.x, at.y, radius, 0, 2 * Math.PI);
      this.pen.lineWidth = width;
      this.pen.strokeStyle = tone;
      this.pen.stroke();
    }
    if (!isCurrent) return;
    for (const [x, y] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      this.line({ x: at.x + 14 * x, y: at.y + 14 * y }, { x: at.x + 21 * x, y: at.y + 21 * y }, 1.6);
    }
    if (words) this.flag(words, { x: at.x, y: at.y - 8 }, true);
  }

  // The scale of wall thickness as a ruler at the right: equal ratios equally far apart, limits on its left.
  wallRuler(colour, walls) {
    const height = Math.min(300, this.height - 120);
    const [x, top, width] = [this.width - 56, (this.height - height) / 2, 14];
    const share = (value) => Math.log(value / walls.low) / Math.log(walls.high / walls.low);
    const at = (value) => top + height * (1 - Math.min(1, Math.max(0, share(value))));
    const wide = Math.max(0, ...walls.marks.map((mark) => this.pen.measureText(mark.words).width));
    this.patch({ x: x - wide - 26, y: top - 38, width: wide + 82, height: height + 76 });
    for (let row = 0; row < height; row += 1) {
      this.pen.fillStyle = colour(walls.low * (walls.high / walls.low) ** ((height - row - 0.5) / height));
      this.pen.fillRect(x, top + row, width, 1.5);
    }
    this.pen.strokeStyle = this.ink;
    this.pen.lineWidth = 1;
    this.pen.strokeRect(x - 0.5, top - 0.5, width + 1, height + 1);
    this.pen.fillStyle = this.ink;
    for (const tick of walls.ticks) {
      this.line({ x: x + width, y: at(tick.value) }, { x: x + width + 6, y: at(tick.value) });
      this.pen.fillText(tick.words, x + width + 9, at(tick.value));
    }
    this.pen.textAlign = "right";
    let lowest = Infinity; // from thin to thick, so upward: words that would meet are moved apart
    for (const mark of walls.marks) {
      const y = Math.min(at(mark.value), lowest - 14);
      lowest = y;
      this.line({ x: x - 7, y: at(mark.value) }, { x: x + width, y: at(mark.value) }, 2);
      this.line({ x: x - 12, y }, { x: x - 7, y: at(mark.value) }, 1);
      this.pen.fillText(mark.words, x - 15, y);
    }
    this.pen.fillText("wall, mm", this.width - 8, top - 22);
    this.pen.textAlign = "left";
    this.pen.strokeRect(x - 0.5, top + height + 13.5, width + 1, 12);
    for (let step = 0; step < 4; step += 1) this.line({ x: x + 4 * step, y: top + height + 25 }, { x: x + 4 * step + 3, y: top + height + 14 }, 0.7);
    this.pen.fillText("none", x + width + 9, top + height + 20);
  }

  cross(point, words) {
    const at = this.place(point);
    if (!at) return;
    for (const [x, y] of [[7, 0], [0, 7]]) this.line({ x: at.x - x, y: at.y - y }, { x: at.x + x, y: at.y + y }, 1.4);
    this.flag(words, at, true);
  }

  // The scale of deviations, as a ruler at the right.
  ruler(scale, reach, step, isSigned, title) {
    const height = Math.min(300, this.height - 120);
    const [x, top, width] = [this.width - 74, (this.height - height) / 2, 14];
    const low = isSigned ? -reach : 0;
    const at = (value) => top + height * (1 - (value - low) / (reach - low));
    this.patch({ x: x - 14, y: top - 36, width: 86, height: height + 52 });
    for (let row = 0; row < height; row += 1) {
      this.pen.fillStyle = scale(low + ((reach - low) * (height - row - 0.5)) / height);
      this.pen.fillRect(x, top + row, width, 1.5);
    }
    this.pen.strokeStyle = this.ink;
    this.pen.lineWidth = 1;
    this.pen.strokeRect(x - 0.5, top - 0.5, width + 1, height + 1);
    this.pen.fillStyle = this.ink;
    const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    for (let index = Math.round(low / step); index <= Math.round(reach / step); index += 1) {
      const y = at(index * step);
      this.line({ x: x + width, y }, { x: x + width + (index % 2 ? 4 : 8), y });
      if (index % 2 === 0) this.pen.fillText((index * step).toFixed(decimals), x + width + 11, y);
    }
    this.pen.textAlign = "right";
    this.pen.fillText(title, this.width - 8, top - 22);
    this.pen.textAlign = "left";
  }

  // Paper under something written, that flags keep clear of.
  patch(box) {
    this.taken.push(box);
    this.pen.fillStyle = this.paper;
    this.pen.globalAlpha = 0.86;
    this.pen.fillRect(box.x, box.y, box.width, box.height);
    this.pen.globalAlpha = 1;
  }

  // The words at the foot come last, since they tell what found no room; their place is kept until then.
  keepFootClear() {
    this.taken.push({ x: 0, y: this.height - 78, width: 72, height: 78 });
    this.taken.push({ x: 70, y: this.height - 30, width: 270, height: 30 });
  }

  // The key of washes at the right: what a colour stands for, by its name and, for states, its shape.
  key(entries) {
    const widest = Math.max(...entries.map((entry) => this.pen.measureText(entry.words).width));
    const left = this.width - widest - 40;
    this.patch({ x: left - 8, y: 8, width: widest + 44, height: 20 * entries.length + 8 });
    entries.forEach((entry, index) => {
      const y = 22 + 20 * index;
      this.pen.fillStyle = cssOf(entry.wash);
      this.pen.fillRect(left, y - 6, 18, 12);
      this.pen.strokeStyle = this.ink;
      for (const [bit, rise] of [[1, 12], [2, -12]]) {
        if (!((entry.mark ?? 0) & bit)) continue;
        for (const x of [0, 6]) this.line({ x: left + x, y: y + rise / 2 }, { x: left + x + 12, y: y - rise / 2 }, 0.8);
      }
      this.pen.strokeStyle = this.ink;
      this.pen.lineWidth = 0.8;
      this.pen.strokeRect(left + 0.5, y - 5.5, 17, 11);
      this.pen.fillStyle = this.ink;
      this.pen.fillText(entry.words, left + 26, y + 0.5);
    });
  }

  // Directions of the assembly's axes, and what the drawing exaggerates.
  foot(words) {
    const origin = { x: 34, y: this.height - 40 };
    this.pen.font = `600 ${FONT}`;
    const widest = Math.max(...words.map((line) => this.pen.measureText(line).width));
    const tall = 17 * words.length + 10;
    this.patch({ x: 4, y: this.height - 76, width: 66, height: 72 });
    this.patch({ x: 70, y: this.height - tall - 2, width: widest + 14, height: tall });
    this.pen.font = FONT;
    const turn = new THREE.Matrix4().extractRotation(this.camera.matrixWorldInverse);
    for (const [name, axis] of [["X", [1, 0, 0]], ["Y", [0, 1, 0]], ["Z", [0, 0, 1]]]) {
      const seen = new THREE.Vector3(...axis).applyMatrix4(turn);
      this.line(origin, { x: origin.x + 20 * seen.x, y: origin.y - 20 * seen.y });
      if (Math.hypot(seen.x, seen.y) < 0.2) continue;
      this.pen.fillStyle = this.ink;
      this.pen.textAlign = "center";
      this.pen.fillText(name, origin.x + 28 * seen.x, origin.y - 28 * seen.y);
      this.pen.textAlign = "left";
    }
    words.forEach((line, index) => {
      this.pen.font = index ? FONT : `600 ${FONT}`;
      this.pen.fillText(line, 76, this.height - 14 - 17 * (words.length - 1 - index));
    });
    this.pen.font = FONT;
  }
}
