// The sheet under the lamp, and what two hands hold in the light. Their shades are drawn at once; where the shadows fall
// on the paper is worked out by the session, from the same figures.

import { chips } from "./chips.js";
import { css, rgb } from "./colours.js";
import { fixed, listen, send, sendLate, sendLater, state, write } from "./net.js";
import { picture, projected } from "./tone.js";

const [INK, SOFT, OUTLINE, GROUND, WELL, GLOW] = ["ink", "soft", "outline", "ground", "well", "glow"].map(css);
const SHADOW = rgb("well").join();
const canvas = document.getElementById("easel");
const context = canvas.getContext("2d");
const size = document.getElementById("size");
const angle = document.getElementById("angle");
const hands = { right: { shape: "none" }, left: { shape: "none" } };
let hand = "right"; // the one that has the pointer
let shade = hands[hand];
const fingers = new Map(); // which hand a finger on the sheet is, by its pointer's number
const places = {}; // where each hand's shade belongs
const kept = {}; // each shade's own size and angle, from when it was last in the hand
const AWAY = [-0.6, -0.6];
let pointer = null; // where a mouse is, in parts of the sheet; null while there is none
let film = null;
let movedAt = 0; // performance.now() when this window last moved the shade
let drawing = null; // the outline of an area being drawn: {name, points, at}

export const sheetIsLit = () => Boolean(state.box?.lit && state.light > 0);

// --- the shades

const other = () => (hand === "right" ? "left" : "right");
const showHands = chips(document.getElementById("hands"), (name) => name === hand || changeHands(false));
const showShades = chips(document.getElementById("shades"), (shape) => hold(shape));

export function takeShade(number) {
  hold(Object.keys(fixed.shades)[number]);
}

function hold(shape) {
  kept[shade.shape] = [shade.size, shade.angle];
  const { size: first, angle: turned } = fixed.shades[shape];
  [shade.size, shade.angle] = kept[shape] || [first, turned];
  shade.shape = shape;
  shade.lifted = false;
  // What is taken up is where the hand is: not in the light before it is brought there.
  [shade.x, shade.y] = shape === "cover" ? [0, 0.5] : pointer || [0.5, 0.5];
  moved();
}

/** The other hand gets the pointer. This one waits beside the light, over where its shade is now, or was set. */
export function changeHands(here = true) {
  const left = hands[hand];
  if (here || !places[hand]) places[hand] = [left.x, left.y];
  [left.x, left.y] = places[hand];
  left.lifted = true;
  moved();
  hand = other();
  shade = hands[hand];
  shade.lifted = false;
  moved();
}

/** The hand without the pointer holds its shade in the light, or no longer. */
export function reach(inLight) {
  const one = hands[other()];
  if (one.shape === "none" || one.lifted === !inLight) return;
  one.lifted = !inLight;
  moved(other());
}

export function moveShade(dx, dy) {
  place(shade.x + dx * 0.02, shade.y + dy * 0.025);
}

export function resizeShade(steps) {
  shade.size = within(fixed.shade_size, shade.size * 1.12 ** steps);
  moved();
}

export function turnShade(steps) {
  shade.angle = (shade.angle + steps * 5 + 360) % 360;
  moved();
}

function place(x, y, own = hand) {
  hands[own].x = within(fixed.shade_place, x);
  hands[own].y = within(fixed.shade_place, y);
  moved(own);
}

const within = ([least, most], value) => Math.min(most, Math.max(least, value));

function moved(own = hand) {
  movedAt = performance.now();
  sendLater({ do: "shade", hand: own, ...hands[own] });
  renew();
  showHand();
}

function showHand() {
  showHands([["right", "Right"], ["left", "Left"]], hand);
  showShades(Object.entries(fixed.shades).map(([shape, { title }]) => [shape, title]), shade.shape);
  const round = shade.shape === "disc" || shade.shape === "hole";
  document.getElementById("size-label").hidden = !round;
  document.getElementById("angle-label").hidden = ["none", "hole", "cell"].includes(shade.shape);
  size.value = Math.round(shade.size * 100);
  angle.value = ((shade.angle + 180) % 360) - 180;
  const waits = hands[other()].shape === "none" ? "" :
    ` The ${other()} hand holds its shade in the light while O or the right mouse button is down, or as a second finger.`;
  const covered = state.test ? "What this test wants covered is covered by itself. " : "";
  write(document.getElementById("easel-help"), covered + fixed.shades[shade.shape].says + waits);
}

