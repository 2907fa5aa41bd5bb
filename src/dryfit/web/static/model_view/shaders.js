// Pale ink on paper: flat washes, isolines at round values, hatching where a section is cut.
// Colours are display values; nothing here is lit as if it were photographed.
import { THREE } from "nicegui-scene";

const VERTEX = `
attribute float wall;
varying float vWall;
varying vec3 vModel;
varying vec3 vWorld;
varying vec3 vEye;
uniform float nearer;
void main() {
  vModel = position;
  vWall = wall;
  vec4 world = modelMatrix * vec4(position, 1.0);
  vWorld = world.xyz;
  vec4 eye = viewMatrix * world;
  vEye = eye.xyz;
  gl_Position = projectionMatrix * eye;
  gl_Position.z -= nearer * gl_Position.w;
}`;

const CUT = `
uniform bool isCut;
uniform vec4 cut;
bool isCutAway() { return isCut && dot(vWorld, cut.xyz) > cut.w; }`;

const FACE = `
varying float vWall;
varying vec3 vModel;
varying vec3 vWorld;
varying vec3 vEye;
uniform vec3 paper, ink, wash, less, more;
uniform mat3 strain;
uniform vec3 shift;
uniform bool showsDeviation, showsWall, isSigned;
uniform float mark;
uniform vec3 walls[5];
uniform vec2 wallRange;
uniform int along;
uniform float reach, step, fade, hatch;
uniform bool isDark;
${CUT}
float deviation() {
  vec3 departure = strain * vModel + shift;
  if (along == 0) return length(departure);
  if (along == 1) return dot(departure, normalize(cross(dFdx(vModel), dFdy(vModel))));
  return departure[along - 2];
}
vec3 wallColour() {
  float share = clamp(log(vWall / wallRange.x) / log(wallRange.y / wallRange.x), 0.0, 1.0) * 4.0;
  vec3 colour = mix(walls[0], walls[1], clamp(share, 0.0, 1.0));
  colour = mix(colour, walls[2], clamp(share - 1.0, 0.0, 1.0));
  colour = mix(colour, walls[3], clamp(share - 2.0, 0.0, 1.0));
  return mix(colour, walls[4], clamp(share - 3.0, 0.0, 1.0));
}
void main() {
  vec3 normal = normalize(cross(dFdx(vEye), dFdy(vEye)));
  float light = 0.5 + 0.5 * dot(normal, normalize(vec3(-0.45, 0.72, 0.53)));
  vec3 colour = wash;
  float lines = 0.0;
  if (showsDeviation) {
    float value = deviation();
    float part = clamp(value / reach, -1.0, 1.0);
    colour = mix(paper, part < 0.0 ? less : more, abs(part));
    float scaled = value / step;
    float width = fwidth(scaled);
    float apart = abs(fract(scaled - 0.5) - 0.5);
    if (width > 1e-5 && width < 0.4) lines = 1.0 - smoothstep(0.3, 1.0, apart / width);
  }
  if (mark > 0.5) {
    // Hatched as well as coloured: rising, falling, or both.
    vec2 way = vec2(gl_FragCoord.x + gl_FragCoord.y, gl_FragCoord.x - gl_FragCoord.y) / (1.6 * hatch);
    vec2 stripe = abs(fract(way) - 0.5) * 1.6 * hatch;
    float rising = 1.0 - smoothstep(0.4, 1.1, stripe.y);
    float falling = 1.0 - smoothstep(0.4, 1.1, stripe.x);
    colour = mix(colour, ink, 0.5 * (mark < 1.5 ? rising : mark < 2.5 ? falling : max(rising, falling)));
  }
  if (showsWall && isSigned) {
    float part = clamp(vWall / reach, -1.0, 1.0);
    colour = mix(paper, part < 0.0 ? less : more, abs(part));
    float scaled = vWall / step;
    float width = fwidth(scaled);
    if (width > 1e-5 && width < 0.4) lines = 1.0 - smoothstep(0.3, 1.0, abs(fract(scaled - 0.5) - 0.5) / width);
    if (abs(vWall) > 1e8) {
      float stripe = abs(fract((gl_FragCoord.x - gl_FragCoord.y) / hatch) - 0.5) * hatch;
      colour = mix(paper, ink, 0.28 * (1.0 - smoothstep(0.4, 1.0, stripe)));
      lines = 0.0;
    }
  } else if (showsWall) {
    // Where nothing faces the surface: paper with a hatch, so that it is not taken for a thickness.
    float stripe = abs(fract((gl_FragCoord.x - gl_FragCoord.y) / hatch) - 0.5) * hatch;
    colour = vWall > 0.0 ? wallColour() : mix(paper, ink, 0.28 * (1.0 - smoothstep(0.4, 1.0, stripe)));
  }
  if (isCutAway()) discard;
  colour = isDark ? colour * mix(0.72, 1.16, light) : colour * mix(0.83, 1.015, light);
  colour = mix(colour, ink, 0.55 * lines);
  if (!gl_FrontFacing) {
    float stripe = abs(fract((gl_FragCoord.x + gl_FragCoord.y) / hatch) - 0.5) * hatch;
    colour = mix(paper, ink, 0.75 * (1.0 - smoothstep(0.5, 1.2, stripe)));
  }
  gl_FragColor = vec4(mix(colour, paper, fade), 1.0);
}`;

