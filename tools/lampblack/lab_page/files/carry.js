// A card carried over: what each step is worth, how sure it is, and the strip to make first.

import { ask, fields, keepTyped, make, refuse, table, takeUp } from "./asking.js";
import { fillCards } from "./record.js";

const form = document.getElementById("carry-form");
const shown = document.getElementById("carried");
const WAIT_MS = 250;
let waiting = 0;
let asked = 0;
let known = { passes: [] };

function field(label, input) {
  return make("label", {}, `${label} `, input);
}

const choice = (name, ...options) =>
  make("select", { name }, ...options.map(([value, text]) => make("option", { value, textContent: text })));

const cards = make("select", { name: "card" });
const papers = make("select", { name: "paper" });
const records = make("select", { name: "record" });
const filters = make("div", { className: "fields" });
const name = make("input", { name: "name", maxLength: 24, placeholder: "name of the new card", autocomplete: "off" });
const keep = make("button", { type: "submit", textContent: "Keep the new card", disabled: true });
form.append(
  make("div", { className: "fields" }, field("Card", cards)),
  make("p", { className: "hint", id: "carry-now" }),
  make("h3", { textContent: "Another size" }),
  make(
    "div",
    { className: "fields" },
    field("The detail on the new print, mm", make("input", { name: "print_mm", size: 8, inputMode: "decimal" })),
    field("The enlarger's light", choice("light", ["", ""], ["diffuser", "diffuser"], ["condenser", "condenser"])),
    field("Light cell there, from the old, stops", make("input", { name: "cell", size: 8, placeholder: "-1 1/3" }))
  ),
  make("h3", { textContent: "Another aperture, filter or paper" }),
  make(
    "div",
    { className: "fields" },
    field("Aperture", make("input", { name: "aperture", size: 8, placeholder: "f/8" })),
    field("Paper record at work", records),
    field("New paper", papers),
    field("Tone that stays", choice("anchor", ["light tone", "light tone"], ["middle", "middle"], ["black", "black"])),
    field("Reciprocity, if measured", make("input", { name: "exponent", size: 6, placeholder: "0.95" }))
  ),
  filters,
  make("p", { className: "row" }, name, keep, make("label", { className: "tick" }, make("input", { name: "force", type: "checkbox" }), " write over it"))
);
const now = document.getElementById("carry-now");

function message() {
  const all = fields(form);
  const changed = [...filters.querySelectorAll("input")].filter((input) => input.value.trim());
  return { ...all, force: Boolean(all.force), filters: changed.map((input) => ({ old: input.dataset.old, new: input.value.trim() })) };
}

export async function open() {
  const answer = await ask("cards");
  if (!answer) return;
  fillCards(cards, answer);
  for (const [select, none] of [[papers, "the same"], [records, "the card's own"]]) {
    const chosen = select.value;
    select.replaceChildren(
      make("option", { value: "", textContent: none }),
      ...answer.papers.map((paper) => make("option", { value: paper, textContent: paper }))
    );
    select.value = chosen;
  }
  takeUp(form);
  if (answer.note) refuse(answer.note, "cards");
  if (!answer.cards.length) refuse(`There is no card in ${answer.folder}/cards yet. Drop one on Record.`);
  else chooseCard();
}

async function chooseCard() {
  const card = cards.value;
  const answer = await ask("carry.card", { card });
  if (!answer || card !== cards.value) return; // another is chosen by now
  known = answer;
  now.textContent = answer.now;
  filters.replaceChildren(
    ...answer.filters.map((filter) => {
      const input = make("input", { name: `filter ${filter}`, size: 6, placeholder: filter || "none" });
      input.dataset.old = filter;
      return field(`${filter ? `Filter ${filter}` : "No filter"} becomes`, input);
    })
  );
  takeUp(form);
  shown.replaceChildren();
  look();
}

async function look() {
  const number = ++asked;
  keep.disabled = true;
  const answer = await ask("carry.look", message());
  if (number !== asked) return;
  shown.replaceChildren();
  if (!answer || !answer.rows) return;
  shown.append(
    table(answer.heads, answer.rows),
    ...answer.lines.map((line) => make("p", { textContent: line }))
  );
  keep.disabled = false;
}

form.addEventListener("input", (event) => {
  clearTimeout(waiting);
  if (event.target === cards) filters.replaceChildren(); // they are the other card's
  keepTyped(form);
  if (event.target === cards) chooseCard();
  else if (event.target !== name && event.target.name !== "force") waiting = setTimeout(look, WAIT_MS);
});
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (keep.disabled) return;
  const answer = await ask("carry.keep", message());
  if (answer) open();
});
