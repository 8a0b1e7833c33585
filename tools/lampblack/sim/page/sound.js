// The box's sounds, in the tones that its core names, heard in this window once a person has asked for them:
// browsers let no page begin to sound by itself.

import { fixed, listen, state } from "./net.js";

const button = document.getElementById("sound");
let context = null;

function play(name) {
  let at = context.currentTime;
  for (const [hertz, ms] of fixed.tones[name] || []) {
    const length = ms / 1000;
    if (hertz) {
      const pitch = context.createOscillator();
      const level = context.createGain();
      const loud = 0.05 * state.volume;
      pitch.type = "triangle";
      pitch.frequency.value = hertz;
      // Two ms to rise and to fall: without them every tone would begin and end in a crack.
      level.gain.setValueAtTime(0, at);
      level.gain.linearRampToValueAtTime(loud, at + 0.002);
      level.gain.setValueAtTime(loud, at + Math.max(0.002, length - 0.002));
      level.gain.linearRampToValueAtTime(0, at + length);
      pitch.connect(level).connect(context.destination);
      pitch.start(at);
      pitch.stop(at + length);
    }
    at += length;
  }
}

button.addEventListener("click", async () => {
  const on = button.getAttribute("aria-pressed") !== "true";
  if (on && !context) context = new AudioContext({ latencyHint: "interactive" });
  if (context) await (on ? context.resume() : context.suspend());
  button.setAttribute("aria-pressed", on);
  button.textContent = on ? "Sound on" : "Sound off";
  if (on) play("pip");
});

listen((news) => {
  if (news.hello || !context || context.state !== "running") return; // what was heard before is not played again
  for (const [, kind, name] of news.events || []) if (kind === "sound") play(name);
});
