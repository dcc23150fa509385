"use strict";
for (const what of ["error", "securitypolicyviolation", "unhandledrejection"]) {
  addEventListener(what, (event) => { document.body.dataset.fault = event.message || event.violatedDirective || event.reason; });
}
const data = JSON.parse(document.getElementById("data").textContent);
const find = (id) => document.getElementById(id);
const LOOKS = data.looks;
const dark = matchMedia("(prefers-color-scheme: dark)");

// ---- the bodies --------------------------------------------------------------------------------

function bytes(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text).buffer;
  const raw = atob(text), out = new Uint8Array(raw.length);
  for (let k = 0; k < raw.length; k += 1) out[k] = raw.charCodeAt(k);
  return out.buffer;
}

// Corners are whole steps of 1/65535 of the body's box; an index counts corners, in as few bytes as it takes.
function geometry(body, steps, index) {
  const place = new Float32Array(steps.length);
  for (let k = 0; k < steps.length; k += 1) place[k] = body.low[k % 3] + steps[k] * body.step[k % 3];
  const made = new THREE.BufferGeometry();
  made.setAttribute("position", new THREE.BufferAttribute(place, 3));
  made.setIndex(new THREE.BufferAttribute(index, 1));
  return made;
}

// What the first picture is drawn from.
function first(body) {
  const Numbers = body.bytes === 2 ? Uint16Array : Uint32Array;
  return geometry(body, new Uint16Array(bytes(body.corners)), new Numbers(bytes(body.triangles)));
}

// The whole of a body: the other corners, and its triangles. Packed are differences, column after column of three,
// the lowest bytes of all numbers first; adding up wraps as taking away did.
async function whole(body) {
  const [corners, triangles] = body.most, known = new Uint16Array(bytes(body.corners)), more = corners - known.length / 3;
  const stream = new Blob([bytes(body.rest)]).stream().pipeThrough(new DecompressionStream("deflate"));
  const told = new Uint8Array(await new Response(stream).arrayBuffer());
  const number = (at, k, count, size) => { let value = 0; for (let b = 0; b < size; b += 1) value |= told[at + b * count + k] << 8 * b; return value; };
  const steps = new Uint16Array(3 * corners), index = new Uint32Array(3 * triangles);
  steps.set(known);
  for (let k = 0; k < 3 * more; k += 1) steps[known.length + 3 * (k % more) + Math.floor(k / more)] = number(0, k, 3 * more, 2);
  for (let k = known.length + 3; k < steps.length; k += 1) steps[k] += steps[k - 3];
  for (let k = 0; k < 3 * triangles; k += 1) index[3 * (k % triangles) + Math.floor(k / triangles)] = number(6 * more, k, 3 * triangles, 4);
  for (let k = 0; k < index.length; k += 3) { if (k) index[k] += index[k - 3]; index[k + 1] += index[k]; index[k + 2] += index[k]; }
  return geometry(body, steps, index);
}

const scene = new THREE.Scene();
const plane = new THREE.Plane(new THREE.Vector3(0, 0, -1), data.high);
const nowhere = new THREE.Plane(new THREE.Vector3(0, 0, -1), 1e3 * data.size);
const shown = { part: true, passage: true, stray: true, gap: true, powder: true, drill: true, holder: false, finished: true, scan: true, tags: true, solid: false };
let when = "left", chosen = null, upTo = Infinity;

const clear = (opacity) => ({ opacity, transparent: opacity < 1, depthWrite: opacity === 1, blending: opacity < 1 ? THREE.NormalBlending : THREE.NoBlending });