size.addEventListener("input", () => {
  shade.size = size.value / 100;
  moved();
});
angle.addEventListener("input", () => {
  shade.angle = (Number(angle.value) + 360) % 360;
  moved();
});

// --- the pointer

/** Where on the sheet; null while the sheet is not shown. */
function at(event) {
  const box = canvas.getBoundingClientRect();
  if (!box.width) return null;
  return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
}

// A mouse carries the shade wherever it goes, so that it can leave the light; the cover stays where it was put.
for (const kind of ["pointermove", "pointerdown"]) {
  window.addEventListener(kind, (event) => (pointer = event.pointerType === "mouse" ? at(event) : AWAY), true);
}
window.addEventListener("pointermove", (event) => {
  const point = at(event);
  if (!point) return;
  if (drawing) {
    drawing.at = point;
    renew();
  } else if (event.pointerType === "mouse" && !["none", "cover"].includes(shade.shape)) {
    place(...point);
  }
});
canvas.addEventListener("pointerdown", (event) => {
  if (event.button === 2) return;
  canvas.setPointerCapture(event.pointerId);
  if (drawing) drawing.points.push(at(event));
  else if (event.pointerType !== "mouse") touch(event);
  else if (shade.shape !== "none") place(...(places[hand] = at(event)));
  renew();
});
canvas.addEventListener("pointermove", (event) => {
  if (drawing || !event.buttons) return;
  if (fingers.has(event.pointerId)) place(...at(event), fingers.get(event.pointerId));
  else if (event.pointerType === "mouse" && shade.shape !== "none") place(...at(event));
});

/** The first finger is the hand that has the pointer, the second one the other. */
function touch(event) {
  const own = [...fingers.values()].includes(hand) ? other() : hand;
  if (hands[own].shape === "none") return;
  fingers.set(event.pointerId, own);
  hands[own].lifted = false;
  place(...at(event), own);
}
// A finger that is lifted takes the shade out of the light with it.
for (const kind of ["pointerup", "pointercancel"]) {
  canvas.addEventListener(kind, (event) => {
    const own = fingers.get(event.pointerId);
    if (!fingers.delete(event.pointerId)) return;
    if (own === other()) reach(false);
    else if (["disc", "hole"].includes(shade.shape)) place(...AWAY);
  });
}
canvas.addEventListener("mousedown", (event) => event.button === 2 && reach(true));
window.addEventListener("mouseup", (event) => event.button === 2 && reach(false));
window.addEventListener("blur", () => reach(false));
canvas.addEventListener("contextmenu", (event) => event.preventDefault());
canvas.addEventListener("wheel", (event) => {
  if (shade.shape === "none" || shade.shape === "cell") return;
  event.preventDefault();
  const steps = -Math.sign(event.deltaY || event.deltaX);
  if (event.shiftKey || shade.shape === "edge" || shade.shape === "cover") turnShade(steps);
  else resizeShade(steps);
}, { passive: false });

// --- outlines of areas, drawn by hand

export function drawOutline(name) {
  drawing = { name, points: [], at: [0.5, 0.5] };
  showNote();
  canvas.focus();
  canvas.scrollIntoView({ block: "center" });
  renew();
}

/** A key while an outline is drawn: arrows move, Enter sets a point, Escape gives up. False: the key is not for this. */
export function outlineKey(key, fine) {
  if (!drawing) return false;
  const step = fine ? 0.005 : 0.02;
  const moves = { arrowup: [0, -step], arrowdown: [0, step], arrowleft: [-step, 0], arrowright: [step, 0] };
  if (moves[key]) drawing.at = [drawing.at[0] + moves[key][0], drawing.at[1] + moves[key][1]];
  else if (key === "enter") drawing.points.push([...drawing.at]);
  else if (key === " ") finishOutline();
  else if (key === "escape") stopDrawing();
  else return false;
  renew();
  return true;
}

function finishOutline() {
  const { name, points } = drawing;
  stopDrawing();
  send({ do: "area", name, points });
}

function stopDrawing() {
  drawing = null;
  showHand();
  showNote();
  renew();
}
canvas.addEventListener("dblclick", () => drawing && finishOutline());

// --- drawing

