// The sheets in the trays: a line for each place of the box's Trays screen, with the clock of its tray.

import { listen, nowMs, state, write } from "./net.js";

const list = document.getElementById("trays");
let lines = [];

function line(place) {
  const item = document.createElement("li");
  const parts = { item };
  for (const [name, tag] of [["place", "span"], ["tray", "span"], ["says", "span"], ["counts", "time"]]) {
    parts[name] = Object.assign(document.createElement(tag), { className: name });
    item.append(parts[name]);
  }
  parts.place.textContent = place;
  parts.place.setAttribute("aria-label", `Sheet ${place}`);
  parts.tray.setAttribute("aria-live", "polite");
  return parts;
}

function clockText(ms) {
  const seconds = Math.floor(ms / 1000);
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

/** What is left, the last second of it as 0:01; what it is over by; or how long it has been in, as far as no end is known. */
function clockOf({ began_ms: began, ends_ms: ends }, now) {
  if (ends === null) return clockText(now - began);
  return now < ends ? clockText(ends - now + 999) : `+${clockText(now - ends)}`;
}

function show() {
  const now = nowMs();
  lines.forEach((parts, at) => {
    const sheet = state.trays?.find((one) => one.place === state.places[at]);
    const isTold = Boolean(sheet) && now < sheet.told_ms;
    const isIn = Boolean(sheet) && (sheet.in || isTold);
    parts.item.classList.toggle("told", isTold);
    parts.item.classList.toggle("free", !isIn);
    write(parts.tray, isIn ? sheet.tray : "free");
    write(parts.says, isIn ? sheet.says : "");
    write(parts.counts, isIn && sheet.in ? clockOf(sheet, now) : "");
  });
}

listen((news, changed) => {
  if (news.hello) {
    lines = state.places.map(line);
    list.replaceChildren(...lines.map((parts) => parts.item));
  }
  if (changed.has("trays") || news.hello || (news.state && !state.pace)) show();
});
setInterval(() => state.trays?.length && show(), 200);
