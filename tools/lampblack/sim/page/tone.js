// Grey pictures in the red of the page: nothing on it is brighter than the ink, but for a print in white light.

import { rgb } from "./colours.js";
import { fixed } from "./net.js";

const INK = rgb("ink"), GROUND = rgb("ground");

/** Fetch a grey picture of the session and give its canvas, with each grey put through `colour(grey, x, y)`. */
export async function picture(kind, number, colour) {
  const answer = await fetch(`picture/${kind}.png?${number}`);
  if (!answer.ok) throw new Error(await answer.text());
  const bitmap = await createImageBitmap(await answer.blob());
  const canvas = document.createElement("canvas");
  canvas.width = bitmap.width;
  canvas.height = bitmap.height;
  const context = canvas.getContext("2d", { willReadFrequently: true });
  context.drawImage(bitmap, 0, 0);
  const image = context.getImageData(0, 0, canvas.width, canvas.height);
  colour(image);
  context.putImageData(image, 0, 0);
  return canvas;
}

const REDS = Array.from({ length: 256 }, (_, grey) =>
  INK.map((full, channel) => Math.round(GROUND[channel] + ((full - GROUND[channel]) * grey) / 255)));

/** As it is: for white light. */
export function grey() {}

export function red({ data }) {
  for (let at = 0; at < data.length; at += 4) {
    [data[at], data[at + 1], data[at + 2]] = REDS[data[at]];
  }
}

/** The same for a negative, as bright as the page can be where its film is clearest: an eye in the dark adapts. */
export function projected(image) {
  const counts = new Uint32Array(256);
  for (let at = 0; at < image.data.length; at += 4) counts[image.data[at]]++;
  let top = 255;
  for (let above = 0; top > 64 && (above += counts[top]) < image.data.length / 4 / 500; top--);
  for (let at = 0; at < image.data.length; at += 4) image.data[at] = Math.min(255, (image.data[at] * 255) / top);
  red(image);
}

// The error picture. What is right is quiet; more light is a plain tone, less a hatched one, so that no other colour
// is needed.
const EVEN = rgb("even"), SOME = rgb("dim");

export function errors({ data, width }) {
  const { as_planned: planned, per_stop: stop } = fixed.errors;
  for (let at = 0; at < data.length; at += 4) {
    const off = data[at] - planned;
    const size = Math.abs(off);
    const pixel = at / 4;
    const hatched = off < 0 && ((pixel % width) + Math.floor(pixel / width)) % 12 > 4;
    const tone = size < stop / 12 || hatched ? EVEN : size < stop / 4 ? SOME : INK;
    [data[at], data[at + 1], data[at + 2]] = tone;
  }
}