const OVERLAY = `
varying vec3 vModel;
varying vec3 vWorld;
varying vec3 vEye;
uniform vec3 tone;
uniform float strength;
${CUT}
void main() {
  if (isCutAway()) discard;
  vec3 normal = normalize(cross(dFdx(vEye), dFdy(vEye)));
  float light = 0.5 + 0.5 * abs(dot(normal, normalize(vec3(-0.45, 0.72, 0.53))));
  gl_FragColor = vec4(tone * mix(0.9, 1.05, light), strength);
}`;

const EDGE = `
varying vec3 vModel;
varying vec3 vWorld;
varying vec3 vEye;
uniform vec3 ink;
uniform float strength;
${CUT}
void main() {
  if (isCutAway()) discard;
  gl_FragColor = vec4(ink, strength);
}`;

// Uniforms that all parts share are one object each, so that one change reaches every material.
export function sharedUniforms() {
  const vector = () => ({ value: new THREE.Vector3() });
  return {
    paper: vector(),
    ink: vector(),
    less: vector(),
    more: vector(),
    isDark: { value: false },
    showsDeviation: { value: false },
    isSigned: { value: false },
    walls: { value: [0, 1, 2, 3, 4].map(() => new THREE.Vector3()) },
    wallRange: { value: new THREE.Vector2(1, 10) },
    along: { value: 0 },
    reach: { value: 1 },
    step: { value: 1 },
    hatch: { value: 6 },
    isCut: { value: false },
    cut: { value: new THREE.Vector4(1, 0, 0, 0) },
  };
}

export function faceMaterial(shared) {
  return new THREE.ShaderMaterial({
    uniforms: {
      ...shared,
      nearer: { value: 0 },
      wash: { value: new THREE.Vector3(1, 1, 1) },
      strain: { value: new THREE.Matrix3() },
      shift: { value: new THREE.Vector3() },
      fade: { value: 0 },
      showsWall: { value: false },
      mark: { value: 0 },
    },
    vertexShader: VERTEX,
    fragmentShader: FACE,
    side: THREE.DoubleSide,
  });
}

// isThrough: drawn faintly through whatever is before it.
export function overlayMaterial(shared, tone, isThrough) {
  return new THREE.ShaderMaterial({
    uniforms: { ...shared, nearer: { value: 1e-3 }, tone: { value: tone }, strength: { value: isThrough ? 0.2 : 0.74 } },
    vertexShader: VERTEX,
    fragmentShader: OVERLAY,
    side: THREE.DoubleSide,
    transparent: true,
    depthWrite: false,
    depthTest: !isThrough,
  });
}

// ink: a colour of its own instead of the sheet's ink.
export function edgeMaterial(shared, ink = shared.ink) {
  return new THREE.ShaderMaterial({
    uniforms: { ...shared, ink, nearer: { value: 2e-3 }, strength: { value: 0.85 } },
    vertexShader: VERTEX,
    fragmentShader: EDGE,
    transparent: true,
    depthWrite: false,
  });
}
