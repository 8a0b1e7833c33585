// Puts the page together: messages, the clock, and keys that work wherever one is on the page.

import "./easel.js";
import "./room.js";
import "./sound.js";
import "./timeline.js";
import "./trays.js";
import { develop, doAsked, freshSheet } from "./room.js";
import { changeHands, moveShade, reach, resizeShade, takeShade, turnShade, outlineKey } from "./easel.js";
import { connect, leftMs, listen, nowMs, state, write } from "./net.js";
import { press, release, turn } from "./panel.js";

const notice = document.getElementById("notice");
const clock = document.getElementById("clock");
const left = document.getElementById("left");
let fades = 0;

function tell(line, stays = false) {
  clearTimeout(fades);
  notice.textContent = line;
  notice.hidden = !line;
  if (line && !stays) fades = setTimeout(() => (notice.hidden = true), 6000);
}

listen((news) => {
  if (news.hello) tell("");
  if (news.refused) tell(news.refused);
  if (news.lost) tell("The session does not answer. If it has ended, close this page and start lampblack sim again.", true);
  document.documentElement.dataset.connected = news.lost ? "no" : "yes";
  document.querySelector("main").inert = Boolean(news.lost);
});
document.addEventListener("refused", ({ detail }) => tell(detail));

/** Under light and in a hold what is left of it, and of a start delay, as a phone may have scrolled the display away;
 * else the time since power-up. */
function showClock() {
  let text = "";
  const delays = state.box?.state === "delaying";
  const counts = Boolean(state.box?.lit) || delays || state.box?.state === "held";
  if (counts) {
    text = `${(Math.ceil(leftMs(state.box.left_ms) / 100) / 10).toFixed(1)} s`;
  } else {
    const seconds = Math.floor(nowMs() / 1000);
    text = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
  }
  write(clock, text);
  write(left, delays ? " to light" : " left");
  left.hidden = !counts;
}
setInterval(showClock, 100);
// In real time it keeps up by itself; paused or ten times as fast, a message moves it by more than can be overlooked.
listen((news) => news.state && state.pace !== 1 && showClock());

// --- keys

const HELD = { e: "expose", " ": "expose", l: "lamp", b: "back", escape: "back", p: "pedal", enter: "press" };
const TURNS = { arrowup: -1, arrowdown: 1, arrowleft: -1, arrowright: 1 };
const UPRIGHT = new Set(["arrowup", "arrowdown"]);
const MOVES = { arrowup: [0, -1], arrowdown: [0, 1], arrowleft: [-1, 0], arrowright: [1, 0] };
const NATIVE = new Set([" ", "enter", ...Object.keys(TURNS)]);

/** What has the focus wants this key for itself. */
function isTaken(key) {
  const focus = document.activeElement;
  if (!NATIVE.has(key) || !focus) return false;
  if (key === "enter" || key === " ") return focus.matches("button, a, input");
  return focus.matches("input");
}

document.addEventListener("keydown", (event) => {
  const key = event.key.toLowerCase();
  if (!state.box || event.ctrlKey || event.altKey || event.metaKey || isTaken(key)) return;
  if (outlineKey(key, event.shiftKey)) event.preventDefault();
  else if (event.shiftKey && MOVES[key]) moveShade(...MOVES[key]);
  // Up is up the rows, and up is more of a value that is open.
  else if (TURNS[key]) turn(UPRIGHT.has(key) && state.box.state === "edit" ? -TURNS[key] : TURNS[key]);
  else if (HELD[key]) event.repeat || press(HELD[key]);
  else if (key === "+" || key === "=") resizeShade(1);
  else if (key === "-") resizeShade(-1);
  else if (key === ".") turnShade(1);
  else if (key === ",") turnShade(-1);
  else if (event.repeat) return;
  else if (/^[0-4]$/.test(key)) takeShade(Number(key));
  else if (key === "h") changeHands();
  else if (key === "o") reach(true);
  else if (key === "f") doAsked();
  else if (key === "n") freshSheet();
  else if (key === "d") develop(false);
  else return;
  event.preventDefault();
});
document.addEventListener("keyup", (event) => {
  const key = event.key.toLowerCase();
  if (HELD[key]) release(HELD[key]);
  else if (key === "o") reach(false);
});
// After a click the keys belong to the box again, at once: the next key may come before any timer. Who goes by
// keyboard keeps the focus.
let isByPointer = false;
document.addEventListener("pointerup", () => (isByPointer = true), true);
document.addEventListener("keydown", () => (isByPointer = false), true);
document.addEventListener("click", () => {
  const focus = document.activeElement;
  if (isByPointer && focus && focus !== document.body && !focus.matches("#easel")) focus.blur();
});

connect();
