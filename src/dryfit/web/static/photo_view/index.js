// One place to import from; the page's import map knows this folder by name.
export { Picture } from "./picture.js";
export { Overlay } from "./overlay.js";
export { Eye } from "./eye.js";
