// One place to import from; the page's import map knows this folder by name.
export { Drawing } from "./drawing.js";