// One small program of the graphics card draws all bodies: to make one takes longer than to draw them where a
// processor stands in for the card, and as much again for each way to blend and to hide. Faces are flat, lit on the
// side that is seen.
const lamp = { value: new THREE.Vector3() };
const CORNER = `uniform float lit;
#include <clipping_planes_pars_vertex>
void main() {
  vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
  #include <clipping_planes_vertex>
  gl_Position = projectionMatrix * mvPosition;
  if (lit == 0.0) gl_Position.z = -gl_Position.w; // marks stand before all else
}`;
const POINT = `uniform vec3 diffuse, lamp;
uniform float opacity, lit;
#include <clipping_planes_pars_fragment>
void main() {
  vec4 diffuseColor = vec4(diffuse, opacity);
  #include <clipping_planes_fragment>
  vec3 outward = normalize(cross(dFdx(vClipPosition), dFdy(vClipPosition)));
  float light = mix(1.0, 0.51 + 0.6 * max(dot(outward, lamp), 0.0), lit);
  gl_FragColor = vec4(diffuse * light, opacity);
  #include <colorspace_fragment>
}`;
function shaded(shader) {
  Object.assign(shader.uniforms, { lamp, lit: { value: this.lit } });
  Object.assign(shader, { vertexShader: CORNER, fragmentShader: POINT });
}

function material(colour, opacity, lit, more) {
  const made = new THREE.MeshBasicMaterial({ color: colour, side: THREE.DoubleSide, forceSinglePass: true, clippingPlanes: [plane], ...clear(opacity), ...more });
  return Object.assign(made, { lit, onBeforeCompile: shaded });
}

// A body is made when it is first shown: what is hidden costs nothing when the page opens.
const meshes = data.bodies.map((body) => ({ body, group: null, edged: false, few: null, all: null }));

function make(mesh) {
  const { body } = mesh, made = first(body), look = LOOKS[body.kind], colour = body.state ? data.states[body.state] : look.colour;
  const group = [new THREE.Mesh(made, material(colour, look.opacity, 1))];
  if (body.kind === "part") {
    // What is cut is seen from inside: a plain colour there reads as the cut face.
    const cut = new THREE.MeshBasicMaterial({ color: LOOKS.cut.colour, side: THREE.BackSide, clippingPlanes: [plane] });
    group.push(new THREE.Mesh(made, cut));
  }
  group.forEach((one) => scene.add(one));
  Object.assign(mesh, { group, few: made, all: body.rest ? null : made });
}

// Once the first picture is there: all triangles of what is shown.
async function refine() {
  if (!window.DecompressionStream) return;
  const left = meshes.filter(({ group, all }) => group && !all);
  for (const mesh of left) mesh.all = mesh.few;
  for (const mesh of left) mesh.all = await whole(mesh.body);
  if (left.length) drawNow(true);
}

// Sharp edges of a body of few triangles, found once the first picture is there. A finished shape has them in its
// own colour: where it stands out of the metal they tell so on a grey copy too.
const EDGED = { part: LOOKS.edge.colour, finished: LOOKS.finished.colour };
const lines = {};
function edge() {
  for (const one of meshes.filter(({ body, group, edged }) => body.kind in EDGED && group && !edged)) {
    one.edged = true;
    if (one.body.rest || one.few.index.count > 75000) continue;
    lines[one.body.kind] ||= new THREE.LineBasicMaterial({ color: EDGED[one.body.kind], transparent: true, clippingPlanes: [plane] });
    const drawn = new THREE.LineSegments(new THREE.EdgesGeometry(one.few, 30), lines[one.body.kind]);
    drawn.visible = one.group[0].visible;
    one.group.push(drawn);
    scene.add(drawn);
  }
}

const marks = data.marks.map((mark) => {
  const size = 0.006 * data.size, made = new THREE.BufferGeometry();
  const [x, y, z] = mark.at, s = size;
  const p = [[s, 0, 0], [-s, 0, 0], [0, s, 0], [0, -s, 0], [0, 0, s], [0, 0, -s]].map(([a, b, c]) => [x + a, y + b, z + c]);
  made.setAttribute("position", new THREE.BufferAttribute(new Float32Array(p.flat()), 3));
  made.setIndex([0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4, 2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5]);
  const mesh = new THREE.Mesh(made, material(LOOKS.mark.colour, 1, 0, { ...clear(0), opacity: 1, clippingPlanes: [nowhere] }));
  mesh.renderOrder = 3;
  scene.add(mesh);
  return { mark, mesh };
});

