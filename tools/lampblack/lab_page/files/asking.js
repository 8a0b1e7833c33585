// Asks the PC to do a job, and shows what it says.

const notice = document.getElementById("notice");
const told = document.getElementById("told");
const SAVED_MS = 60_000; // by then a browser has begun to save a file

function show(node, text) {
  node.textContent = text || "";
  if (node === notice) node.hidden = !text;
}

/** The answer to a job, or null where it was refused: then the notice says why. */
export async function ask(job, message = {}) {
  return answerOf(job, await send("do", JSON.stringify({ ...message, job })));
}

/** The same, without a word about what is wrong: for what is asked at each key. */
export async function askQuietly(job, message = {}) {
  return send("do", JSON.stringify({ ...message, job }));
}

export async function sendPicture(card, file) {
  return answerOf("picture", await send(`print/${card}`, file));
}

let refused = ""; // the job that the notice is about

function answerOf(job, answer) {
  if (answer.wrong) {
    refuse(answer.wrong, job);
    return null;
  }
  // An answer that was on its way takes no other job's notice away.
  if (answer.told || job === refused || !refused) show(notice, "");
  if (answer.told) show(told, answer.told);
  return answer;
}

export function clearNotices() {
  show(notice, "");
  show(told, "");
}

export function refuse(text, job = "") {
  refused = job;
  show(notice, text);
  show(told, ""); // what was done before is no answer to this
}

async function send(address, body) {
  try {
    const reply = await fetch(address, { method: "POST", body });
    if (!reply.ok) return { wrong: await reply.text() };
    return await reply.json();
  } catch {
    return { wrong: "The laboratory does not answer. Start it again, and load its new address." };
  }
}

export function make(tag, props = {}, ...children) {
  const node = Object.assign(document.createElement(tag), props);
  node.append(...children);
  return node;
}

export function table(heads, rows) {
  return make(
    "table",
    {},
    make("thead", {}, make("tr", {}, ...heads.map((text) => make("th", { textContent: text, scope: "col" })))),
    make("tbody", {}, ...rows.map((row) => make("tr", {}, ...row.map((text) => make("td", { textContent: text })))))
  );
}

export const bytesOf = (letters) => Uint8Array.from(atob(letters), (letter) => letter.charCodeAt(0));

/** Gives bytes to the browser, as a file to save. */
export function save(name, letters) {
  const href = URL.createObjectURL(new Blob([bytesOf(letters)]));
  make("a", { href, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(href), SAVED_MS);
}

/** Shows bytes as the picture of `img`, and lets go of the one before. */
export function showPicture(img, parts, type) {
  const before = img.src;
  img.src = URL.createObjectURL(new Blob(parts, { type }));
  if (before.startsWith("blob:")) URL.revokeObjectURL(before);
}

export const isWhite = () => document.documentElement.classList.contains("white");

export const fields = (form) => Object.fromEntries(new FormData(form));

/** Keeps what is typed and chosen in a form, in this window, for when it is loaded again. */
export const keepTyped = (form) => sessionStorage.setItem(form.id, JSON.stringify(fields(form)));

/** Takes it up again, as far as the fields and choices are there. */
export function takeUp(form) {
  for (const [name, value] of Object.entries(JSON.parse(sessionStorage.getItem(form.id) || "{}"))) {
    const field = form.elements[name];
    const choices = field?.options && [...field.options].filter((option) => !option.disabled);
    if (field && (!choices || choices.some((option) => option.value === value))) field.value = value;
  }
}
