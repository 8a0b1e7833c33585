// The printing record: its pages, and the areas that are drawn on a picture of the print.

import { ask, bytesOf, fields, keepTyped, make, refuse, save, sendPicture, showPicture, takeUp } from "./asking.js";
import { drawOn } from "./outlines.js";

const form = document.getElementById("record-form");
const cards = form.elements.card;
const pages = document.getElementById("pages");
const files = document.getElementById("record-files");
const print = document.getElementById("print");
const drawing = document.getElementById("drawing");
let asked = 0;

const upon = new Map(); // by card: its outlines as they were last read or kept; what is drawn goes upon them
let keeping = Promise.resolve();
let onTheWay = 0;

const outlines = drawOn(print, (card, drawn) => {
  const all = structuredClone(drawn);
  onTheWay += 1;
  // One after another: each goes upon what the one before it has left.
  keeping = keeping.then(async () => {
    const answer = await ask("record.areas", { card, outlines: all, upon: upon.get(card) || [] });
    onTheWay -= 1;
    if (!answer) return;
    // What was drawn elsewhere comes in, but not while a hand is on its way here.
    const isTaken = !onTheWay && outlines.take(card, answer.outlines);
    upon.set(card, isTaken ? structuredClone(answer.outlines) : all);
    show();
  });
});

export function fillCards(select, answer) {
  const chosen = select.value;
  select.replaceChildren(
    ...answer.cards.map(({ name, title, wrong }) => {
      const said = wrong ? "cannot be read" : title;
      return make("option", { value: name, textContent: said ? `${name}: ${said}` : name, disabled: Boolean(wrong), title: wrong || "" });
    })
  );
  if (answer.cards.some((card) => card.name === chosen)) select.value = chosen;
}

export async function open() {
  const answer = await ask("cards");
  if (!answer) return;
  fillCards(cards, answer);
  const { trays } = form.elements;
  const chosen = trays.value;
  trays.replaceChildren(...["", ...answer.sequences].map((name) => make("option", { value: name, textContent: name || "none" })));
  if (answer.sequences.includes(chosen)) trays.value = chosen;
  takeUp(form);
  if (answer.note) refuse(answer.note, "cards");
  if (!answer.cards.length) refuse(`There is no card in ${answer.folder}/cards yet. Choose or drop one.`);
  else show();
}

/** A page that a press enlarges where it lies, in the room's own light: by itself it would be a white one. */
function enlarged(img) {
  const sheet = make("button", { type: "button", className: "sheet" }, img);
  sheet.setAttribute("aria-label", "Enlarge this page of the record");
  sheet.setAttribute("aria-pressed", "false");
  sheet.addEventListener("click", () => {
    const isLarge = sheet.classList.toggle("large");
    sheet.setAttribute("aria-pressed", String(isLarge));
  });
  return make("div", { className: "window" }, sheet);
}

async function show() {
  const number = ++asked;
  const card = cards.value;
  if (!card) return;
  const answer = await ask("record.show", fields(form));
  if (number !== asked) return;
  drawing.hidden = !answer?.has_picture;
  files.replaceChildren();
  if (!answer) return pages.replaceChildren();
  // In their size from the start: what is drawn beside them must not move under a hand.
  pages.replaceChildren(...answer.pages.map(({ png, wide, high }) => {
    const img = make("img", { alt: "A page of the record", width: wide, height: high });
    showPicture(img, [bytesOf(png)], "image/png");
    return enlarged(img);
  }));
  for (const kind of ["pdf", "svg", "png"]) {
    files.append(make("button", { type: "button", textContent: kind.toUpperCase(), onclick: () => saveAs(kind) }));
  }
  if (answer.note) files.append(make("p", { className: "hint", textContent: answer.note }));
  if (answer.has_picture) {
    const read = structuredClone(answer.outlines);
    if (outlines.show(card, answer.marks, answer.outlines)) upon.set(card, read);
  }
}

async function saveAs(kind) {
  const answer = await ask("record.save", { ...fields(form), kind });
  for (const { name, data } of answer?.files || []) save(name, data);
}

export const relight = () => outlines.draw();

form.addEventListener("input", () => keepTyped(form));
form.addEventListener("change", show);
form.addEventListener("submit", (event) => event.preventDefault());

async function takePicture(file) {
  if (!cards.value) return refuse("A picture belongs to a card. Choose or drop a card first.");
  if (await sendPicture(cards.value, file)) {
    outlines.forget();
    show();
  }
}

async function takeCard(file) {
  const over = document.getElementById("card-over");
  const answer = await ask("card.take", { text: await file.text(), force: over.checked });
  if (!answer) return;
  fillCards(cards, answer);
  over.checked = false; // for this card alone
  cards.value = answer.name;
  keepTyped(form);
  show();
}

export function take(file) {
  return file.name.endsWith(".toml") ? takeCard(file) : takePicture(file);
}

for (const [button, input, act] of [["choose-picture", "picture-file", takePicture], ["choose-card", "card-file", takeCard]]) {
  const chooser = document.getElementById(input);
  document.getElementById(button).addEventListener("click", () => chooser.click());
  chooser.addEventListener("change", () => {
    if (chooser.files[0]) act(chooser.files[0]);
    chooser.value = "";
  });
}
