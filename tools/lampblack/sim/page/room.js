// The darkroom round the box: filter, paper, lamp, negative, practice, and what became of the last sheet.

import { chips } from "./chips.js";
import { css } from "./colours.js";
import { drawOutline, nameFields, sheetIsLit } from "./easel.js";
import { fixed, listen, send, state, write } from "./net.js";
import { errors, grey, picture, red } from "./tone.js";

const byId = (id) => document.getElementById(id);
const refuse = (line) => document.dispatchEvent(new CustomEvent("refused", { detail: line }));
const filterName = (name) => (name ? `Filter ${name}` : "No filter");

function element(tag, text, more = {}) {
  return Object.assign(document.createElement(tag), { textContent: text }, more);
}

const showFilters = chips(byId("filters"), (filter) => send({ do: "fit", filter }));
const showPapers = chips(byId("papers"), (name) => send({ do: "paper", name }));
const showLamps = chips(byId("lamps"), (name) => send({ do: "lamp", name }));
const showApertures = chips(byId("apertures"), (name) => send({ do: "lens", name }));
const showNegatives = chips(byId("negatives"), (name) => send({ do: "negative", name }));
const showPaces = chips(byId("paces"), (speed) => send({ do: "pace", speed }));
const showViews = chips(byId("views"), (name) => look(name));

// --- what a person does

export function askedFilter() {
  if (state.asks !== null) send({ do: "fit", filter: state.asks });
}
function moveNegative() {
  if (state.moves_negative) send({ do: "move_negative", out: state.moves_negative === "out" });
}
/** The negative first: while it has to be moved no light is wanted. */
export function doAsked() {
  if (state.moves_negative) moveNegative();
  else askedFilter();
}
export function freshSheet() {
  send({ do: "sheet" });
}
export function develop(dry) {
  send({ do: "develop", dry });
}

byId("fit-asked").addEventListener("click", askedFilter);
byId("move-asked").addEventListener("click", moveNegative);
byId("negative-out").addEventListener("change", ({ target }) => send({ do: "move_negative", out: target.checked }));
byId("new-sheet").addEventListener("click", freshSheet);
byId("develop").addEventListener("click", () => develop(false));
byId("develop-dry").addEventListener("click", () => develop(true));
byId("unplug").addEventListener("click", () => send({ do: "unplug" }));
for (const button of document.querySelectorAll("[data-step]")) {
  button.addEventListener("click", () => send({ do: "step", ms: Number(button.dataset.step) }));
}

// --- a picture of one's own