// ---- the eye -----------------------------------------------------------------------------------

const canvas = find("drawing");
let renderer = null, slow = null;

// Without a graphics card a picture of twice the points takes long enough to be felt while the part turns.
// Asked after the first picture: each question waits until the card has done what it was told.
function software() {
  if (slow === null) {
    const context = renderer.getContext(), told = context.getExtension("WEBGL_debug_renderer_info");
    slow = /swiftshader|llvmpipe|software|basic render/i.test(context.getParameter(told ? told.UNMASKED_RENDERER_WEBGL : context.RENDERER));
  }
  return slow;
}

try {
  renderer = new THREE.WebGLRenderer({ canvas, antialias: false, alpha: true, preserveDrawingBuffer: true });
  renderer.localClippingEnabled = true;
  renderer.debug.checkShaderErrors = false;
} catch (fault) {
  find("no-picture").hidden = false;
  canvas.hidden = true;
}
const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -10 * data.size, 10 * data.size);
camera.up.set(0, 0, 1);
const turning = new THREE.OrbitControls(camera, canvas);
turning.enableDamping = false;
turning.addEventListener("change", () => draw());

const FROM = { front: [0, -1, 0], back: [0, 1, 0], left: [-1, 0, 0], right: [1, 0, 0], above: [0, -1e-4, 1], below: [0, -1e-4, -1], corner: [1, -1.4, 0.9] };
const middle = new THREE.Vector3(...data.middle);

function look(from) {
  const to = new THREE.Vector3(...FROM[from]).normalize().multiplyScalar(data.size);
  turning.target.copy(middle);
  camera.position.copy(middle).add(to);
  camera.zoom = 1;
  camera.updateProjectionMatrix();
  turning.update();
  draw();
}

function turn(across, up) {
  const arm = camera.position.clone().sub(turning.target), length = arm.length();
  let round = Math.atan2(arm.y, arm.x) + across, rise = Math.asin(Math.max(-1, Math.min(1, arm.z / length))) + up;
  rise = Math.max(-1.5707, Math.min(1.5707, rise));
  camera.position.set(Math.cos(round) * Math.cos(rise), Math.sin(round) * Math.cos(rise), Math.sin(rise)).multiplyScalar(length).add(turning.target);
  turning.update();
  draw();
}

function nearer(times) {
  camera.zoom = Math.max(0.2, Math.min(200, camera.zoom * times));
  camera.updateProjectionMatrix();
  turning.update();
  draw();
}

// Edges are made smooth by drawing twice as many points each way, once the picture stands still:
// that looks as well as the smoothing of a graphics card, and the first picture is there much sooner.
const SMOOTH = 2, MOST_POINTS = 16e6;
let fitted = "", room = "";
function fit(fine) {
  const box = canvas.parentElement.getBoundingClientRect();
  room = [box.width, box.height].join();
  if (!renderer || box.width < 2 || box.height < 2) return;
  const ratio = fine ? Math.min(SMOOTH, Math.sqrt(MOST_POINTS / (box.width * box.height))) : 1, size = [room, ratio].join();
  if (size === fitted) return;
  fitted = size;
  renderer.setPixelRatio(ratio);
  renderer.setSize(box.width, box.height, false);
  const half = 0.6 * data.size, wide = box.width / box.height;
  const [x, y] = wide > 1 ? [half * wide, half] : [half, half / wide];
  Object.assign(camera, { left: -x, right: x, top: y, bottom: -y });
  camera.updateProjectionMatrix();
}

// ---- drawing -----------------------------------------------------------------------------------

