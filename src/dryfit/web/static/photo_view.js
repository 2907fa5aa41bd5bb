// A photograph to be marked: the picture, what is drawn over it, a magnifier, and the marks as a list.
import { Eye, Overlay, Picture } from "dryfit-photo-view";

const KEYS = "With a mark chosen, arrow keys move it by a tenth of a pixel, with Shift by a whole one; with none they move the picture. Plus and minus come nearer, Home shows all. Enter sets a mark in the middle, or chooses the one nearest to it. N and P go to the next and the previous mark, Delete removes, Escape lets go.";
const STEP_PX = 0.1;
const LOUPE = 208;
const PAUSE_MS = 180;
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export default {
  template: `
    <div class="photo-view">
      <div class="photo-tools" role="group" aria-label="Tools">
        <span class="photo-group" role="group" aria-label="What a click does">
          <button type="button" v-for="name in ['choose', 'point', 'line']" :key="name" class="button" :aria-pressed="String(tool === name)" @click="take(name)">{{ name }}</button>
        </span>
        <label v-if="tool !== 'choose'">name <input class="entry" ref="name" v-model="name" :list="listId" :placeholder="nextName" autocomplete="off" spellcheck="false"></label>
        <datalist :id="listId"><option v-for="each in freeNames" :key="each" :value="each"></option></datalist>
        <template v-if="tool === 'line'">
          <label>along <select class="select" v-model="along"><option value="">no axis</option><option v-for="axis in ['x', 'y', 'z']" :key="axis">{{ axis }}</option></select></label>
          <label class="photo-tick"><input type="checkbox" v-model="isStraight"> straight in reality</label>
          <button type="button" class="button main" @click="finishLine" :disabled="begun.length < 2">Finish the line</button>
        </template>
        <label v-if="tool !== 'choose' && drawing && drawing.planes.length">plane <select class="select" v-model="plane"><option value="">none</option><option v-for="each in drawing.planes" :key="each.name">{{ each.name }}</option></select></label>
        <span class="photo-group" role="group" aria-label="Nearer and farther">
          <button type="button" class="button" aria-label="farther" @click="zoom(1 / 1.5)">&minus;</button>
          <button type="button" class="button" aria-label="nearer" @click="zoom(1.5)">+</button>
          <button type="button" class="button" @click="fit">all</button>
          <button type="button" class="button" aria-label="one pixel of the picture for one of the screen" @click="full">1:1</button>
        </span>
        <span class="photo-group" role="group" aria-label="Steps">
          <button type="button" class="button" :disabled="!steps.undo" :aria-label="'undo: ' + (steps.undo || 'nothing')" @click="askFor('undo')">Undo</button>
          <button type="button" class="button" :disabled="!steps.redo" :aria-label="'do again: ' + (steps.redo || 'nothing')" @click="askFor('redo')">Again</button>
        </span>
      </div>
      <div class="photo-stage" ref="stage" tabindex="0" role="application" :aria-label="label + '. ' + keys" :class="'tool-' + tool"
           @keydown="press" @pointerdown="down" @pointermove="move" @pointerup="up" @pointercancel="up" @pointerleave="leave" @wheel.prevent="wheel" @dblclick="finishLine" @contextmenu.prevent>
        <canvas ref="canvas" aria-hidden="true"></canvas>
        <svg ref="overlay" aria-hidden="true"></svg>
        <div class="photo-middle" v-if="isByKey && !chosen" aria-hidden="true"></div>
        <div class="photo-loupe" :class="{ left: isLoupeLeft }" v-show="hasLoupe" aria-hidden="true">
          <canvas ref="loupe" :width="loupe" :height="loupe" :style="{ width: loupe + 'px', height: loupe + 'px' }"></canvas>
          <output>{{ loupeWords }}</output>
        </div>
      </div>
      <div class="photo-tools" role="group" aria-label="What is drawn">
        <label class="photo-tick"><input type="checkbox" v-model="look.residuals"> residuals, drawn <select class="select" v-model.number="look.factor" aria-label="residuals drawn so many times as large"><option v-for="each in (drawing ? drawing.factors : [1])" :key="each" :value="each">{{ each }}x</option></select></label>
        <label class="photo-tick" v-for="each in [['names', 'names'], ['planes', 'planes'], ['sizes', 'sizes'], ['vanishing', 'vanishing lines']]" :key="each[0]"><input type="checkbox" v-model="look[each[0]]"> {{ each[1] }}</label>
        <label>magnifier <select class="select" v-model.number="power"><option v-for="each in [4, 8, 16]" :key="each" :value="each">{{ each }}x</option></select></label>
      </div>
      <div class="photo-says" role="status" aria-live="polite"><p>{{ said }}</p><p v-if="trouble" class="photo-trouble">{{ trouble }}</p></div>
      <div class="photo-marks" v-if="drawing && (drawing.points.length || drawing.lines.length)">
        <table class="figures">
          <caption class="unseen">Marks of this photograph. With a name in focus, arrow keys move its mark by a tenth of a pixel.</caption>
          <thead><tr><th scope="col">mark</th><th scope="col" class="right">x, px</th><th scope="col" class="right">y, px</th><th scope="col" class="right">std, px</th><th scope="col">off</th><th scope="col">says</th></tr></thead>
          <tbody>
            <tr v-for="row in rows" :key="row.key" :class="{ chosen: isChosen(row) }">
              <td class="id"><button type="button" class="choose" :aria-pressed="String(isChosen(row))" @click="choose(row, true)" @focus="choose(row, true)" @keydown="pressRow($event, row)"><span v-if="row.suspicion" class="photo-square" aria-hidden="true"></span>{{ row.label }}<span v-if="row.suspicion" class="unseen"> (stop)</span></button></td>
              <td class="number">{{ row.at ? row.at[0].toFixed(2) : '-' }}</td><td class="number">{{ row.at ? row.at[1].toFixed(2) : '-' }}</td>
              <td class="number">{{ row.std }}</td><td>{{ row.off }}</td><td>{{ row.says }}</td>
            </tr>
          </tbody>
        </table>
      </div>
    </div>`,
  props: { label: String, picture: Object, given: Object, names: Array, steps: Object },
  emits: ["placed", "lined", "moved", "chosen", "removed", "undo", "redo"],
  data() {
    return {
      keys: KEYS,
      drawing: plain(this.given),
      listId: `photo-names-${Math.random().toString(36).slice(2)}`,
      tool: "choose", name: "", along: "", isStraight: false, plane: "", begun: [], beginning: "",
      chosen: null, cursor: null, isByKey: false, isLoupeLeft: false, power: 8, loupe: LOUPE,
      reach: 13, touch: false, isDragging: false,
      look: { residuals: true, factor: this.given?.factor ?? 1, names: true, planes: true, sizes: true, vanishing: false },
      said: "", trouble: "",
    };
  },
  computed: {
    rows() {
      const rows = [];
      for (const point of this.drawing.points) rows.push({ key: `point ${point.name}`, kind: "point", name: point.name, place: 0, label: point.name, at: point.at, std: point.std_words, off: point.off_words, says: point.suspicion || (point.known ? `known: ${point.known} mm` : point.plane), suspicion: point.suspicion });
      for (const line of this.drawing.lines) {
        const base = { kind: "line", name: line.name, std: line.std_words, off: line.off_words, suspicion: line.suspicion };
        if (line.through.length) rows.push({ ...base, key: `line ${line.name}`, place: -1, label: line.name, at: null, says: line.suspicion || `${line.kind_words}; through ${line.through.join(", ")}` });
        else line.at.forEach((at, place) => rows.push({ ...base, key: `line ${line.name} ${place}`, place, label: `${line.name}, ${place + 1}`, at, says: line.suspicion || line.kind_words }));
      }
      return rows;
    },
    freeNames() {
      const taken = new Set(this.drawing?.points.map((point) => point.name));
      return (this.names ?? []).filter((name) => !taken.has(name));
    },
    nextName() {
      const taken = new Set([...(this.drawing?.points ?? []), ...(this.drawing?.lines ?? [])].map((each) => each.name));
      const stem = this.tool === "line" ? "line" : "point";
      let number = 1;
      while (taken.has(`${stem}-${number}`) || (this.names ?? []).includes(`${stem}-${number}`)) number += 1;
      return `${stem}-${number}`;
    },
    chosenPlace() {
      return this.chosen && this.drawing ? this.placeOf(this.chosen) : null;
    },
    hasLoupe() {
      return Boolean(this.loupePlace);
    },
    loupePlace() {
      return (this.cursor && (this.tool !== "choose" || this.isDragging)) || !this.chosenPlace ? this.cursor ?? this.chosenPlace : this.chosenPlace;
    },
    loupeWords() {
      return this.loupePlace ? `${this.loupePlace[0].toFixed(1)}, ${this.loupePlace[1].toFixed(1)} px, ${this.power}x` : "";
    },
  },
  mounted() {
    // Kept out of Vue's sight: nothing here is watched.
    const eye = new Eye();
    this.$el.own = { eye, overlay: new Overlay(this.$refs.overlay, eye), picture: null, pending: new Map(), fingers: new Map(), drag: null, timer: 0 };
    this.watching = new ResizeObserver(() => this.measure());
    this.watching.observe(this.$refs.stage);
    this.measure();
    this.set_photo(this.picture, this.given);
    window.addEventListener("dryfit-theme", this.redraw);
  },
  beforeUnmount() {
    this.flush();
    this.watching.disconnect();
    window.removeEventListener("dryfit-theme", this.redraw);
  },
  watch: {
    look: { deep: true, handler() { this.redraw(); } },
    power() { this.redraw(); },
    chosen(now) { this.redraw(); if (now) this.say(); },
  },
  methods: {
    own() { return this.$el.own; },
    // Another photograph, or the same one with other marks. drawing: see view/evidence_drawing.py
    set_photo(picture, drawing) {
      const own = this.own();
      if (!own) return;
      const isOther = own.source?.url !== picture?.url;
      own.source = plain(picture);
      if (isOther) {
        own.picture = picture ? new Picture(own.source, () => this.redraw(), (words) => { this.trouble = words; }) : null;
        if (picture) own.eye.setPicture(picture.width, picture.height);
        Object.assign(this, { chosen: null, begun: [], cursor: null, trouble: "" });
        own.pending.clear();
        if (drawing) this.look.factor = drawing.factor;
      }
      this.set_drawing(drawing);
    },
    set_drawing(drawing) {
      const own = this.own();
      if (!own) return;
      const mine = plain(drawing);
      if (mine) this.keepPending(mine);
      this.drawing = mine;
      if (this.chosen && !this.placeOf(this.chosen, mine) && !mine?.lines.some((line) => line.name === this.chosen.name && this.chosen.kind === "line")) this.chosen = null;
      this.redraw();
    },
    // A mark that is being moved here stays under the hand; where another moved it meanwhile, that one holds.
    keepPending(drawing) {
      const { pending } = this.own();
      for (const [key, move] of pending) {
        const at = this.placeOf(move.mark, drawing);
        if (!at) { pending.delete(key); continue; }
        if (move.sent && same(at, move.sent)) {
          move.was = move.sent;
          move.sent = null;
          if (same(at, move.at)) { pending.delete(key); continue; }
        } else if (!same(at, move.was) && !same(at, move.sent ?? move.was)) {
          pending.delete(key);
          this.trouble = `${move.mark.name} was moved elsewhere meanwhile: it is shown where it is now.`;
          continue;
        }
        this.put(move.mark, move.at, drawing);
      }
    },
    say_trouble(words) {
      this.trouble = words;
      this.own().pending.clear();
    },
    choose_mark(kind, name) {
      const row = this.rows.find((each) => each.kind === kind && each.name === name);
      if (row) this.choose(row, true);
    },
    placeOf(mark, drawing = this.drawing) {
      if (!drawing) return null;
      if (mark.kind === "point") return drawing.points.find((point) => point.name === mark.name)?.at ?? null;
      const line = drawing.lines.find((each) => each.name === mark.name);
      return line && !line.through.length ? line.at[mark.place] ?? null : null;
    },
    put(mark, at, drawing = this.drawing) {
      if (mark.kind === "point") {
        const point = drawing.points.find((each) => each.name === mark.name);
        if (point) point.at = at;
        for (const line of drawing.lines) line.through.forEach((name, index) => { if (name === mark.name) line.at[index] = at; });
      } else {
        const line = drawing.lines.find((each) => each.name === mark.name);
        if (line) line.at[mark.place] = at;
      }
    },
    isChosen(row) {
      return Boolean(this.chosen) && this.chosen.kind === row.kind && this.chosen.name === row.name && (row.place < 0 || this.chosen.place === row.place);
    },
    choose(mark, isSeen = false) {
      const before = this.chosen;
      if (before && before.name !== mark.name) this.flush();
      this.chosen = { kind: mark.kind, name: mark.name, place: Math.max(mark.place, 0) };
      this.cursor = null;
      const at = this.placeOf(this.chosen);
      if (isSeen && at) this.own().eye.see(at);
      if (!before || before.name !== mark.name || before.kind !== mark.kind) this.$emit("chosen", { kind: mark.kind, name: mark.name });
    },
    letGo() {
      this.flush();
      if (this.chosen) this.$emit("chosen", null);
      this.chosen = null;
      this.begun = [];
      this.said = "";
    },
    take(tool) {
      this.tool = tool;
      this.begun = [];
      this.trouble = "";
      if (tool !== "choose") this.letGo();
      const say = { choose: "Click a mark to choose it, drag it to move it; drag the picture to move that.", point: "Click where the point is, or press Enter for the middle of the picture.", line: "Click two places along the line or more, or points that it runs through; then finish it." };
      this.said = say[tool];
      this.redraw();
    },
    askFor(what) {
      this.settle();
      this.$emit(what);
    },
    // What was moved is sent; from here on a mark is shown where the answer says.
    settle() {
      this.flush();
      this.own().pending.clear();
    },
    // Moves a mark by steps; sent when the hand rests.
    nudge(mark, [dx, dy]) {
      const at = this.placeOf(mark);
      if (!at) { this.said = `${mark.name} runs through points: move those.`; return; }
      const far = (value, most) => Math.min(most - 0.5, Math.max(-0.5, Math.round(value * 1000) / 1000));
      this.moveTo(mark, [far(at[0] + dx, this.drawing.width), far(at[1] + dy, this.drawing.height)]);
      this.cursor = null;
      this.own().eye.see(this.placeOf(mark));
      this.later();
    },
    moveTo(mark, at) {
      const { pending } = this.own();
      const key = `${mark.kind} ${mark.name} ${mark.place}`;
      if (!pending.has(key)) pending.set(key, { mark: { ...mark }, was: [...this.placeOf(mark)], at, sent: null });
      pending.get(key).at = at;
      this.put(mark, at);
      this.trouble = "";
      this.say();
      this.redraw();
    },
    later() {
      clearTimeout(this.own().timer);
      this.own().timer = setTimeout(() => this.flush(), PAUSE_MS);
    },
    flush() {
      const own = this.own();
      clearTimeout(own.timer);
      for (const move of own.pending.values()) {
        const from = move.sent ?? move.was;
        if (same(from, move.at)) continue;
        this.$emit("moved", { photo: this.drawing.id, kind: move.mark.kind, name: move.mark.name, place: move.mark.place, to: move.at, was: from });
        move.sent = [...move.at];
      }
    },
    say() {
      const at = this.chosenPlace;
      if (!this.chosen) return;
      this.said = at ? `${this.chosen.name}: ${at[0].toFixed(2)}, ${at[1].toFixed(2)} px` : `${this.chosen.name}: runs through points`;
    },
    // Keys.
    press(event) {
      this.isByKey = true;
      if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
        event.preventDefault();
        this.askFor(event.shiftKey ? "redo" : "undo");
        return;
      }
      if (event.ctrlKey || event.metaKey || event.altKey || !this.drawing) return;
      if (this.key(event)) event.preventDefault();
    },
    pressRow(event, row) {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const step = STEPS[event.key];
      if (step) this.nudge({ kind: row.kind, name: row.name, place: Math.max(row.place, 0) }, scaled(step, event.shiftKey));
      else if (event.key === "Delete") this.remove();
      else return;
      event.preventDefault();
    },
    key(event) {
      const { eye } = this.own();
      const step = STEPS[event.key];
      if (step && this.chosen) this.nudge(this.chosen, scaled(step, event.shiftKey));
      else if (step) eye.pan(-step[0] * (event.shiftKey ? 4 : 40), -step[1] * (event.shiftKey ? 4 : 40));
      else if (event.key === "+" || event.key === "=") this.zoom(1.25);
      else if (event.key === "-") this.zoom(1 / 1.25);
      else if (event.key === "Home" || event.key === "0") this.fit();
      else if (event.key === "Enter") this.enter();
      else if (event.key === "Escape") this.letGo();
      else if (event.key === "Delete" || event.key === "Backspace") this.remove();
      else if (event.key.toLowerCase() === "n") this.step(1);
      else if (event.key.toLowerCase() === "p") this.step(-1);
      else return false;
      this.redraw();
      return true;
    },
    enter() {
      const { eye } = this.own();
      const middle = [eye.stage[0] / 2, eye.stage[1] / 2];
      if (this.tool === "choose" || this.chosen) {
        const found = this.nearest(middle, Infinity);
        if (found) this.choose(found, true);
      } else this.mark(eye.toPicture(middle), middle);
    },
    step(by) {
      const rows = this.rows;
      if (!rows.length) return;
      const at = rows.findIndex((row) => this.isChosen(row));
      this.choose(rows[(at + by + rows.length) % rows.length], true);
    },
    remove() {
      if (!this.chosen) return;
      this.settle();
      this.$emit("removed", { photo: this.drawing.id, kind: this.chosen.kind, name: this.chosen.name });
    },
    // Setting marks.
    mark(place, onStage) {
      const at = place.map((value) => Math.round(value * 100) / 100);
      if (at[0] < -0.5 || at[1] < -0.5 || at[0] > this.drawing.width - 0.5 || at[1] > this.drawing.height - 0.5) {
        this.said = "That lies outside the picture.";
        return;
      }
      if (this.tool === "point") {
        const name = this.name.trim() || this.nextName;
        this.$emit("placed", { photo: this.drawing.id, name, at, plane: this.plane });
        this.name = "";
        return;
      }
      this.addToLine(at, onStage);
    },
    // A line runs through points, or has marks of its own: what the first click meets decides.
    addToLine(at, onStage) {
      const met = this.nearest(onStage, this.reach, "point");
      if (!this.begun.length) this.beginning = met ? "through" : "own";
      if (this.beginning === "through" && !met) { this.said = "This line runs through points: click points, or finish it."; return; }
      const last = this.begun[this.begun.length - 1];
      if (last && same(last.at, met && this.beginning === "through" ? this.placeOf(met) : at)) return;
      this.begun = [...this.begun, this.beginning === "through" ? { at: [...this.placeOf(met)], name: met.name } : { at }];
      this.said = `${this.begun.length} of the line${this.beginning === "through" ? `: ${this.begun.map((each) => each.name).join(", ")}` : ""}`;
      this.redraw();
    },
    finishLine() {
      if (this.tool !== "line" || this.begun.length < 2) return;
      const name = this.name.trim() || this.nextName;
      const isThrough = this.beginning === "through";
      this.$emit("lined", { photo: this.drawing.id, name, at: isThrough ? null : this.begun.map((each) => each.at), through: isThrough ? this.begun.map((each) => each.name) : null, along: this.along, straight: this.isStraight, plane: this.plane });
      this.begun = [];
      this.name = "";
      this.redraw();
    },
    nearest([x, y], reach, only = "") {
      const { eye } = this.own();
      let [best, least] = [null, reach];
      for (const row of this.rows) {
        if (!row.at || (only && row.kind !== only)) continue;
        const [there, down] = eye.toStage(row.at);
        const away = Math.hypot(there - x, down - y);
        if (away <= least) [best, least] = [row, away];
      }
      return best && { kind: best.kind, name: best.name, place: Math.max(best.place, 0) };
    },
    // The pointer: mouse, pen or fingers.
    where(event) {
      const area = this.$refs.stage.getBoundingClientRect();
      return [event.clientX - area.left - this.$refs.stage.clientLeft, event.clientY - area.top - this.$refs.stage.clientTop];
    },
    down(event) {
      if (!this.drawing || event.button > 1) return;
      const own = this.own();
      const at = this.where(event);
      this.isByKey = false;
      this.$refs.stage.focus({ preventScroll: true });
      this.$refs.stage.setPointerCapture(event.pointerId);
      own.fingers.set(event.pointerId, at);
      this.reach = event.pointerType === "touch" ? 26 : 13;
      if (own.fingers.size > 1) { own.drag = null; return; }
      const met = this.tool === "choose" && event.button === 0 ? this.nearest(at, this.reach) : null;
      if (met) {
        this.choose(met);
        const [x, y] = own.eye.toStage(this.placeOf(met));
        this.isDragging = true;
        own.drag = { mark: met, off: [x - at[0], y - at[1]], start: at, hasMoved: false };
      } else own.drag = { start: at, last: at, hasMoved: false };
      this.touch = event.pointerType === "touch";
      this.cursor = own.eye.toPicture(at);
      this.placeLoupe(at);
      this.redraw();
    },
    move(event) {
      const own = this.own();
      if (!this.drawing) return;
      const at = this.where(event);
      if (own.fingers.size > 1 && own.fingers.has(event.pointerId)) { this.pinch(event.pointerId, at); return; }
      own.fingers.has(event.pointerId) && own.fingers.set(event.pointerId, at);
      const { drag } = own;
      if (drag) {
        if (!drag.hasMoved && Math.hypot(at[0] - drag.start[0], at[1] - drag.start[1]) < 4) return;
        drag.hasMoved = true;
        if (drag.mark) {
          const to = own.eye.toPicture([at[0] + drag.off[0], at[1] + drag.off[1]]);
          const most = [this.drawing.width - 0.5, this.drawing.height - 0.5];
          this.moveTo(drag.mark, to.map((value, index) => Math.round(Math.min(most[index], Math.max(-0.5, value)) * 100) / 100));
          this.cursor = this.placeOf(drag.mark);
        } else if (!(this.touch && this.tool !== "choose")) {
          own.eye.pan(at[0] - drag.last[0], at[1] - drag.last[1]);
          drag.last = at;
          this.cursor = own.eye.toPicture(at);
        } else this.cursor = own.eye.toPicture(at);
      } else this.cursor = own.eye.toPicture(at);
      this.placeLoupe(at);
      this.redraw();
    },
    pinch(id, at) {
      const own = this.own();
      const [other] = [...own.fingers].filter(([each]) => each !== id).map(([, place]) => place);
      const before = own.fingers.get(id);
      const reach = (place) => Math.hypot(place[0] - other[0], place[1] - other[1]);
      const middle = (place) => [(place[0] + other[0]) / 2, (place[1] + other[1]) / 2];
      const [from, to] = [middle(before), middle(at)];
      own.eye.zoom(reach(at) / Math.max(reach(before), 1), from);
      own.eye.pan(to[0] - from[0], to[1] - from[1]);
      own.fingers.set(id, at);
      this.redraw();
    },
    up(event) {
      const own = this.own();
      const wasMany = own.fingers.size > 1;
      own.fingers.delete(event.pointerId);
      const { drag } = own;
      own.drag = null;
      this.isDragging = false;
      if (!drag || wasMany || event.type === "pointercancel" || !this.drawing) return;
      const at = this.where(event);
      if (drag.mark) { this.flush(); this.cursor = null; }
      else if (this.tool !== "choose" && event.button === 0 && (!drag.hasMoved || this.touch)) this.mark(own.eye.toPicture(at), at);
      else if (!drag.hasMoved && this.tool === "choose") this.letGo();
      this.redraw();
    },
    leave() {
      if (this.own().drag) return;
      this.cursor = null;
      this.redraw();
    },
    wheel(event) {
      this.own().eye.zoom(Math.exp(-event.deltaY * 0.0016), this.where(event));
      this.redraw();
    },
    zoom(factor) {
      this.own().eye.zoom(factor, this.chosenPlace ? this.own().eye.toStage(this.chosenPlace) : undefined);
      this.redraw();
    },
    fit() { this.own().eye.fit(); this.redraw(); },
    full() {
      const { eye } = this.own();
      eye.centre(this.chosenPlace ?? eye.toPicture([eye.stage[0] / 2, eye.stage[1] / 2]), 1 / (window.devicePixelRatio || 1));
      this.redraw();
    },
    placeLoupe([x]) {
      this.isLoupeLeft = x > this.own().eye.stage[0] / 2;
    },
    // Drawing.
    measure() {
      const { clientWidth, clientHeight } = this.$refs.stage;
      if (!clientWidth) return;
      const density = window.devicePixelRatio || 1;
      this.$refs.canvas.width = Math.round(clientWidth * density);
      this.$refs.canvas.height = Math.round(clientHeight * density);
      this.own().eye.setStage(clientWidth, clientHeight);
      this.redraw();
    },
    redraw() {
      const own = this.own();
      if (!own || own.frame) return;
      own.frame = requestAnimationFrame(() => { own.frame = 0; this.paint(); });
    },
    paint() {
      const own = this.own();
      if (!own) return;
      const { eye, picture, overlay } = own;
      const density = window.devicePixelRatio || 1;
      const pen = this.$refs.canvas.getContext("2d");
      pen.setTransform(density, 0, 0, density, 0, 0);
      pen.clearRect(0, 0, eye.stage[0], eye.stage[1]);
      if (picture) picture.paint(pen, eye, eye.stage, density);
      if (this.chosenPlace && !this.cursor) this.isLoupeLeft = eye.toStage(this.chosenPlace)[0] > eye.stage[0] / 2;
      overlay.draw(this.drawing, this.look, this.chosen, this.begun.map((each) => each.at), this.cursor);
      this.magnify(picture);
    },
    magnify(picture) {
      const place = this.loupePlace;
      if (!place || !picture) return;
      const density = window.devicePixelRatio || 1;
      const canvas = this.$refs.loupe;
      if (canvas.width !== LOUPE * density) canvas.width = canvas.height = LOUPE * density;
      const pen = canvas.getContext("2d");
      pen.setTransform(density, 0, 0, density, 0, 0);
      pen.clearRect(0, 0, LOUPE, LOUPE);
      const scale = this.power;
      const middle = LOUPE / 2;
      picture.paint(pen, { scale, x: middle - (place[0] + 0.5) * scale, y: middle - (place[1] + 0.5) * scale }, [LOUPE, LOUPE], 1e6);
      const style = getComputedStyle(this.$el);
      const std = this.chosenPlace === place ? this.stdOf(this.chosen) : 0;
      for (const [colour, width] of [[style.getPropertyValue("--paper"), 3], [style.getPropertyValue("--ink"), 1]]) {
        pen.strokeStyle = colour;
        pen.lineWidth = width;
        pen.beginPath();
        for (const [a, b] of [[4, middle - 7], [middle + 7, LOUPE - 4]]) {
          pen.moveTo(a, middle); pen.lineTo(b, middle);
          pen.moveTo(middle, a); pen.lineTo(middle, b);
        }
        if (std) { pen.moveTo(middle + std * scale, middle); pen.arc(middle, middle, std * scale, 0, 2 * Math.PI); }
        pen.moveTo(middle + 1, middle); pen.arc(middle, middle, 1, 0, 2 * Math.PI);
        pen.stroke();
      }
    },
    stdOf(mark) {
      const list = mark.kind === "point" ? this.drawing.points : this.drawing.lines;
      return list.find((each) => each.name === mark.name)?.std ?? 0;
    },
  },
};

const same = (one, other) => Boolean(one && other) && Math.abs(one[0] - other[0]) < 6e-4 && Math.abs(one[1] - other[1]) < 6e-4;
const scaled = ([dx, dy], isWhole) => [dx * (isWhole ? 1 : STEP_PX), dy * (isWhole ? 1 : STEP_PX)];

// A plain copy without the framework's watchers.
function plain(value) {
  return JSON.parse(JSON.stringify(value ?? null));
}
