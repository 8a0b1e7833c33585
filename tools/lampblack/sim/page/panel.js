// The box's front: its display from the core's own bytes, its keys and its dial.

import { rgb } from "./colours.js";
import { fixed, listen, send, state, write } from "./net.js";

const DEGREES_PER_DETENT = 15, NOTCH = 50;
const LOOK_MS = 40;
// A browser whose page changes as a key goes down draws that first, and reads the session's answer a frame later. So
// what a key or the dial itself looks like waits this long, and what it did is seen first.
const canvas = document.getElementById("frame");
const face = document.getElementById("dial-face");
const dial = document.getElementById("dial");
const lamp = document.getElementById("lamp");
const safelight = document.getElementById("safelight");

// --- the display

const context = canvas.getContext("2d");
const [GROUND, INK] = new Uint32Array(new Uint8ClampedArray([...rgb("ground"), 255, ...rgb("ink"), 255]).buffer);
let image, pixels;

/** As many pixels as the display has. */
function measure([wide, high]) {
  [canvas.width, canvas.height] = [wide, high];
  image = context.createImageData(wide, high);
  pixels = new Uint32Array(image.data.buffer);
  fit();
}

function draw(frame) {
  const bytes = atob(frame);
  const wide = canvas.width;
  for (let at = 0; at < pixels.length; at++) {
    const x = at % wide, y = (at - x) / wide;
    pixels[at] = (bytes.charCodeAt((y >> 3) * wide + x) >> (y & 7)) & 1 ? INK : GROUND;
  }
  context.putImageData(image, 0, 0);
}

/** A pixel of the display is a whole number of the screen's, so that all look alike. */
function fit() {
  const ratio = window.devicePixelRatio;
  const scale = Math.max(1, Math.floor((canvas.parentElement.clientWidth * ratio) / canvas.width)) / ratio;
  canvas.style.width = `${canvas.width * scale}px`;
  canvas.style.height = `${canvas.height * scale}px`;
}
new ResizeObserver(() => image && fit()).observe(canvas.parentElement);

// --- keys: the box is told when one goes down, and of BACK also when it is let go

const down = new Set();

export function press(name) {
  if (down.has(name)) return;
  down.add(name);
  send({ do: "key", name });
  showKey(name, true);
}

export function release(name) {
  if (!down.delete(name)) return;
  if (name === "back") send({ do: "key", name: "back_up" });
  showKey(name, false);
}

function showKey(name, isDown) {
  setTimeout(() => {
    for (const button of document.querySelectorAll(`[data-key="${name}"]`)) button.classList.toggle("down", isDown);
  }, LOOK_MS);
}

for (const button of document.querySelectorAll("[data-key]")) {
  const name = button.dataset.key;
  const isKey = ({ key }) => key === " " || key === "Enter";
  button.addEventListener("pointerdown", (event) => {
    if (event.button === 0) press(name);
  });
  for (const kind of ["pointerup", "pointercancel", "pointerleave"]) button.addEventListener(kind, () => release(name));
  button.addEventListener("keydown", (event) => {
    if (!isKey(event) || event.shiftKey) return;
    event.preventDefault();
    event.stopPropagation();
    if (!event.repeat) press(name);
  });
  button.addEventListener("keyup", (event) => {
    if (!isKey(event)) return;
    event.preventDefault();
    release(name);
  });
  // A click without a pointer or a key comes from a screen reader or a switch.
  button.addEventListener("click", (event) => {
    if (event.detail === 0) {
      press(name);
      release(name);
    }
  });
  // A click gives no focus: the keyboard belongs to the box.
  button.addEventListener("mousedown", (event) => event.preventDefault());
  button.addEventListener("contextmenu", (event) => event.preventDefault());
}
window.addEventListener("blur", () => [...down].forEach(release));

// --- the dial

let turned = 0;

export function turn(detents) {
  turned += detents;
  send({ do: "dial", detents });
  setTimeout(() => {
    face.style.transform = `rotate(${turned * DEGREES_PER_DETENT}deg)`;
    dial.setAttribute("aria-valuenow", turned);
  }, LOOK_MS);
}

// A notch of a wheel is a detent, however far it would scroll; a touchpad's small steps are gathered.
let wheel = 0;
dial.addEventListener("wheel", (event) => {
  event.preventDefault();
  const moved = event.deltaY || event.deltaX;
  wheel = event.deltaMode || Math.abs(moved) >= NOTCH ? Math.sign(moved) * NOTCH : wheel + moved;
  if (Math.abs(wheel) < NOTCH) return;
  turn(Math.sign(wheel));
  wheel = 0;
}, { passive: false });

let held = null;

function angleOf(event) {
  const box = dial.getBoundingClientRect();
  return (Math.atan2(event.clientY - box.top - box.height / 2, event.clientX - box.left - box.width / 2) * 180) / Math.PI;
}

dial.addEventListener("pointerdown", (event) => {
  dial.setPointerCapture(event.pointerId);
  held = { angle: angleOf(event), rest: 0, moved: false };
});
dial.addEventListener("pointermove", (event) => {
  if (!held) return;
  const angle = angleOf(event);
  held.rest += ((angle - held.angle + 540) % 360) - 180;
  held.angle = angle;
  const detents = Math.trunc(held.rest / DEGREES_PER_DETENT);
  if (detents) {
    held.rest -= detents * DEGREES_PER_DETENT;
    held.moved = true;
    turn(detents);
  }
});
dial.addEventListener("pointerup", () => {
  if (held && !held.moved) {
    press("press");
    release("press");
  }
  held = null;
});
dial.addEventListener("pointercancel", () => (held = null));
document.getElementById("turn-left").addEventListener("click", () => turn(-1));
document.getElementById("turn-right").addEventListener("click", () => turn(1));

// --- what is told

function show(light, text, on) {
  write(light, text);
  light.classList.toggle("on", on);
}

listen((news, changed) => {
  if (news.hello) measure(fixed.frame_px);
  if (news.frame) draw(news.frame);
  if (news.lost) {
    document.documentElement.dataset.lamp = "unknown";
    show(lamp, "Lamp unknown", false);
    show(safelight, "Safelight unknown", false);
  }
  if (changed.has("box")) {
    document.documentElement.dataset.lamp = state.box.lit ? "lit" : "dark";
    document.documentElement.dataset.safelight = state.box.safelight ? "on" : "off";
    document.documentElement.dataset.box = state.box.state;
    show(lamp, state.box.lit ? "Lamp lit" : "Lamp dark", state.box.lit);
    show(safelight, state.box.safelight ? "Safelight on" : "Safelight off", state.box.safelight);
  }
  if (changed.has("says")) {
    for (const [control, text] of Object.entries({ ...state.says, pedal: state.says.expose })) {
      const place = document.getElementById(`${control}-does`);
      if (place) write(place, text);
    }
  }
  if (changed.has("message") || changed.has("says")) {
    const says = state.says.expose ? `EXPOSE: ${state.says.expose}` : "";
    write(document.getElementById("says"), state.message || says);
  }
});