const tags = data.tags.map((tag) => {
  const made = document.createElement("div");
  made.className = "tag " + tag.state;
  made.textContent = tag.state ? tag.words + ": " + tag.state : tag.words;
  find("tags").append(made);
  const leader = document.createElementNS("http://www.w3.org/2000/svg", "line");
  find("leaders").append(leader);
  return { tag, made, leader };
});

const STILL_MS = 300, NEAR = 4;
let waiting = 0, standing = 0, opened = false;
function draw() {
  if (renderer && !waiting) waiting = requestAnimationFrame(() => drawNow(false));
}

function drawNow(still) {
  if (!renderer) return;
  cancelAnimationFrame(waiting);
  clearTimeout(standing);
  waiting = 0;
  if (still) { edge(); refine(); }
  const fine = still || (opened && !software());
  fit(fine);
  if (!still) standing = setTimeout(() => drawNow(true), STILL_MS);
  opened = true;
  // A line is as wide as a point of the picture, so half as strong where that is drawn twice as fine.
  for (const line of Object.values(lines)) line.opacity = Math.min(1, (line === lines.part ? 0.35 : 0.5) * renderer.getPixelRatio());
  camera.updateMatrixWorld();
  lamp.value.copy(camera.position).sub(turning.target).add(new THREE.Vector3(0, 0, 0.5 * data.size)).transformDirection(camera.matrixWorldInverse);
  for (const mesh of meshes) {
    const { body } = mesh, now = shown[body.kind] && (body.when === "both" || body.when === when);
    if (now && !mesh.group) make(mesh);
    const group = mesh.group;
    if (!group) continue;
    group.forEach((one) => { one.visible = now; });
    if (body.rest) group.forEach((one) => { one.geometry = mesh.all && (fine || camera.zoom > NEAR) ? mesh.all : mesh.few; });
    if (body.kind === "part") {
      Object.assign(group[0].material, clear(shown.solid ? 1 : LOOKS.part.opacity), { side: shown.solid ? THREE.FrontSide : THREE.DoubleSide });
      group[1].visible = now && shown.solid;
    }
    if (body.kind === "passage") {
      const other = chosen !== null && chosen !== body.name;
      Object.assign(group[0].material, clear(other ? 0.25 : 1), { depthWrite: true });
    }
  }
  for (const { mark, mesh } of marks) {
    mesh.visible = when === "left" && shown.stray && mark.at[2] <= upTo + 1e-6;
    mesh.material.color.set(mark === picked ? LOOKS.picked.colour : LOOKS.mark.colour);
  }
  renderer.render(scene, camera);
  name();
  scale();
}

function onPaper(at) {
  const p = new THREE.Vector3(...at).project(camera), w = canvas.clientWidth, h = canvas.clientHeight;
  return [(0.5 + 0.5 * p.x) * w, (0.5 - 0.5 * p.y) * h];
}

// Names beside each other; one that would cover another moves down, and if there is no room it is left out.
function name() {
  const taken = [], w = canvas.clientWidth, h = canvas.clientHeight;
  for (const { tag, made, leader } of tags) {
    leader.setAttribute("visibility", "hidden");
    const at = when === "left" ? tag.left : tag.at;
    const apart = chosen !== null && !tag.passages.includes(chosen);
    made.hidden = !shown.tags || at[2] > upTo + 1e-6 || apart;
    if (made.hidden) continue;
    const [x, y] = onPaper(at), width = made.offsetWidth, height = made.offsetHeight;
    let left = Math.min(Math.max(x + 6, 0), w - width), top = y - height - 4, room = false;
    for (let k = 0; k < 7 && !room; k += 1) {
      const box = [left, top, left + width, top + height];
      room = taken.every((t) => box[0] > t[2] || box[2] < t[0] || box[1] > t[3] || box[3] < t[1]);
      if (room) taken.push(box); else top += height + 1;
    }
    made.hidden = !room || x < 0 || x > w || y < 0 || y > h;
    made.style.transform = `translate(${left}px, ${top}px)`;
    if (made.hidden) continue;
    const to = { x1: x, y1: y, x2: left, y2: top > y ? top : top + height, visibility: "visible" };
    Object.entries(to).forEach(([key, value]) => leader.setAttribute(key, value));
  }
}

