// The view as an element of the page: a stage, its controls, and one line that says what is shown.
import { Drawing } from "dryfit-model-view";

const STYLE = `
.model-view { display: flex; flex-direction: column; min-height: 0; color: var(--ink, CanvasText); font-variant-numeric: tabular-nums; }
.model-view .model-stage { position: relative; flex: 1 1 auto; min-height: 260px; overflow: hidden; border: 1px solid var(--hair, currentColor); background: var(--paper, Canvas); touch-action: none; }
.model-view .model-stage:focus-visible { outline: 2px solid var(--ink, currentColor); outline-offset: 2px; }
.model-view canvas { position: absolute; inset: 0; width: 100%; height: 100%; display: block; }
.model-view canvas.model-ink { pointer-events: none; }
.model-view .model-controls { display: flex; flex-wrap: wrap; gap: 6px 18px; align-items: center; padding: 8px 0 4px; font-size: 14px; }
.model-view .model-controls label, .model-view .model-views { display: inline-flex; gap: 6px; align-items: center; white-space: nowrap; }
.model-view .model-views { gap: 0; }
.model-view input[type=range] { width: 120px; accent-color: var(--ink, currentColor); }
.model-view input[type=checkbox] { accent-color: var(--ink, currentColor); width: 16px; height: 16px; }
.model-view select, .model-view button { font: inherit; color: inherit; background: var(--paper, Canvas); border: 1px solid var(--ink, currentColor); border-radius: 0; padding: 3px 9px; min-height: 30px; cursor: pointer; }
.model-view .model-views button + button { border-left: 0; }
.model-view button:hover { background: var(--tint, transparent); }
.model-view :is(select, button, input):focus-visible { outline: 2px solid var(--ink, currentColor); outline-offset: 2px; }
.model-view output { min-width: 3.2em; }
.model-view .model-says { margin: 0; font-size: 13px; color: var(--soft, inherit); line-height: 1.45; }
.model-view .model-says p { margin: 0; min-height: 1.45em; }
@media (max-width: 900px) { .model-view select, .model-view button { min-height: 40px; padding: 4px 12px; } .model-view input[type=range] { height: 32px; } }
@media print { .model-view .model-controls { display: none; } }
`;
const KEYS = "Arrow keys turn the model, plus and minus come nearer, 1 to 4 are the named views, Home fits, Enter selects what is in the middle.";
const LARGEST = 200;
// Views that are turned together: by the name of their group, all that are on the page.
const GROUPS = new Map();

function addStyleOnce() {
  if (document.getElementById("model-view-style")) return;
  const style = document.createElement("style");
  style.id = "model-view-style";
  style.textContent = STYLE;
  document.head.appendChild(style);
}

// The slider runs evenly in powers, and stops at whole numbers: 1, 2, 3 ... 200.
const factorAt = (position) => Math.round(LARGEST ** (position / 100));
const positionOf = (factor) => (100 * Math.log(factor)) / Math.log(LARGEST);