function edgeOf(stops) {
  const gradient = stops.gradient;
  for (let step = 0; step <= 8; step++) {
    const t = step / 8;
    const soft = t * t * (3 - 2 * t);
    gradient.addColorStop(t, `rgba(${SHADOW},${stops.falling ? 1 - soft : soft})`);
  }
  return gradient;
}

/** One that is lifted out of the light is a dashed line where it belongs. */
function drawShade(shade, lit) {
  const shadow = (stops) => (shade.lifted ? "transparent" : edgeOf(stops));
  const { width, height } = canvas;
  const soft = fixed.soft_edge * width;
  const x = shade.x * width, y = shade.y * height, radius = (shade.size * width) / 2;
  const turn = (shade.angle * Math.PI) / 180;
  const inner = Math.max(0, radius - soft / 2);
  context.save();
  context.lineWidth = 2;
  context.strokeStyle = SOFT;
  if (shade.lifted) context.setLineDash([4, 8]);
  if (shade.shape === "disc") {
    context.fillStyle = shadow({ gradient: context.createRadialGradient(x, y, inner, x, y, radius + soft / 2), falling: true });
    context.fillRect(x - radius - soft, y - radius - soft, 2 * (radius + soft), 2 * (radius + soft));
    context.translate(x, y);
    context.rotate(turn);
    context.strokeStyle = lit ? `rgba(${SHADOW},.5)` : SOFT;
    context.beginPath();
    context.moveTo(radius, 0);
    context.lineTo(2 * width, 0);
    context.stroke();
    context.strokeStyle = SOFT;
    context.beginPath();
    context.arc(0, 0, inner, 0, 2 * Math.PI);
    context.stroke();
  } else if (shade.shape === "hole") {
    context.fillStyle = shadow({ gradient: context.createRadialGradient(x, y, inner, x, y, radius + soft / 2) });
    context.fillRect(0, 0, width, height);
    context.beginPath();
    context.arc(x, y, radius, 0, 2 * Math.PI);
    context.stroke();
  } else if (shade.shape === "cell") {
    const half = 0.012 * width; // its window, and a frame round it
    context.strokeRect(x - half, y - half, 2 * half, 2 * half);
    context.strokeRect(x - 2 * half, y - 2 * half, 4 * half, 4 * half);
  } else if (shade.shape !== "none") {
    const edge = (shade.shape === "cover" ? fixed.contact_edge : fixed.soft_edge) * width;
    context.translate(x, y);
    context.rotate(turn);
    context.fillStyle = shadow({ gradient: context.createLinearGradient(-edge / 2, 0, edge / 2, 0) });
    context.fillRect(-edge / 2, -2 * width, 3 * width, 4 * width);
    context.beginPath();
    context.moveTo(edge / 2, -2 * width);
    context.lineTo(edge / 2, 2 * width);
    context.stroke();
  }
  context.restore();
}

function trace(points, closed) {
  context.beginPath();
  const { width, height } = canvas;
  points.forEach(([x, y], index) => context[index ? "lineTo" : "moveTo"](x * width, y * height));
  if (closed) context.closePath();
}

function drawOutlines(lit) {
  const now = state.shaded || [];
  const { width, height } = canvas;
  context.save();
  context.font = "600 22px system-ui, sans-serif";
  context.textAlign = "center";
  context.lineJoin = "round";
  for (const [name, points] of Object.entries(state.areas || {})) {
    if (!points || !state.marked.includes(name)) continue;
    const wanted = now.includes(name) || (state.box.stage?.kind === "burn" && state.box.stage.area === name);
    if (lit && !wanted) continue;
    context.strokeStyle = context.fillStyle = wanted ? INK : OUTLINE;
    context.lineWidth = wanted ? 3 : 1.5;
    context.setLineDash(wanted ? [14, 8] : [5, 7]);
    trace(points, true);
    if (lit) {
      // On a bright ground the dashes are dark, with a bright line under them.
      context.setLineDash([]);
      context.strokeStyle = INK;
      context.stroke();
      context.setLineDash([14, 8]);
      context.strokeStyle = GROUND;
    }
    context.stroke();
    if (lit) continue;
    const xs = points.map(([x]) => x), ys = points.map(([, y]) => y);
    const middle = ((Math.min(...xs) + Math.max(...xs)) / 2) * width;
    context.fillText(name, middle, ((Math.min(...ys) + Math.max(...ys)) / 2) * height + 7);
  }
  if (drawing) {
    context.setLineDash([]);
    context.strokeStyle = context.fillStyle = INK;
    context.lineWidth = 2;
    trace([...drawing.points, drawing.at], false);
    context.stroke();
    for (const [x, y] of [...drawing.points, drawing.at]) context.fillRect(x * width - 4, y * height - 4, 8, 8);
  }
  context.restore();
}

