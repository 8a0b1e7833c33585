// The ledger: what was exposed, found again by what is written on its cards.

import { ask, fields, make, table } from "./asking.js";

const form = document.getElementById("ledger-form");
const list = document.getElementById("entries");
const shown = document.getElementById("entry");
const WAIT_MS = 200;
let waiting = 0;
let asked = 0;

export async function open() {
  const number = ++asked;
  const answer = await ask("ledger.list", fields(form));
  if (number !== asked || !answer) return;
  shown.replaceChildren();
  const remarks = [...answer.remarks];
  if (!answer.entries.length) remarks.push(`Nothing like that is in ${answer.shown}.`);
  list.replaceChildren(
    ...remarks.map((line) => make("p", { className: "hint", textContent: line })),
    make("ul", {}, ...answer.entries.map((entry) => make("li", {}, button(entry))))
  );
}

function button(entry) {
  const thumb = make("span", { className: "thumb" });
  if (entry.picture) thumb.append(make("img", { src: `thumbnail/${entry.picture}.png`, alt: "", loading: "lazy" }));
  else thumb.append(entry.kind);
  const facts = [entry.when, entry.print && `print ${entry.print}`, entry.negative, entry.paper, entry.whole ? "" : "not whole"];
  const words = make("span", {}, make("strong", { textContent: entry.title }), make("br"), make("small", { textContent: facts.filter(Boolean).join(" · ") }));
  const own = make("button", { type: "button" }, thumb, words);
  own.setAttribute("aria-pressed", "false");
  own.addEventListener("click", () => show(entry, own));
  return own;
}

async function show(entry, own) {
  const answer = await ask("ledger.show", { id: entry.id });
  if (!answer) return;
  for (const each of list.querySelectorAll("button")) each.setAttribute("aria-pressed", String(each === own));
  const again = make("button", { type: "button", textContent: "Make its card", disabled: !answer.again });
  const over = make("input", { type: "checkbox" });
  again.addEventListener("click", () => ask("ledger.again", { id: entry.id, force: over.checked }));
  shown.replaceChildren(
    ...answer.lines.map((line) => make("p", { textContent: line })),
    table(answer.heads, answer.rows),
    make("p", { className: "row" }, again, make("label", { className: "tick" }, over, " write over it"))
  );
  shown.scrollIntoView({ block: "nearest" }); // on a phone it is below the whole list
}

form.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(open, WAIT_MS);
});
form.addEventListener("submit", (event) => event.preventDefault());
document.getElementById("pull").addEventListener("click", async () => {
  if (await ask("ledger.pull")) open();
});