function scale() {
  const mm = canvas.clientWidth * camera.zoom / (camera.right - camera.left);
  let length = 1000;
  while (length * mm > 0.25 * canvas.clientWidth) length /= String(length)[0] === "1" ? 2 : String(length)[0] === "5" ? 2.5 : 2;
  find("scale").style.width = length * mm + "px";
  find("scale").textContent = length + " mm";
  const along = ["x", "y", "z"].map((axis, k) => [axis, new THREE.Vector3(+(k === 0), +(k === 1), +(k === 2)).transformDirection(camera.matrixWorldInverse)]);
  const flat = along.filter(([, v]) => Math.hypot(v.x, v.y) > 0.3);
  const arrow = (v) => "\u2192\u2197\u2191\u2196\u2190\u2199\u2193\u2198"[(Math.round(Math.atan2(v.y, v.x) / (Math.PI / 4)) + 8) % 8];
  find("axes").textContent = flat.map(([axis, v]) => axis + " " + arrow(v)).join("   ");
}

// ---- the controls ------------------------------------------------------------------------------

let picked = null;
function pick(mark) {
  picked = mark;
  const table = find("numbers");
  table.replaceChildren();
  find("chosen").textContent = mark ? mark.passage + ", " + mark.words : "none: choose one below or in the picture";
  for (const [what, value] of mark ? mark.rows : []) {
    const row = table.insertRow(), head = document.createElement("th");
    head.textContent = what;
    row.append(head);
    row.insertCell().textContent = value;
  }
  document.querySelectorAll(".mark").forEach((one) => one.setAttribute("aria-pressed", one.mark === mark));
  draw();
}

function choose(passage) {
  chosen = chosen === passage ? null : passage;
  document.querySelectorAll(".passage").forEach((one) => one.setAttribute("aria-pressed", one.dataset.name === chosen));
  draw();
}

function cut(z) {
  const at = Math.max(data.low, Math.min(data.high, z));
  upTo = at >= data.high ? Infinity : at;
  // A hair lower: a face that lies in the plane is taken away, not drawn in patches.
  plane.constant = upTo === Infinity ? data.high + 0.01 * data.size : at - 3e-6 * data.size;
  find("cut").value = at;
  find("cut-number").value = at.toFixed(2);
  draw();
}

for (const row of data.rows) {
  const item = document.createElement("li"), button = document.createElement("button"), state = document.createElement("span");
  button.className = "passage " + row.state;
  button.dataset.name = row.name;
  button.setAttribute("aria-pressed", "false");
  state.className = "state";
  state.textContent = row.state;
  button.append(state, " " + row.name);
  button.onclick = () => choose(row.name);
  item.append(button);
  for (const line of row.lines) { const words = document.createElement("p"); words.className = "soft"; words.textContent = line; item.append(words); }
  const choices = document.createElement("div");
  choices.className = "choices no-print";
  for (const mark of data.marks.filter((one) => one.passage === row.name)) {
    const one = document.createElement("button");
    one.className = "mark";
    one.mark = mark;
    one.textContent = mark.words;
    one.setAttribute("aria-pressed", "false");
    one.onclick = () => pick(picked === mark ? null : mark);
    choices.append(one);
  }
  item.append(choices);
  find("passages").append(item);
}