async function use(file) {
  const film = byId("own-film").checked ? "negative" : "picture";
  const answer = await fetch(`negative?film=${film}&name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
  if (!answer.ok) refuse((await answer.text()).trim());
}

byId("own").addEventListener("click", () => byId("own-file").click());
byId("own-file").addEventListener("change", ({ target }) => {
  if (target.files.length) use(target.files[0]);
  target.value = "";
});
let over = 0;
const carriesFile = (event) => event.dataTransfer && [...event.dataTransfer.types].includes("Files");
document.addEventListener("dragover", (event) => {
  if (!carriesFile(event)) return;
  event.preventDefault();
  byId("drop").hidden = false;
  clearTimeout(over);
  over = setTimeout(() => (byId("drop").hidden = true), 300);
});
document.addEventListener("drop", (event) => {
  if (!carriesFile(event)) return;
  event.preventDefault();
  byId("drop").hidden = true;
  if (event.dataTransfer.files.length) use(event.dataTransfer.files[0]);
});

// --- the easel or the last print

let view = "easel";

function look(name) {
  view = name;
  if (name !== "print") whiteOut();
  byId("easel-view").hidden = name !== "easel";
  byId("print-view").hidden = name !== "print";
  showViews(state.pictures?.print ? [["easel", "Sheet"], ["print", "Last print"]] : [["easel", "Sheet"]], view);
  byId("views").hidden = !state.pictures?.print;
}

const drawn = { print: 0, errors: 0 };

async function drawPicture(kind, colour) {
  const number = state.pictures[kind];
  if (!number || drawn[kind] === number) return;
  drawn[kind] = number;
  try {
    const made = await picture(kind, number, colour);
    if (drawn[kind] !== number) return;
    [byId(kind).width, byId(kind).height] = [made.width, made.height];
    byId(kind).getContext("2d").drawImage(made, 0, 0);
    byId(kind).dataset.number = number;
    if (kind === "print") nameTheParts(byId(kind));
  } catch (error) {
    refuse(error.message);
  }
}

// White light, to judge a print by: asked for each time, and out before the dark is needed.

function whiteOut() {
  byId("judge").setAttribute("aria-pressed", "false");
  byId("white").hidden = true;
}

async function judge() {
  const button = byId("judge");
  if (button.getAttribute("aria-pressed") === "true") return whiteOut();
  button.setAttribute("aria-pressed", "true");
  const number = state.pictures.print;
  try {
    const made = await picture("print", number, grey);
    // The lamp may have been lit by now, or another print be there.
    if (button.getAttribute("aria-pressed") !== "true" || number !== state.pictures.print) return;
    const white = byId("white");
    [white.width, white.height] = [made.width, made.height];
    white.getContext("2d").drawImage(made, 0, 0);
    nameTheParts(white);
    white.hidden = false;
  } catch (error) {
    whiteOut();
    refuse(error.message);
  }
}
byId("judge").addEventListener("click", judge);

/** A strip's patches lie side by side, the first one on the left: their times are written on them. The fields of a
 * guided test have their names in their corners, where they cover no border that is to be looked at. */
function nameTheParts(print) {
  const { patches = [], fields = [] } = state.verdict || {};
  const context = print.getContext("2d");
  nameFields(context, fields, css("ink"), css("ground"));
  const wide = print.width / patches.length;
  context.font = "600 26px system-ui, sans-serif";
  context.textAlign = "center";
  for (const { patch, seconds } of patches) {
    const left = (patch - 1) * wide;
    context.fillStyle = css("ground");
    context.fillRect(left, print.height - 60, wide, 60);
    context.fillRect(left - 1, 0, 2, print.height);
    context.fillStyle = css("ink");
    context.fillText(`${seconds.toFixed(2)}`, left + wide / 2, print.height - 20, wide - 8);
  }
}

function stops(value) {
  if (value === null) return "";
  const size = Math.abs(value).toFixed(2);
  return Number(size) ? `${value < 0 ? "−" : "+"}${size}` : size;
}

function showVerdict() {
  const place = byId("verdict");
  const verdict = state.verdict;
  place.replaceChildren();
  if (!verdict) return;
  if (verdict.worst_stops !== null) {
    const best = verdict.best_stops === null ? "" : ` Best so far: ${verdict.best_stops.toFixed(2)}.`;
    const line = `On average over an area at most ${verdict.worst_stops.toFixed(2)} stop off.${best}`;
    place.append(element("p", line, { className: "worst" }));
  }
  const nowhere = [...new Set(verdict.rows.filter((row) => row.given_ms === null).map((row) => row.area))];
  if (nowhere.length) {
    const line = `Not measured: ${nowhere.join(", ")}. Where that is on this negative is not known: draw it, under Negative.`;
    place.append(element("p", line));
  }
  if (verdict.note) place.append(element("p", verdict.note));
  if (!verdict.rows.length) return;
  const table = document.createElement("table");
  table.createCaption().textContent = verdict.title;
  const head = table.createTHead().insertRow();
  for (const name of ["area", "filter", "planned s", "given s", "stops off", "density"]) {
    head.append(element("th", name, { scope: "col" }));
  }
  const body = table.createTBody();
  for (const row of verdict.rows) {
    const line = body.insertRow();
    const cells = [
      row.area, row.filter || "none", (row.planned_ms / 1000).toFixed(2),
      row.given_ms === null ? "" : (row.given_ms / 1000).toFixed(2), stops(row.error_stops),
      row.density === null ? "" : row.density.toFixed(2),
    ];
    for (const text of cells) line.insertCell().textContent = text;
  }
  place.append(table);
}

// --- what is told

function showSheet() {
  const { sheet } = state;
  const lit = sheet.lit_ms ? `, ${(sheet.lit_ms / 1000).toFixed(1)} s of the lamp so far` : ", no light yet";
  const place = sheet.in ? `Sheet ${sheet.number} is in the easel${lit}.` : "No sheet is in the easel.";
  write(byId("sheet-note"), [place, state.no_data, state.note].filter(Boolean).join(" "));
  byId("new-sheet").disabled = sheet.in;
  byId("develop").disabled = byId("develop-dry").disabled = !sheet.in || state.box.lit;
}

function showExercises() {
  byId("exercises").replaceChildren(...state.exercises.map(([name, title, says]) => {
    const item = document.createElement("li");
    const button = element("button", "Set it up", { type: "button" });
    button.setAttribute("aria-label", `Set up: ${title}`);
    button.addEventListener("click", () => {
      send({ do: "practice", name });
      window.scrollTo(0, 0);
    });
    item.classList.toggle("now", name === state.exercise);
    item.append(element("h3", title), element("p", says), button);
    return item;
  }));
}

function showAreas() {
  const areas = Object.entries(state.areas).filter(([name, outline]) => !outline || state.marked.includes(name));
  byId("areas").replaceChildren(...areas.map(([name, outline]) => {
    const line = element("p", "", { className: "area" });
    const button = element("button", outline ? "Draw it anew" : "Draw it", { type: "button" });
    button.setAttribute("aria-label", outline ? `Draw ${name} anew` : `Draw where ${name} is`);
    button.addEventListener("click", () => {
      look("easel");
      drawOutline(name);
      byId("easel-help").textContent =
        `Click round ${name} and double-click at the end. By keyboard: arrows move, Enter sets a point, Space ends, Escape gives up.`;
    });
    line.append(element("span", outline ? name : `Where is ${name}?`), button);
    return line;
  }));
}

listen((news, changed) => {
  byId("making").hidden = !state.making || Boolean(news.lost);
  // A light that came and went between two messages is among what happened.
  const wasLit = news.events?.some(([, kind, value]) => kind === "lamp" && value);
  if (state.box?.lit || wasLit || news.lost || changed.has("pictures")) whiteOut();
  byId("judge").disabled = Boolean(state.box?.lit);
  if (news.hello) {
    byId("lab").hidden = !fixed.has_lab;
    byId("ways").replaceChildren(...fixed.ways_in.map((way) => {
      const item = document.createElement("li");
      item.append(element("code", way));
      return item;
    }));
  }
  if (changed.has("filters") || changed.has("filter") || changed.has("asks") || news.refused) {
    showFilters(state.filters.map((name) => [name, name || "none"]), state.filter, state.asks);
    byId("asks").hidden = state.asks === null;
    byId("asks").firstElementChild.textContent = `The box asks for ${state.asks ? `filter ${state.asks}` : "no filter"}.`;
    byId("fit-asked").textContent = state.asks ? `Fit ${state.asks}` : "Take it out";
  }
  if (changed.has("moves_negative")) {
    byId("moves").hidden = !state.moves_negative;
    byId("moves").firstElementChild.textContent = `The box asks for the negative to be ${state.moves_negative}.`;
    byId("move-asked").textContent = state.moves_negative === "out" ? "Take it out" : "Put it in";
  }
  if (changed.has("negative_out") || news.refused) byId("negative-out").checked = state.negative_out;
  if (changed.has("paper") || news.refused) showPapers(state.papers.map((name) => [name, name]), state.paper);
  if (changed.has("lamp") || news.refused) {
    showLamps(state.lamps.map((name) => [name, name]), state.lamp);
    byId("lag").textContent = `This lamp lags ${state.lag_ms} ms. Tell the box: Bench, Lamp lag.`;
  }
  if (changed.has("aperture") || news.refused) showApertures(state.apertures.map((name) => [name, name]), state.aperture);
  if (changed.has("negative") || changed.has("negatives") || news.refused) showNegatives(state.negatives, state.negative);
  if (changed.has("pace") && !news.lost) {
    showPaces(fixed.paces, state.pace);
    byId("steps").hidden = state.pace !== 0;
  }
  if (changed.has("sheet") || changed.has("note") || changed.has("no_data") || changed.has("box")) showSheet();
  if (changed.has("exercises") || changed.has("exercise")) showExercises();
  if (changed.has("areas") || changed.has("marked")) showAreas();
  if (changed.has("verdict")) showVerdict();
  if (changed.has("pictures")) {
    const isNew = state.pictures.print && state.pictures.print !== drawn.print;
    byId("errors-figure").hidden = !state.pictures.errors;
    drawPicture("print", red);
    drawPicture("errors", errors);
    if (news.hello) look("easel");
    else if (isNew) look("print");
  }
  if (view === "print" && !changed.has("pictures") && ((changed.has("sheet") && state.sheet.in) || sheetIsLit())) look("easel");
});
