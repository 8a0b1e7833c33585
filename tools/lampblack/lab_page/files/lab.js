// The laboratory's page: which job is shown, and in which light.

import { clearNotices, isWhite } from "./asking.js";
import * as carry from "./carry.js";
import * as ledger from "./ledger.js";
import * as paper from "./paper.js";
import * as record from "./record.js";

const JOBS = { paper, carry, record, ledger };

function current() {
  const name = location.hash.slice(1);
  return JOBS[name] ? name : "paper";
}

function turnTo(name) {
  clearNotices();
  for (const each of Object.keys(JOBS)) {
    document.getElementById(each).hidden = each !== name;
    const link = document.querySelector(`nav a[href="#${each}"]`);
    if (each === name) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  JOBS[name].open();
}

addEventListener("hashchange", () => turnTo(current()));

// White only when it is asked for, each time: a page that turns white by itself fogs paper.
const white = document.getElementById("white");
white.addEventListener("click", () => {
  document.documentElement.classList.toggle("white");
  white.setAttribute("aria-pressed", String(isWhite()));
  white.textContent = isWhite() ? "Dark red, for the darkroom" : "White, for the office";
  JOBS[current()].relight?.();
});

// What is dropped goes to the job that is open.
const drop = document.getElementById("drop");
addEventListener("dragover", (event) => {
  event.preventDefault();
  drop.hidden = !JOBS[current()].take;
});
addEventListener("dragleave", (event) => event.relatedTarget || (drop.hidden = true));
addEventListener("drop", (event) => {
  event.preventDefault();
  drop.hidden = true;
  const file = event.dataTransfer.files[0];
  if (file) JOBS[current()].take?.(file);
});

turnTo(current());
