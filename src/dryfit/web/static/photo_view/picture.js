// The pixels: a reduced copy of the whole, and squares at full size where they are needed. redraw: called when
// something arrived.
export class Picture {
  constructor(source, redraw, trouble) {
    this.source = source;
    this.redraw = redraw;
    this.trouble = trouble;
    this.tiles = new Map();
    this.isThere = false;
    this.copy = this.load(source.url, () => { this.isThere = true; });
  }

  load(url, then = () => {}) {
    const image = new Image();
    image.onload = () => { image.isHere = true; then(); this.redraw(); };
    image.onerror = () => this.say(url);
    image.src = url;
    return image;
  }

  // The server says in plain words why a picture cannot be shown.
  async say(url) {
    try {
      const answer = await fetch(url);
      this.trouble(answer.ok ? "The picture cannot be shown by this browser." : await answer.text());
    } catch {
      this.trouble("The picture did not arrive: the connection was lost. Load the page again.");
    }
  }

  get isFull() {
    return !this.source.tiles || this.copy.naturalWidth >= this.source.width;
  }

  // scale, x, y: as the eye has them; size: of the canvas in its own units.
  paint(pen, { scale, x, y }, [width, height], density) {
    if (!this.isThere) return;
    const { source, copy } = this;
    pen.imageSmoothingEnabled = scale < 3;
    pen.drawImage(copy, x, y, source.width * scale, source.height * scale);
    if (this.isFull || scale * density < (1.1 * copy.naturalWidth) / source.width) return;
    const side = source.tiles.side;
    const span = (from, shift, end, most) => [
      Math.max(0, Math.floor(-shift / scale / side)), Math.min(Math.ceil(most / side) - 1, Math.floor((end - shift) / scale / side)),
    ];
    const [left, right] = span(0, x, width, source.width);
    const [top, bottom] = span(0, y, height, source.height);
    for (let row = top; row <= bottom; row += 1) {
      for (let column = left; column <= right; column += 1) {
        const tile = this.tile(column, row);
        if (!tile.isHere) continue;
        // Overlapping by a hair, so that no seam shows between two squares.
        pen.drawImage(tile, x + column * side * scale, y + row * side * scale, tile.naturalWidth * scale + 0.3, tile.naturalHeight * scale + 0.3);
      }
    }
  }

  tile(column, row) {
    const key = `${column}-${row}`;
    if (!this.tiles.has(key)) this.tiles.set(key, this.load(this.source.tiles.address.replace("COLUMN-ROW", key)));
    return this.tiles.get(key);
  }
}
