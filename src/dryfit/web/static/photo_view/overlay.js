// What is drawn over the picture, as lines and words in the ink of the page with its paper as a rim.
const SPACE = "http://www.w3.org/2000/svg";
const ARM = 11;
const GAP = 4;

function make(parent, tag, attributes, words) {
  const element = document.createElementNS(SPACE, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  if (words !== undefined) element.textContent = words;
  parent.appendChild(element);
  return element;
}

const path = (places, isClosed = false) => places.map(([x, y], index) => `${index ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`).join("") + (isClosed ? "Z" : "");

export class Overlay {
  constructor(svg, eye) {
    this.svg = svg;
    this.eye = eye;
  }

  // look: what is shown; chosen: the mark under the hand; begun: places of a line that is being marked
  draw(drawing, look, chosen, begun, cursor) {
    const { svg, eye } = this;
    svg.replaceChildren();
    this.taken = [];
    svg.setAttribute("viewBox", `0 0 ${eye.stage[0]} ${eye.stage[1]}`);
    if (!drawing) return;
    if (look.planes) this.planes(drawing.planes);
    if (look.vanishing) this.vanishing(drawing);
    if (look.sizes) this.sizes(drawing);
    this.lines(drawing.lines, look, chosen);
    this.points(drawing.points, look, chosen);
    if (look.residuals) this.residuals(drawing, look.factor);
    if (begun.length) this.begun(begun, cursor);
  }

  // A stroke with a rim of paper, so that it stands out on dark and light pixels alike.
  stroke(kind, d, extra = {}) {
    make(this.svg, "path", { class: "rim", d, ...extra });
    return make(this.svg, "path", { class: `ink ${kind}`, d, ...extra });
  }

  // Words that would cover others are left out until one comes nearer, unless they must be seen.
  words(kind, [x, y], words, anchor = "start", mustBeSeen = false) {
    const wide = 6.7 * words.length;
    const left = x - { start: 0, middle: wide / 2, end: wide }[anchor];
    const area = [left, y - 11, left + wide, y + 3];
    const covers = (other) => area[0] < other[2] && other[0] < area[2] && area[1] < other[3] && other[1] < area[3];
    if (!mustBeSeen && this.taken.some(covers)) return;
    this.taken.push(area);
    make(this.svg, "text", { class: `words ${kind}`, x: x.toFixed(1), y: y.toFixed(1), "text-anchor": anchor }, words);
  }

  planes(planes) {
    for (const plane of planes) {
      if (plane.outline.length < 3) continue;
      const places = plane.outline.map((place) => this.eye.toStage(place));
      this.stroke("plane", path(places, true));
      const low = places.reduce((best, place) => (place[1] > best[1] ? place : best));
      this.words("plane", [low[0] + 6, low[1] + 16], plane.name);
    }
  }

  vanishing(drawing) {
    for (const { place, from, axis } of drawing.vanishing) {
      if (!place) continue;
      const end = this.eye.toStage(place);
      for (const start of from) this.stroke("far", path([this.eye.toStage(start), end]));
      this.words("far", [end[0] + 6, end[1] - 6], `lines along ${axis} meet`);
    }
    if (drawing.horizon) {
      const ends = drawing.horizon.map((place) => this.eye.toStage(place));
      this.stroke("horizon", path(ends));
      const [first, second] = ends;
      const share = (8 - first[0]) / (second[0] - first[0] || 1);
      this.words("far", [8, first[1] + share * (second[1] - first[1]) - 6], "horizon");
    }
  }

  // A dimension line with oblique ticks, its value along it; known lengths and sizes.
  sizes(drawing) {
    for (const item of [...drawing.lengths.map((each) => ({ ...each, kind: "known" })), ...drawing.sizes.map((each) => ({ ...each, kind: "size" }))]) {
      const [start, end] = item.at.map((place) => this.eye.toStage(place));
      const long = Math.hypot(end[0] - start[0], end[1] - start[1]);
      if (long < 2) continue;
      const [dx, dy] = [(end[0] - start[0]) / long, (end[1] - start[1]) / long];
      const side = item.kind === "size" ? 20 : -20;
      const off = [-dy * side, dx * side];
      const [a, b] = [start, end].map(([x, y]) => [x + off[0], y + off[1]]);
      this.stroke("thin", path([start, [a[0] + off[0] * 0.25, a[1] + off[1] * 0.25]]));
      this.stroke("thin", path([end, [b[0] + off[0] * 0.25, b[1] + off[1] * 0.25]]));
      this.stroke(item.kind, path([a, b]));
      const tick = [(dx - dy) * 5, (dy + dx) * 5];
      for (const [x, y] of [a, b]) this.stroke(item.kind, path([[x - tick[0], y - tick[1]], [x + tick[0], y + tick[1]]]));
      const words = item.kind === "size" ? `${item.id}: ${item.words}` : item.words;
      const isUpright = Math.abs(dy) > 0.7;
      const middle = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
      const outward = Math.sign(off[0]) || 1;
      if (isUpright) this.words(item.kind, [middle[0] + outward * 8, middle[1] + 4], words, outward > 0 ? "start" : "end");
      else this.words(item.kind, [middle[0], middle[1] + (off[1] < 0 ? -8 : 16)], words, "middle");
      if (item.state === "stop" || item.suspicion) this.suspect([middle[0] - 12, middle[1]]);
    }
  }

  lines(lines, look, chosen) {
    for (const line of lines) {
      const places = line.at.map((place) => this.eye.toStage(place));
      const isChosen = chosen?.kind === "line" && chosen.name === line.name;
      this.stroke(isChosen ? "line chosen" : "line", path(places));
      if (!line.through.length) {
        places.forEach((place, index) => this.cross(place, line.std, isChosen && chosen.place === index));
      }
      const middle = [(places[0][0] + places[1][0]) / 2, (places[0][1] + places[1][1]) / 2];
      if (look.names || isChosen) this.words("line", [middle[0] + 7, middle[1] - 5], line.name);
      if (line.suspicion) this.suspect([middle[0] - 10, middle[1]]);
    }
  }

  points(points, look, chosen) {
    const isFirst = (point) => Boolean(point.suspicion) || (chosen?.kind === "point" && chosen.name === point.name);
    for (const point of [...points].sort((one, other) => isFirst(other) - isFirst(one))) {
      const place = this.eye.toStage(point.at);
      const isChosen = chosen?.kind === "point" && chosen.name === point.name;
      this.cross(place, point.std, isChosen, point.known);
      const name = point.suspicion ? `${point.name}: ${point.off_words}` : point.name;
      const drop = point.suspicion ? 21 : -8;
      if (look.names || isChosen || point.suspicion) this.words(isChosen ? "point chosen" : "point", [place[0] + (point.suspicion ? 13 : 9), place[1] + drop], name, "start", isChosen || Boolean(point.suspicion));
      if (point.suspicion) this.suspect([place[0] + 4, place[1] + 17]);
    }
  }

  // A cross with an open middle, so that what is marked is seen; the circle is its standard uncertainty.
  cross([x, y], std, isChosen, isKnown = "") {
    const arm = isChosen ? ARM + 5 : ARM;
    const d = `M${x - arm} ${y}H${x - GAP}M${x + GAP} ${y}H${x + arm}M${x} ${y - arm}V${y - GAP}M${x} ${y + GAP}V${y + arm}`;
    this.stroke(isChosen ? "mark chosen" : "mark", d);
    const radius = std * this.eye.scale;
    if (radius > 1.2) {
      for (const kind of ["rim", "ink std"]) make(this.svg, "circle", { class: kind, cx: x, cy: y, r: radius.toFixed(2) });
    }
    if (isKnown) this.stroke("mark", `M${x - 4} ${y + arm + 2}h8l-4 -6z`);
    if (isChosen) make(this.svg, "rect", { class: "ink chosen-frame", x: x - arm - 4, y: y - arm - 4, width: 2 * arm + 8, height: 2 * arm + 8 });
  }

  // The shape of a stop: a filled square.
  suspect([x, y]) {
    make(this.svg, "rect", { class: "suspect", x: x - 5, y: y - 5, width: 10, height: 10 });
  }

  // From where the camera puts a mark toward where it was set, drawn larger by the factor; of a mark that was set
  // aside its true way from where the others put it.
  residuals(drawing, factor) {
    for (const point of drawing.points) {
      if (!point.off) continue;
      const [x, y] = point.at;
      const put = [x - point.off[0], y - point.off[1]];
      if (point.is_used) this.arrow(put, point.off, factor);
      else {
        const [from, to] = [this.eye.toStage(put), this.eye.toStage(point.at)];
        this.stroke("aside", path([from, to]));
        for (const kind of ["rim", "ink aside"]) make(this.svg, "circle", { class: kind, cx: from[0], cy: from[1], r: 5 });
      }
    }
    for (const line of drawing.lines) {
      if (!line.off) continue;
      [line.at[0], line.at[line.at.length - 1]].forEach((place, index) => {
        const off = line.off[index];
        this.arrow([place[0] - off[0], place[1] - off[1]], off, factor);
      });
    }
  }

  arrow(from, off, factor) {
    const start = this.eye.toStage(from);
    const long = Math.hypot(off[0], off[1]) * factor * this.eye.scale;
    if (long < 2) return;
    const end = [start[0] + off[0] * factor * this.eye.scale, start[1] + off[1] * factor * this.eye.scale];
    const [dx, dy] = [(end[0] - start[0]) / long, (end[1] - start[1]) / long];
    const barb = (turn) => [end[0] - 7 * dx + turn * 3.2 * dy, end[1] - 7 * dy - turn * 3.2 * dx];
    this.stroke("residual", path([start, end]));
    const head = path([barb(1), end, barb(-1)], true);
    make(this.svg, "path", { class: "rim", d: head });
    make(this.svg, "path", { class: "head", d: head });
  }

  begun(places, cursor) {
    const all = [...places, ...(cursor ? [cursor] : [])].map((place) => this.eye.toStage(place));
    this.stroke("begun", path(all));
    for (const place of places) this.cross(this.eye.toStage(place), 0, false);
  }
}