/** Each field's name in its upper right corner. */
export function nameFields(context, fields, ink, ground) {
  const { width, height } = context.canvas;
  context.save();
  context.font = "600 22px system-ui, sans-serif";
  context.textAlign = "center";
  for (const [name, left, top, right] of fields) {
    const wide = context.measureText(name).width + 12;
    const x = Math.max(left * width, right * width - wide - 8), y = top * height + 8;
    context.fillStyle = ground;
    context.fillRect(x, y, wide, 30);
    context.fillStyle = ink;
    context.fillText(name, x + wide / 2, y + 23);
  }
  context.restore();
}

/** A guided test's paper: dark where the hands cover it, and its fields. */
function drawTest({ fields, open: [left, top, right, bottom] }) {
  const { width, height } = canvas;
  context.save();
  context.fillStyle = `rgb(${SHADOW})`;
  context.beginPath();
  context.rect(0, 0, width, height);
  context.rect(left * width, top * height, (right - left) * width, (bottom - top) * height);
  context.fill("evenodd");
  context.strokeStyle = SOFT;
  context.lineWidth = 2;
  context.strokeRect(left * width, top * height, (right - left) * width, (bottom - top) * height);
  context.strokeStyle = OUTLINE;
  context.lineWidth = 1.5;
  context.setLineDash([5, 7]);
  for (const [, x, y, toX, toY] of fields) context.strokeRect(x * width, y * height, (toX - x) * width, (toY - y) * height);
  context.restore();
  nameFields(context, fields, OUTLINE, WELL);
}

function draw() {
  if (!state.box) return;
  const lit = state.light > 0.002;
  const { width, height } = canvas;
  context.globalAlpha = 1;
  context.fillStyle = WELL;
  context.fillRect(0, 0, width, height);
  if (state.sheet.in && state.box.safelight) {
    context.fillStyle = GLOW;
    context.fillRect(0, 0, width, height);
  }
  // While an outline is drawn the negative is shown as if on a light table.
  const light = drawing ? 0.35 : state.light;
  if (film && (lit || drawing)) {
    context.globalAlpha = Math.min(1, light) ** (1 / fixed.gamma);
    if (state.negative_out && !drawing) {
      context.fillStyle = INK;
      context.fillRect(0, 0, width, height);
    } else {
      context.drawImage(film, 0, 0, width, height);
    }
    context.globalAlpha = 1;
  }
  if (state.sheet.in && state.test) drawTest(state.test);
  for (const one of Object.values(hands)) drawShade(one, lit);
  if (state.sheet.in || drawing) drawOutlines(lit);
}

let asked = false;

/** Draw with the next frame, and tell by then where the shade is; at rest nothing runs. */
function renew() {
  if (asked) return;
  asked = true;
  requestAnimationFrame(() => {
    asked = false;
    sendLate();
    draw();
  });
}

function showNote() {
  const isEmpty = !state.sheet.in && !sheetIsLit() && !drawing;
  write(document.getElementById("board-note"), isEmpty ? "No sheet in the easel" : "");
}

let shown = 0;
listen((news, changed) => {
  if (news.hello) {
    [canvas.width, canvas.height] = fixed.sheet_px;
    [size.min, size.max] = fixed.shade_size.map((part) => Math.round(part * 100));
  }
  if (news.state) renew();
  if (changed.has("pictures") && state.pictures.negative !== shown) {
    const number = (shown = state.pictures.negative);
    picture("negative", number, projected).then((canvas) => {
      if (number !== shown) return;
      film = canvas;
      renew();
    }, (error) => document.dispatchEvent(new CustomEvent("refused", { detail: error.message })));
  }
  // Another window holds the shades: follow it, unless this one has just moved one.
  if (changed.has("hands") && (news.hello || performance.now() - movedAt > 400)) {
    for (const [own, held] of Object.entries(state.hands)) Object.assign(hands[own], held);
    showHand();
  }
  if (changed.has("test")) showHand();
  if (changed.has("box") || changed.has("sheet")) showNote();
});
