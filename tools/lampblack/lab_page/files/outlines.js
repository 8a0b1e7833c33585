// Outlines of areas, drawn on a picture by pointer or by key: a press sets a corner, a press on the first closes.

import { make } from "./asking.js";

const canvas = document.getElementById("outlines");
const marks = document.getElementById("marks");
const help = document.getElementById("drawing-help");
const undo = document.getElementById("undo-corner");
const clear = document.getElementById("clear-outline");
const NEAR_PX = 12;
const STEP = 0.01;

/** Draws over `img`; `keep` is called with the card's name and all its outlines whenever one is whole or gone. */
export function drawOn(img, keep) {
  let card = ""; // whose outlines these are, while the page is on its way to another's, too
  let isOld = false; // there is a newer picture
  let outlines = []; // {pass, area, corners}, whole
  let corners = []; // of the one that is being drawn
  let chosen = ""; // "pass area"
  let cleared = []; // what was cleared or let go of, the last of it last: {chosen, outlines, corners}
  const begun = new Map(); // the corners of other areas and cards that are waiting for more
  let held = null; // a corner under the pointer: [outline, index]
  let cursor = [0.5, 0.5];

  const keyOf = (mark) => `${mark.pass} ${mark.area}`;
  const markOf = (key) => {
    const at = key.indexOf(" ");
    return { pass: Number(key.slice(0, at)), area: key.slice(at + 1) };
  };

  function choose(key, other = card) {
    begun.set(`${card} ${chosen}`, corners);
    card = other;
    chosen = key;
    corners = begun.get(`${card} ${chosen}`) || [];
  }

  /** Takes what is drawn of the chosen area away; it can be brought back. */
  function letGo(gone) {
    if (gone.length || corners.length) cleared.push({ chosen, outlines: gone, corners });
    outlines = outlines.filter((outline) => !gone.includes(outline));
    corners = [];
    if (gone.length) keep(card, outlines);
  }

  function place(event) {
    const box = canvas.getBoundingClientRect();
    const within = (part) => Math.min(1, Math.max(0, part));
    return [within((event.clientX - box.left) / box.width), within((event.clientY - box.top) / box.height)];
  }

  function isNear(one, other) {
    const box = canvas.getBoundingClientRect();
    return Math.hypot((one[0] - other[0]) * box.width, (one[1] - other[1]) * box.height) < NEAR_PX;
  }

  function cornerAt(point) {
    for (const outline of outlines) {
      const at = outline.corners.findIndex((corner) => isNear(corner, point));
      if (at >= 0) return [outline, at];
    }
    return null;
  }

  function add(point) {
    if (!chosen) return;
    if (corners.length > 2 && isNear(point, corners[0])) close();
    else corners.push(point);
    draw();
  }

  function close() {
    if (corners.length < 3) return;
    outlines.push({ ...markOf(chosen), corners });
    corners = [];
    keep(card, outlines);
  }

  function draw() {
    const box = canvas.getBoundingClientRect();
    const scale = devicePixelRatio || 1;
    canvas.width = Math.max(1, Math.round(box.width * scale));
    canvas.height = Math.max(1, Math.round(box.height * scale));
    const ink = getComputedStyle(document.documentElement).getPropertyValue("--ink");
    const ground = getComputedStyle(document.documentElement).getPropertyValue("--ground");
    const pen = canvas.getContext("2d");
    pen.scale(canvas.width, canvas.height);
    const px = 1 / Math.max(1, box.width);
    function trace(points, whole, bold) {
      if (!points.length) return;
      for (const [colour, wide] of [[ground, bold ? 5 : 4], [ink, bold ? 2.5 : 1.5]]) {
        pen.beginPath();
        points.forEach(([x, y], at) => (at ? pen.lineTo(x, y) : pen.moveTo(x, y)));
        if (whole) pen.closePath();
        pen.lineWidth = wide * px;
        pen.strokeStyle = colour;
        pen.stroke();
      }
      for (const [x, y] of points) {
        pen.fillStyle = ink;
        const wide = (bold ? 8 : 5) * px;
        const high = wide * (box.width / Math.max(1, box.height));
        pen.fillRect(x - wide / 2, y - high / 2, wide, high);
      }
    }
    for (const outline of outlines) trace(outline.corners, true, keyOf(outline) === chosen);
    trace(corners, false, true);
    if (document.activeElement === canvas) trace([cursor], false, true);
    const last = cleared.at(-1);
    undo.disabled = !corners.length && !last;
    undo.textContent = last && !corners.length ? `Bring ${markOf(last.chosen).area} back` : "Take back the last corner";
    clear.disabled = !corners.length && !outlines.some((outline) => keyOf(outline) === chosen);
    help.textContent = !chosen
      ? "Choose an area, and draw round it."
      : corners.length
        ? `${corners.length} ${corners.length === 1 ? "corner" : "corners"}. Press on the first one, or Enter, to close the outline.`
        : "Press corner after corner round the area. Corners can be drawn along. With keys: arrows, Space sets a corner.";
    for (const label of marks.querySelectorAll("label")) {
      label.classList.toggle("drawn", outlines.some((outline) => keyOf(outline) === label.firstElementChild.value));
    }
  }

  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    const point = place(event);
    held = corners.length ? null : cornerAt(point);
    if (!held) add(point);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held) return;
    held[0].corners[held[1]] = place(event);
    draw();
  });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, () => {
      if (held) keep(card, outlines);
      held = null;
    });
  }
  canvas.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? STEP / 5 : STEP;
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (move) cursor = cursor.map((part, at) => Math.min(1, Math.max(0, part + move[at])));
    else if (event.key === " ") add([...cursor]);
    else if (event.key === "Enter") close();
    else if (event.key === "Backspace") corners.pop();
    else if (event.key === "Escape") letGo([]);
    else return;
    event.preventDefault();
    draw();
  });
  canvas.addEventListener("focus", draw);
  canvas.addEventListener("blur", draw);
  function bringBack() {
    const last = cleared.pop();
    outlines.push(...last.outlines);
    if (last.outlines.length) keep(card, outlines);
    choose(last.chosen);
    if (last.corners.length) {
      letGo([]); // newer ones
      corners = last.corners;
    }
    for (const input of marks.querySelectorAll("input")) input.checked = input.value === chosen;
  }

  undo.addEventListener("click", () => {
    if (corners.length) corners.pop();
    else bringBack();
    draw();
  });
  clear.addEventListener("click", () => {
    letGo(outlines.filter((outline) => keyOf(outline) === chosen));
    draw();
  });
  img.addEventListener("load", draw);
  addEventListener("resize", draw);

  return {
    draw,
    forget() {
      isOld = true;
    },
    /** Shows these outlines as those of the card; false while another card's are here, or a hand is at one. */
    take(name, drawn) {
      if (name !== card || held) return false;
      outlines = drawn;
      draw();
      return true;
    },
    show(name, known, drawn) {
      // What is drawn here is the newest there is: an answer that was on its way meanwhile does not undo it.
      const isTaken = name !== card || isOld;
      if (isTaken) {
        choose("", name);
        isOld = false;
        outlines = drawn;
        cleared = [];
        // The address changes, so that a new picture is shown.
        img.src = `print/${name}.png?${Date.now()}`;
      }
      const legend = marks.querySelector("legend");
      marks.replaceChildren(
        legend,
        ...known.map((mark) => {
          const input = make("input", { type: "radio", name: "mark", value: keyOf(mark), checked: keyOf(mark) === chosen });
          input.addEventListener("change", () => {
            choose(input.value);
            draw();
          });
          const passes = new Set(known.map((each) => each.pass)).size > 1;
          return make("label", {}, input, make("span", { textContent: passes ? `${mark.area}, pass ${mark.pass}` : mark.area }));
        })
      );
      draw();
      return isTaken;
    },
  };
}