export default {
  template: `
    <div class="model-view">
      <div class="model-stage" ref="stage" tabindex="0" role="application" :aria-label="label + '. ' + keys"
           @keydown="press" @dblclick="pick" @pointerdown="touched" @wheel.passive="touched">
        <canvas ref="canvas" aria-hidden="true"></canvas>
        <canvas class="model-ink" ref="sheet" aria-hidden="true"></canvas>
      </div>
      <div class="model-controls" role="group" aria-label="Controls of the view">
        <span class="model-views" role="group" aria-label="Named views">
          <button type="button" v-for="name in views" :key="name" @click="look(name)">{{ name }}</button>
          <button type="button" @click="fit">fit</button>
        </span>
        <label v-if="!alone">parts
          <select v-model="own.stand" @change="apply">
            <option value="placed">as placed by the forecast</option><option value="assembled">as assembled</option>
          </select></label>
        <label v-if="!alone && own.stand === 'placed'">departures drawn
          <input type="range" min="0" max="100" step="0.5" :value="position" @input="exaggerate" :aria-valuetext="own.exaggeration + ' times'">
          <output>{{ own.exaggeration }}x</output></label>
        <label v-if="!alone">apart <input type="range" min="0" max="150" v-model.number="apart" @input="apply"></label>
        <label>colour by
          <select v-model="own.colouring" @change="recolour">
            <option v-for="name in colourings" :key="name" :value="name">{{ nameOf(name) }}</option>
          </select></label>
        <label v-if="own.colouring === 'deviation'">shown
          <select v-model.number="own.along" @change="apply">
            <option v-for="(name, index) in ['size', 'outward', 'along X', 'along Y', 'along Z']" :key="name" :value="index">{{ name }}</option>
          </select></label>
        <label>section
          <select v-model="own.cut" @change="apply">
            <option value="none">none</option><option value="x">across X</option>
            <option value="y">across Y</option><option value="z">across Z</option>
          </select></label>
        <label v-if="own.cut !== 'none'">at
          <input type="range" min="0" max="100" step="0.5" v-model.number="own.cutAt" @input="apply"></label>
        <label v-if="own.cut !== 'none'"><input type="checkbox" v-model="own.isOtherSide" @change="apply"> show the other side</label>
        <label><input type="checkbox" v-model="isParallel" @change="project"> parallel</label>
        <label v-if="!alone"><input type="checkbox" v-model="own.joints" @change="apply"> joints</label>
        <button type="button" @click="save">picture (PNG)</button>
      </div>
      <div class="model-says" role="status" aria-live="polite"><p>{{ shown }}</p><p v-for="words in faults" :key="words">{{ words }}</p><p>{{ chosen }}</p><p v-if="trouble">{{ trouble }}</p></div>
    </div>`,
  props: {
    label: String,
    parts: Array,
    matrices: Object,
    marks: Array,
    colouring: String,
    exaggeration: Number,
    lit: Object,
    states: Array,
    walls: Object,
    found: Object,
    builts: Array,
    builtLabel: String,
    group: String,
    alone: Boolean,
  },
  data() {
    return {
      keys: KEYS,
      views: ["front", "side", "top", "corner"],
      own: { alone: this.alone, stand: this.alone ? "assembled" : "placed", colouring: this.colouring, exaggeration: this.exaggeration, along: 0, cut: "none", cutAt: 50, isOtherSide: false, joints: true },
      apart: 0,
      isParallel: false,
      shown: "no part is shown yet",
      faults: [],
      hasWalls: Boolean(this.walls),
      wallLabel: this.walls?.label,
      trouble: "",
      chosen: "double click, or Enter, selects a part, a joint or a point",
    };
  },
  computed: {
    colourings() {
      if (this.alone) return ["part", ...(this.hasWalls ? ["wall"] : [])];
      const built = this.builts?.length ? ["built"] : [];
      return ["part", ...built, "deviation", "machine", "state", ...(this.hasWalls ? ["wall"] : [])];
    },
    position() {
      return positionOf(this.own.exaggeration);
    },
  },
  mounted() {
    addStyleOnce();
    try {
      // Kept out of Vue's sight: it would wrap every vertex.
      this.$el.drawing = new Drawing(this.$refs.stage, this.$refs.canvas, this.$refs.sheet, (name, what) => this.told(name, what));
    } catch (error) {
      this.faults = [`The model cannot be drawn: this browser offers no WebGL (${error.message}). The figures do not depend on it.`];
      return;
    }
    this.$el.drawing.states = plain(this.states);
    this.$el.drawing.builts = plain(this.builts) ?? [];
    this.join();
    this.set_placing({ matrices: this.matrices, marks: this.marks });
    this.highlight(this.lit);
    this.apply();
    this.set_walls(this.walls);
    this.$el.drawing.setParts(plain(this.parts)).then(() => this.set_found(this.found));
  },
  beforeUnmount() {
    GROUPS.get(this.group)?.delete(this);
    this.$el.drawing?.close();
  },
  watch: {
    builts(washes) {
      if (this.$el.drawing) this.$el.drawing.builts = plain(washes) ?? [];
    },
    parts(rows, before) {
      if (JSON.stringify(rows) !== JSON.stringify(before)) this.$el.drawing?.setParts(plain(rows));
    },
  },
  methods: {
    nameOf(name) {
      return { built: this.builtLabel || "as built", wall: this.wallLabel ?? "wall thickness" }[name] ?? name;
    },
    // Turned, cut and coloured together with the other views of its group.
    join() {
      if (!this.group) return;
      if (!GROUPS.has(this.group)) GROUPS.set(this.group, new Set());
      GROUPS.get(this.group).add(this);
      const { drawing } = this.$el;
      drawing.siblings = () => this.others().map((view) => view.$el.drawing);
      drawing.onEye = () => this.lead((view) => view.followEye(drawing.eye.stance, drawing.hasMoved));
    },
    others() {
      return [...(GROUPS.get(this.group) ?? [])].filter((view) => view !== this && view.$el.drawing);
    },
    lead(act) {
      if (this.isFollowing) return;
      for (const view of this.others()) {
        view.isFollowing = true;
        act(view);
        view.isFollowing = false;
      }
    },
    followEye(stance, hasMoved) {
      this.isParallel = stance.isParallel;
      this.$el.drawing.hasMoved = hasMoved;
      this.$el.drawing.eye.standLike(stance);
    },
    set_placing({ matrices, marks }) {
      this.$el.drawing?.setPlacing(plain(matrices), plain(marks));
    },
    follow({ matrices, gaps }) {
      this.$el.drawing?.follow(plain(matrices), plain(gaps));
    },
    set_colouring(mode) {
      this.own.colouring = mode;
      this.apply();
    },
    set_exaggeration(factor) {
      this.own.exaggeration = factor;
      this.apply();
    },
    highlight(lit) {
      this.$el.drawing?.highlight(plain(lit));
    },
    set_walls(walls) {
      this.hasWalls = Boolean(walls);
      this.wallLabel = walls?.label;
      if (!walls && this.own.colouring === "wall") this.set_colouring("part");
      this.$el.drawing?.walls.set(plain(walls));
    },
    set_found(found) {
      this.trouble = "";
      this.$el.drawing?.setFound(plain(found));
    },
    see_parts(names) {
      this.$el.drawing?.seeParts(plain(names));
    },
    recolour() {
      this.apply();
      this.$emit("coloured", this.own.colouring);
    },
    apply() {
      this.$el.drawing?.setLook({ ...this.own, apart: this.apart / 100 });
      this.lead((view) => {
        Object.assign(view, { own: { ...this.own }, apart: this.apart });
        view.$el.drawing.setLook({ ...this.own, apart: this.apart / 100 });
      });
    },
    exaggerate(event) {
      this.own.exaggeration = factorAt(Number(event.target.value));
      this.apply();
    },
    project() {
      this.$el.drawing?.eye.setParallel(this.isParallel);
    },
    look(name) {
      this.touched();
      this.$el.drawing?.eye.look(name);
    },
    // What is fitted stays in view while the sliders move it, until the user moves the eye.
    fit() {
      if (!this.$el.drawing) return;
      this.$el.drawing.eye.fit();
      this.$el.drawing.hasMoved = false;
    },
    touched() {
      if (!this.$el.drawing) return;
      this.$el.drawing.hasMoved = true;
      this.$el.drawing.eye.stay();
    },
    press(event) {
      if (event.ctrlKey || event.metaKey || event.altKey || !this.$el.drawing) return;
      const { clientWidth, clientHeight } = this.$refs.stage;
      if (event.key === "Enter") this.$el.drawing.pick(clientWidth / 2, clientHeight / 2);
      else if (!this.$el.drawing.eye.press(event.key)) return;
      if (event.key === "Home") this.fit();
      else this.touched();
      event.preventDefault();
    },
    pick(event) {
      const box = this.$refs.stage.getBoundingClientRect();
      const { clientLeft, clientTop } = this.$refs.stage;
      this.$el.drawing?.pick(event.clientX - box.left - clientLeft, event.clientY - box.top - clientTop);
    },
    save() {
      const link = document.createElement("a");
      link.href = this.$el.drawing.picture();
      link.download = "model.png";
      link.click();
    },
    told(name, what) {
      if (name === "picked") {
        this.chosen = pickedWords(what);
        this.$emit("picked", what);
        return;
      }
      if (name === "trouble") {
        this.trouble = what;
        return;
      }
      this.shown = shownWords(what);
      this.faults = what.failed.map((fault) => `${fault.part} is not shown: ${fault.words}`);
      if (name === "shown") this.$emit("shown", what);
    },
  },
};

// A plain copy without the framework's watchers.
function plain(value) {
  return JSON.parse(JSON.stringify(value ?? null));
}

function count(value) {
  return value.toLocaleString("en-GB");
}

function shownWords({ parts, arrived, shown, exact, level, leftOut, failed }) {
  if (!parts) return "no part to show";
  const waiting = arrived + failed.length < parts ? `${arrived} of ${parts} parts so far; ` : "";
  const edges = leftOut ? `; ${count(leftOut)} short edges are not drawn` : "";
  const words = shown === exact ? `all ${count(exact)} triangles shown` : `view copies of ${count(shown)} triangles; computing uses all ${count(exact)}`;
  const lighter = level ? "; lighter copies than usual, since this screen draws slowly" : "";
  return waiting + words + lighter + edges;
}

function pickedWords({ part, joint, model, placed }) {
  if (joint) return `joint ${joint}`;
  if (!part) return "nothing there";
  const write = (point) => point.map((value) => value.toFixed(2)).join(", ");
  return `${part}: in the model ${write(model)} mm; printed and placed ${write(placed)} mm (x, y, z of the assembly)`;
}
