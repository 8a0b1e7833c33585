// A paper record from strips, typed: the curve grows at each key.

import { ask, askQuietly, fields, isWhite, make, showPicture, table } from "./asking.js";

const form = document.getElementById("paper-form");
const strips = document.getElementById("strips");
const curves = document.getElementById("curves");
const made = document.getElementById("paper-made");
const makeIt = document.getElementById("make-paper");
const keepIt = document.getElementById("keep-paper");
const pushIt = document.getElementById("push-paper");
const WAIT_MS = 150;
const TYPED = "paper"; // where this window keeps what was typed, for when it is loaded again
let waiting = 0;
let asked = 0;
let typed = 0; // how often a figure was changed
let whole = { name: "", text: "" }; // the record that was made

function addStrip(filter = "", first = "", densities = "") {
  const item = make(
    "li",
    {},
    make("label", {}, "Filter ", make("input", { name: "filter", value: filter, placeholder: "none" })),
    make("label", {}, "First patch ", make("input", { name: "first", value: first, placeholder: "2 s" })),
    make("label", { className: "wide" }, "Densities ", make("input", { name: "densities", value: densities, placeholder: "0.06 0.08 0.15 0.31 …", autocomplete: "off" })),
    make("button", { type: "button", textContent: "Take away", onclick: () => (item.remove(), changed()) }),
    make("p", { className: "line" })
  );
  strips.append(item);
  return item;
}

function message() {
  const { name, edition, step, base, black, lux, force } = fields(form);
  const found = [...strips.children].map((item) =>
    Object.fromEntries([...item.querySelectorAll("input")].map((input) => [input.name, input.value]))
  );
  return { name, edition, step, base, black, lux, force: Boolean(force), strips: found, white: isWhite() };
}

function look() {
  clearTimeout(waiting);
  waiting = setTimeout(lookNow, WAIT_MS);
}

async function lookNow() {
  const number = ++asked;
  const answer = await askQuietly("paper.look", message());
  if (number !== asked) return; // a later one is on its way
  const lines = answer.lines || [];
  [...strips.children].forEach((item, at) => (item.querySelector(".line").textContent = lines[at] || answer.wrong || ""));
  if (answer.picture) showPicture(curves, [answer.picture], "image/svg+xml");
  makeIt.disabled = !answer.whole;
}

function changed() {
  // What was made is of other figures now, and so is what is on its way.
  typed += 1;
  sessionStorage.setItem(TYPED, JSON.stringify(message()));
  keepIt.disabled = pushIt.disabled = true;
  made.replaceChildren();
  look();
}

form.addEventListener("input", (event) => event.target.name !== "force" && changed());
document.getElementById("add-strip").addEventListener("click", () => {
  const first = strips.lastElementChild?.querySelector("[name=first]").value || "";
  addStrip("", first).querySelector("input").focus();
  changed();
});

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const from = typed;
  makeIt.disabled = true;
  const answer = await ask("paper.make", message());
  if (from !== typed) return;
  makeIt.disabled = false;
  if (!answer) return;
  made.replaceChildren(
    table(answer.heads, answer.rows),
    ...answer.notes.map((note) => make("p", { className: "hint", textContent: `Note: ${note}` })),
    make("details", {}, make("summary", { textContent: `${answer.name}.toml` }), make("pre", { textContent: answer.text }))
  );
  whole = answer;
  keepIt.disabled = false;
});

keepIt.addEventListener("click", async () => {
  const from = typed;
  if (!(await ask("paper.keep", { text: whole.text, force: message().force })) || from !== typed) return;
  pushIt.disabled = false;
});
pushIt.addEventListener("click", () => ask("paper.push", { name: whole.name }));

function takeUp({ strips: found, ...rest }) {
  for (const name of ["name", "edition", "step", "base", "black", "lux"]) form.elements[name].value = rest[name];
  for (const { filter, first, densities } of found) addStrip(filter, first, densities);
}

let isOpen = false;
export function open() {
  const before = sessionStorage.getItem(TYPED);
  if (!isOpen && before) takeUp(JSON.parse(before));
  isOpen = true;
  if (!strips.children.length) addStrip("2", "2 s");
  look();
}
export const relight = look;
