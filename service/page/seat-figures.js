// The figures of the number, as large as the box lets them be; of feet and inches the fraction is set, one figure high.

import { at, made } from "./elements.js";

// Parts of the size of a figure, those of seat.css.
const SPACE = 0.17; // narrower by
const SET = 0.45;
const SET_MARGIN = 0.12 * SET;

const shapes = new Map();
let shown = "";

export function writeFigures(figures) {
  if (figures === shown) return;
  shown = figures;
  const [, whole, over, under, mark] = figures.match(/^(.*?)(?:(\d+)\/(\d+)(")?)?$/);
  at("number").replaceChildren(...(over === undefined ? [whole] : [
    whole.trimEnd(), ...(whole.endsWith(" ") ? [unseen(" ")] : []),
    made("span", { className: "set" }, made("span", { textContent: over }), unseen("/"), made("span", { textContent: under })), mark ?? "",
  ]));
  at("number").style.setProperty("--wide", wide(figures, whole, over, under, mark).toFixed(3));
}

const unseen = (textContent) => made("span", { className: "unseen", textContent });

/** Width in parts of a figure's size: all figures have one width, so that only their count matters, never which they are. */
function wide(figures, whole, over, under, mark) {
  const shape = figures.replace(/\d/g, "0");
  let found = shapes.get(shape);
  if (found === undefined) {
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = `bold 100px ${getComputedStyle(at("number")).fontFamily}`;
    const of = (text) => pen.measureText(text).width / 100;
    const line = over === undefined ? whole : `${whole.trimEnd()}${mark ?? ""}`;
    const set = over === undefined ? 0 : SET_MARGIN + SET * Math.max(of(over), of(under));
    found = of(line) - SPACE * (line.split(" ").length - 1) + set;
    shapes.set(shape, found);
  }
  return found;
}
