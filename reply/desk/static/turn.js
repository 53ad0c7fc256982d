"use strict";
// A part that can be turned by hand: our own WebGL, flat shaded, orthographic.
// Drag or the arrow keys turn it, the wheel and + - bring it nearer. Without
// WebGL the pictures remain.

const VERTEX = `
attribute vec3 at;
uniform mat3 turn;
uniform vec3 fit; // scale in x, y and depth
varying vec3 place;
void main() {
  vec3 p = turn * at;
  place = p;
  gl_Position = vec4(p.x * fit.x, p.y * fit.y, -p.z * fit.z, 1.0);
}`;

// The light on a facet follows from how its place changes over the screen.
const FRAGMENT = `
#extension GL_OES_standard_derivatives : enable
precision highp float;
varying vec3 place;
uniform vec3 clay;
void main() {
  vec3 n = normalize(cross(dFdx(place), dFdy(place)));
  float v = 0.30 + 0.62 * max(0.0, dot(n, vec3(-0.45, 0.55, 0.70))) + 0.14 * max(0.0, dot(n, vec3(0.8, -0.1, 0.6)));
  gl_FragColor = vec4(clay * min(1.0, v) * (gl_FrontFacing ? 1.0 : 0.55), 1.0);
}`;

function program(gl) {
  const p = gl.createProgram();
  for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
    const s = gl.createShader(kind);
    gl.shaderSource(s, source);
    gl.compileShader(s);
    if (!gl.getShaderParameter(s, gl.COMPILE_STATUS)) return null;
    gl.attachShader(p, s);
  }
  gl.linkProgram(p);
  return gl.getProgramParameter(p, gl.LINK_STATUS) ? p : null;
}

// rotation looks at the part from turn degrees round and rise degrees up;
// column-major, as WebGL takes it.
function rotation(turn, rise) {
  const a = (turn * Math.PI) / 180, b = (rise * Math.PI) / 180;
  const ca = Math.cos(a), sa = Math.sin(a), cb = Math.cos(b), sb = Math.sin(b);
  const right = [ca, sa, 0], up = [-sb * sa, sb * ca, cb];
  const eye = [right[1] * up[2] - right[2] * up[1], right[2] * up[0] - right[0] * up[2], right[0] * up[1] - right[1] * up[0]];
  return [right[0], up[0], eye[0], right[1], up[1], eye[1], right[2], up[2], eye[2]];
}

class Turntable {
  constructor(canvas, gl, corners) {
    this.canvas = canvas;
    this.gl = gl;
    this.count = corners.length / 3;
    this.turn = 35;
    this.rise = 28;
    this.near = 1;
    this.reach = 1e-6;
    for (let i = 0; i < corners.length; i += 3) {
      this.reach = Math.max(this.reach, Math.hypot(corners[i], corners[i + 1], corners[i + 2]));
    }
    this.program = program(gl);
    if (!this.program) return;
    gl.useProgram(this.program);
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, corners, gl.STATIC_DRAW);
    const at = gl.getAttribLocation(this.program, "at");
    gl.enableVertexAttribArray(at);
    gl.vertexAttribPointer(at, 3, gl.FLOAT, false, 0, 0);
    gl.enable(gl.DEPTH_TEST);
    this.listen();
    this.draw();
  }

  draw() {
    const gl = this.gl, ratio = Math.min(2, devicePixelRatio || 1);
    const w = Math.round(this.canvas.clientWidth * ratio), h = Math.round(this.canvas.clientHeight * ratio);
    if (this.canvas.width !== w || this.canvas.height !== h) { this.canvas.width = w; this.canvas.height = h; }
    gl.viewport(0, 0, w, h);
    const dark = matchMedia("(prefers-color-scheme: dark)").matches;
    gl.clearColor(...(dark ? [0.094, 0.102, 0.122] : [1, 1, 1]), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const s = (0.94 * this.near) / this.reach, wide = w / h;
    gl.uniform3f(gl.getUniformLocation(this.program, "fit"), wide > 1 ? s / wide : s, wide > 1 ? s : s * wide, 0.98 / this.reach);
    gl.uniformMatrix3fv(gl.getUniformLocation(this.program, "turn"), false, rotation(this.turn, this.rise));
    gl.uniform3f(gl.getUniformLocation(this.program, "clay"), 0.886, 0.867, 0.827);
    gl.drawArrays(gl.TRIANGLES, 0, this.count);
  }

  by(turn, rise, near = 1) {
    this.turn += turn;
    this.rise = Math.max(-90, Math.min(90, this.rise + rise));
    this.near = Math.max(0.4, Math.min(12, this.near * near));
    requestAnimationFrame(() => this.draw());
  }

  listen() {
    const c = this.canvas;
    let from = null;
    c.addEventListener("pointerdown", (e) => { from = [e.clientX, e.clientY]; c.setPointerCapture(e.pointerId); });
    c.addEventListener("pointermove", (e) => {
      if (!from) return;
      this.by((from[0] - e.clientX) * 0.5, (e.clientY - from[1]) * 0.5);
      from = [e.clientX, e.clientY];
    });
    for (const end of ["pointerup", "pointercancel"]) c.addEventListener(end, () => { from = null; });
    c.addEventListener("wheel", (e) => { e.preventDefault(); this.by(0, 0, e.deltaY < 0 ? 1.1 : 1 / 1.1); }, { passive: false });
    const ways = { ArrowLeft: [10, 0], ArrowRight: [-10, 0], ArrowUp: [0, 10], ArrowDown: [0, -10], "+": [0, 0, 1.2], "-": [0, 0, 1 / 1.2] };
    c.addEventListener("keydown", (e) => {
      if (!ways[e.key]) return;
      e.preventDefault();
      this.by(...ways[e.key]);
    });
    new ResizeObserver(() => this.draw()).observe(c);
  }
}

async function unpack(figure, button) {
  button.disabled = true;
  const canvas = document.createElement("canvas");
  const gl = canvas.getContext("webgl", { antialias: true });
  if (!gl || !gl.getExtension("OES_standard_derivatives")) { button.hidden = true; return; }
  let r;
  try { r = await fetch(figure.dataset.shape, { headers: { "X-Desk": "shape" } }); } catch { r = null; }
  if (!r || !r.ok) { button.disabled = false; return; }
  const corners = new Float32Array(await r.arrayBuffer());
  const img = figure.querySelector("img");
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", img.alt);
  canvas.className = "turning";
  figure.querySelector("picture").replaceWith(canvas);
  const table = new Turntable(canvas, gl, corners);
  if (!table.program) { canvas.replaceWith(img); }
  button.hidden = true;
  canvas.focus();
}

if (window.WebGLRenderingContext) {
  for (const figure of document.querySelectorAll("[data-shape]")) {
    const button = figure.querySelector("[data-turn]");
    button.hidden = false;
    button.addEventListener("click", () => unpack(figure, button));
  }
}
