// Washes and inks of the drawing; paper and ink are the page's own.
import { THREE } from "nicegui-scene";

const PAPER = { light: "#faf8f2", dark: "#22282e" };
const INK = { light: "#23282d", dark: "#d9dcd8" };
// Dark blue to burnt orange, zero is paper.
export const LESS = { light: "#1f3f6e", dark: "#7fa8de" };
export const MORE = { light: "#b4531a", dark: "#e58a4b" };
const WASHES = ["#c3d3df", "#e6d5bb", "#cddcc3", "#e2cbcf", "#d3cfe3", "#e9e1b6", "#bfdad7", "#dcd3c6"];
// Of the set of Okabe and Ito (2008): machines.
const MACHINES = ["#56B4E9", "#E69F00", "#CC79A7", "#009E73", "#F0E442", "#0072B2"];
// From thin to thick, one direction: every second of the nine Blues of Harrower and Brewer (2003), from memory.
// Thin stands out most from the paper, so that the scale runs the other way on slate.
const BLUES = ["#f7fbff", "#c6dbef", "#6baed6", "#2171b5", "#08306b"];
const WALLS_ON = { light: [...BLUES].reverse(), dark: BLUES };
const WASH_SHARE = { light: 0.8, dark: 0.34 };
const BUILT_SHARE = { light: 0.55, dark: 0.62 };
const TINT_SHARE = { light: 0.3, dark: 0.38 };

export function vectorOf(css) {
  const colour = new THREE.Color();
  colour.setStyle(css, THREE.LinearSRGBColorSpace); // no conversion: display values throughout
  return new THREE.Vector3(colour.r, colour.g, colour.b);
}

export function cssOf(vector) {
  const [r, g, b] = [vector.x, vector.y, vector.z].map((value) => Math.round(255 * Math.min(1, Math.max(0, value))));
  return `rgb(${r}, ${g}, ${b})`;
}

// Paper and ink as the page has them now, and whether it is the dark theme.
export function themeOf(element) {
  const style = getComputedStyle(element);
  const own = (name) => style.getPropertyValue(name).trim();
  const guess = window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  const paper = vectorOf(own("--paper") || PAPER[guess]);
  const isDark = paper.x + paper.y + paper.z < 1.5;
  const name = isDark ? "dark" : "light";
  const ink = vectorOf(own("--ink") || INK[name]);
  return { isDark, name, paper, ink, less: vectorOf(LESS[name]), more: vectorOf(MORE[name]), walls: WALLS_ON[name].map(vectorOf) };
}

function over(theme, css, share) {
  return theme.paper.clone().lerp(vectorOf(css), share);
}

export function partWash(theme, index) {
  return over(theme, WASHES[index % WASHES.length], WASH_SHARE[theme.name]);
}

export function machineWash(theme, index) {
  return over(theme, MACHINES[index % MACHINES.length], TINT_SHARE[theme.name]);
}

export function builtWash(theme, css) {
  return over(theme, css, BUILT_SHARE[theme.name]);
}

export function stateWash(theme, css) {
  return over(theme, css, TINT_SHARE[theme.name]);
}
