// What lamp, safelight, stages, sounds and sheets in the trays did, as a strip that ends now.

import { chips } from "./chips.js";
import { css } from "./colours.js";
import { fixed, listen, nowMs, state } from "./net.js";

const canvas = document.getElementById("timeline");
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const LANES = ["Stage", "Lamp", "Safelight", "Sounds"];
const [INK, SOFT, LINE, DIM, GROUND] = ["ink", "soft", "line", "dim", "ground"].map(css);
const LEFT = 76, RIGHT = 26, TOP = 8;
let rows = [];
let span = 60;

const showSpans = chips(document.getElementById("spans"), (value) => {
  span = Number(value);
  draw();
});

/** Stretches of one kind: [from, to or null, value]. */
function stretches(kind) {
  const found = [];
  for (const [at, own, value] of rows) {
    if (own !== kind && !(own === "reset" && kind !== "stage")) continue;
    if (found.length && found.at(-1)[1] === null) found.at(-1)[1] = at;
    if (own === kind && value) found.push([at, null, value]);
  }
  return found;
}

function draw() {
  const ratio = window.devicePixelRatio;
  const { clientWidth: width, clientHeight: height } = canvas;
  if (!width || !fixed.steps_s) return;
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, height);
  const now = nowMs();
  const shown = span ? span * 1000 : Math.max(10000, now);
  const from = span ? Math.max(0, now - shown) : 0;
  const x = (ms) => LEFT + ((ms - from) / shown) * (width - LEFT - RIGHT);
  const lanes = [...LANES, ...state.places.map((place) => `Sheet ${place}`)];
  const lane = (height - TOP - 20) / lanes.length;
  const y = (index) => TOP + index * lane;
  context.font = "12px system-ui, sans-serif";
  context.textBaseline = "middle";
  context.fillStyle = SOFT;
  lanes.forEach((name, index) => context.fillText(name, 12, y(index) + lane / 2));

  // Seconds below, in steps of 1, 2 or 5 that leave room for their numbers
  const room = (60 * shown) / (width - LEFT - RIGHT) / 1000;
  const step = fixed.steps_s.find((seconds) => seconds >= room) || 2 * fixed.steps_s.at(-1);
  for (let s = Math.ceil(from / 1000 / step) * step; s * 1000 <= from + shown; s += step) {
    context.fillStyle = LINE;
    context.fillRect(Math.round(x(s * 1000)), TOP, 1, height - TOP - 20);
    context.fillStyle = SOFT;
    context.textAlign = "center";
    context.fillText(`${s} s`, x(s * 1000), height - 10);
  }
  context.textAlign = "left";

  context.save();
  context.beginPath();
  context.rect(LEFT, 0, width - LEFT, height);
  context.clip();
  const bar = (index, [begin, end, value], fill, text) => {
    const left = x(begin), wide = Math.max(1.5, x(end ?? now) - left);
    if (left + wide < LEFT) return;
    context.fillStyle = fill;
    context.fillRect(left, y(index) + 3, wide, lane - 6);
    if (!text) return;
    context.strokeStyle = LINE;
    context.strokeRect(left + 0.5, y(index) + 3.5, wide, lane - 7);
    context.save();
    context.beginPath();
    context.rect(Math.max(left, LEFT), y(index), Math.min(wide, left + wide - LEFT) - 3, lane);
    context.clip();
    context.fillStyle = INK;
    context.fillText(String(value), Math.max(left, LEFT) + 5, y(index) + lane / 2);
    context.restore();
  };
  for (const one of stretches("stage")) bar(0, one, GROUND, true);
  state.places.forEach((place, at) => stretches(`sheet ${place}`).forEach((one) => bar(LANES.length + at, one, GROUND, true)));
  for (const one of stretches("lamp")) bar(1, one, INK, false);
  for (const one of stretches("safelight")) bar(2, one, DIM, false);
  let free = 0;
  for (const [at, kind, name] of rows) {
    if (kind !== "sound" || at < from) continue;
    const left = x(at);
    const small = fixed.small_sounds.includes(name);
    const tall = small ? (fixed.small_sounds.indexOf(name) + 1) / 4 : 1;
    context.fillStyle = small ? SOFT : INK;
    context.fillRect(left, y(3) + 3 + (lane - 6) * (1 - tall), 1.5, (lane - 6) * tall);
    if (!small && left >= free) {
      context.fillText(name, left + 4, y(3) + lane / 2 - 2);
      free = left + 8 + context.measureText(name).width;
    }
  }
  context.restore();
  context.fillStyle = INK;
  context.fillRect(x(now), TOP - 4, 1, height - TOP - 16);
}

let drawn = 0;
let stale = false;

// Not with the message that tells of something: lamp, display and easel are seen first.
function tick() {
  const each = calm.matches ? 1000 : state.box?.lit ? 100 : 500;
  if (document.hidden || !(stale || (state.pace && performance.now() - drawn >= each))) return;
  drawn = performance.now();
  stale = false;
  draw();
}

listen((news, changed) => {
  if (news.hello) rows = [];
  if (news.events) rows.push(...news.events);
  if (news.events || changed.has("pace") || (news.state && !state.pace)) stale = true;
  if (news.hello) showSpans([[60, "Last minute"], [600, "10 minutes"], [0, "All"]], span);
});
new ResizeObserver(draw).observe(canvas);
setInterval(tick, 100);