document.querySelectorAll("[data-from]").forEach((one) => { one.onclick = () => look(one.dataset.from); });
document.querySelectorAll("[data-show]").forEach((one) => {
  one.checked = shown[one.dataset.show];
  one.onchange = () => { shown[one.dataset.show] = one.checked; draw(); };
});
document.querySelectorAll("[name=when]").forEach((one) => { one.checked = one.value === when; one.onchange = () => { when = one.value; draw(); }; });
find("cut").oninput = () => cut(+find("cut").value);
find("cut-number").onchange = () => cut(+find("cut-number").value);
find("whole").onclick = () => cut(data.high);
find("sheet").onclick = () => cut(data.sheets.length ? data.sheets[0] : data.high);
find("print").onclick = () => print();

const TURN = Math.PI / 36;
const KEYS = {
  ArrowLeft: () => turn(-TURN, 0), ArrowRight: () => turn(TURN, 0), ArrowUp: () => turn(0, TURN), ArrowDown: () => turn(0, -TURN),
  "+": () => nearer(1.15), "=": () => nearer(1.15), "-": () => nearer(1 / 1.15),
  PageUp: () => cut(+find("cut").value + data.step), PageDown: () => cut(+find("cut").value - data.step),
  Home: () => look("corner"), End: () => cut(data.high), Escape: () => { pick(null); if (chosen) choose(chosen); },
};
canvas.addEventListener("keydown", (event) => {
  const act = event.ctrlKey || event.metaKey || event.altKey ? null : KEYS[event.key];
  if (act) { act(); event.preventDefault(); }
});

const ray = new THREE.Raycaster();
let pressed = null;
canvas.addEventListener("pointerdown", (event) => { pressed = [event.clientX, event.clientY]; });
canvas.addEventListener("pointerup", (event) => {
  if (!pressed || Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) > 4) return;
  const box = canvas.getBoundingClientRect();
  ray.setFromCamera(new THREE.Vector2(2 * (event.clientX - box.left) / box.width - 1, 1 - 2 * (event.clientY - box.top) / box.height), camera);
  const met = ray.intersectObjects(marks.filter((one) => one.mesh.visible).map((one) => one.mesh));
  if (met.length) pick(marks.find((one) => one.mesh === met[0].object).mark);
});

// On paper the drawing keeps the size it has on the screen, names in their places, and is shrunk to its half of the page.
const PAPER = [187 / 25.4 * 96, 178 / 25.4 * 96];
function toPaper() {
  drawNow(true);
  const main = canvas.parentElement, [w, h] = [main.clientWidth, main.clientHeight];
  main.style.setProperty("--wide", w + "px");
  main.style.setProperty("--high", h + "px");
  main.style.setProperty("--shrunk", Math.min(PAPER[0] / w, PAPER[1] / h));
}

// ---- begin -------------------------------------------------------------------------------------

// What follows # in the address says how the page begins: a link can lead to a passage.
const asked = new URLSearchParams(location.hash.slice(1));
new ResizeObserver(([{ contentRect: box }]) => { if ([box.width, box.height].join() !== room) draw(); }).observe(canvas.parentElement);
addEventListener("beforeprint", toPaper);
dark.addEventListener("change", draw);
cut(data.high);
pick(null);
look(Object.hasOwn(FROM, asked.get("from")) ? asked.get("from") : "corner");
if (asked.has("z")) cut(+asked.get("z") || 0);
if (asked.has("passage") && data.rows.some((row) => row.name === asked.get("passage"))) choose(asked.get("passage"));
if (asked.has("crossing")) pick(data.marks[+asked.get("crossing")] || null);
for (const what of (asked.get("hide") || "").split(",")) if (Object.hasOwn(shown, what)) { shown[what] = false; document.querySelectorAll(`[data-show="${what}"]`).forEach((one) => { one.checked = false; }); }
if (asked.get("metal") === "solid") { shown.solid = true; document.querySelector('[data-show="solid"]').checked = true; }
if (asked.get("when") === "drawn") { when = "drawn"; document.querySelector('[value="drawn"]').checked = true; }
drawNow(false);
document.body.dataset.ready = "yes";
