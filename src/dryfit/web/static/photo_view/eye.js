// Where the picture lies on the stage: a scale and a shift. The centre of the first pixel is (0, 0).
const LARGEST = 64;

export class Eye {
  constructor() {
    Object.assign(this, { scale: 1, x: 0, y: 0, width: 1, height: 1, stage: [1, 1], isFitted: true });
  }

  setPicture(width, height) {
    this.width = width;
    this.height = height;
    this.fit();
  }

  setStage(width, height) {
    const middle = this.toPicture([this.stage[0] / 2, this.stage[1] / 2]);
    this.stage = [width, height];
    if (this.isFitted) this.fit();
    else this.centre(middle);
  }

  get least() {
    return Math.min(this.stage[0] / this.width, this.stage[1] / this.height);
  }

  fit() {
    this.scale = this.least;
    this.x = (this.stage[0] - this.width * this.scale) / 2;
    this.y = (this.stage[1] - this.height * this.scale) / 2;
    this.isFitted = true;
  }

  toStage([x, y]) {
    return [(x + 0.5) * this.scale + this.x, (y + 0.5) * this.scale + this.y];
  }

  toPicture([x, y]) {
    return [(x - this.x) / this.scale - 0.5, (y - this.y) / this.scale - 0.5];
  }

  // at: the place on the stage that stays where it is.
  zoom(factor, at = [this.stage[0] / 2, this.stage[1] / 2]) {
    const scale = Math.min(LARGEST, Math.max(this.least * 0.5, this.scale * factor));
    const share = scale / this.scale;
    this.x = at[0] + (this.x - at[0]) * share;
    this.y = at[1] + (this.y - at[1]) * share;
    this.scale = scale;
    this.isFitted = false;
    this.hold();
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.isFitted = false;
    this.hold();
  }

  centre(place, scale = this.scale) {
    this.scale = scale;
    const [x, y] = this.toStage(place);
    this.pan(this.stage[0] / 2 - x, this.stage[1] / 2 - y);
  }

  // Some of the picture stays on the stage; each place of it can be brought to the middle.
  hold() {
    const clamp = (value, size, stage) => Math.min(stage / 2, Math.max(stage / 2 - size * this.scale, value));
    this.x = clamp(this.x, this.width, this.stage[0]);
    this.y = clamp(this.y, this.height, this.stage[1]);
  }

  // A place that is not seen is brought into view.
  see(place, margin = 30) {
    const [x, y] = this.toStage(place);
    const isSeen = x > margin && y > margin && x < this.stage[0] - margin && y < this.stage[1] - margin;
    if (!isSeen) this.centre(place);
  }
}
