// The live readout as rows of a leaf, and the shares as a picture and in words.

import { at, made } from "./elements.js";
import { room } from "./state.js";
import { element, text } from "./svg.js";
import { HELP, SAY } from "./words.js";

/** Rows of the table, made once for a pair. */
export function makeReadout() {
  const names = [...lengthNames(), "cross_slope", "floor", ...(room.stance.linkage ? ["transmission", "ratio", "cylinder"] : [])];
  at("readout").tBodies[0].replaceChildren(...names.map((name) => {
    const row = made("tr", {});
    row.dataset.quantity = name;
    const head = made("th", { scope: "row" });
    const details = made("details", {});
    const { name: words, what, sign, source } = HELP[name];
    details.append(
      made("summary", { textContent: words }),
      ...[what, `Sign: ${sign}`, `From: ${source}`].map((text) => made("p", { textContent: text })),
    );
    head.append(details);
    row.append(head, made("td", {}), made("td", {}), made("td", {}));
    return row;
  }));
  const radios = [...lengthNames(), "cross_slope"].map((name) => {
    const label = made("label", {});
    const radio = made("input", { type: "radio", name: "quantity", value: name, checked: room.quantity === name });
    label.append(radio, made("span", { textContent: HELP[name].name }));
    return label;
  });
  const legend = at("quantities").querySelector("legend");
  at("quantities").replaceChildren(legend, ...radios);
}

const lengthNames = () => ["elevation", ...(room.second.target === null ? [] : ["above_target"]), "reach", "lateral"];

/** Nothing is known any more: blank every number rather than leave an old one standing. */
export function blankReadout() {
  for (const row of at("readout").tBodies[0].rows) fill(row, "–", "–", "–");
  at("walk").querySelector(".drawn").replaceChildren();
  at("why").replaceChildren();
}

/** Both answers of the service, as they came. */
export function showReadout(explained, pose) {
  const { whole } = explained;
  for (const change of whole.changes) {
    const word = change.quantity === "above_target" ? cutWord : (length) => length.shown;
    write(change.quantity, word(change.before), word(change.after), signed(change.change));
  }
  const slope = whole.cross_slope;
  write("cross_slope", ...[slope.before_percent, slope.after_percent, slope.change_percent].map(percent));
  const { linkage } = pose;
  write("floor", "", `${pose.floor_angle_deg.toFixed(1)}°`, "");
  if (linkage !== null) {
    write("transmission", "", `${linkage.transmission_deg.toFixed(1)}°`, "");
    write("ratio", "", linkage.ratio.toFixed(2), "");
  }
  if (pose.cylinders_mm.bucket !== undefined) write("cylinder", "", `${pose.cylinders_mm.bucket.toFixed(0)} mm`, "");
  showShares(whole);
}

function write(name, ...texts) {
  const row = at("readout").querySelector(`tr[data-quantity="${name}"]`);
  if (row !== null) fill(row, ...texts);
}

function fill(row, ...texts) {
  row.querySelectorAll("td").forEach((cell, i) => { if (cell.textContent !== texts[i]) cell.textContent = texts[i]; });
}

const zero = (text) => !/[1-9]/.test(text);
const plus = (text) => (zero(text) || text.startsWith("-") ? text : `+${text}`).replace("-", "\u2212");
const signed = (length) => plus(length.shown);
const percent = (value) => plus(`${zero(value.toFixed(1)) ? "0.0" : value.toFixed(1)} %`);

/** "CUT 0.120 m": what the sign means, before its size. */
export function cutWord(length) {
  const size = length.shown.replace("-", "");
  if (zero(size)) return SAY.on;
  return `${length.m > 0 ? SAY.cut : SAY.fill} ${size}`;
}

/** A picture and the words of an explanation: {changes, cross_slope, words}. */
function showShares(whole) {
  const chosen = whole.changes.find((change) => change.quantity === room.quantity);
  // The first sentence tells the height; where shares of something else are shown, that.
  const first = room.quantity === "cross_slope" ? whole.cross_slope.words : chosen?.words ?? whole.words[0];
  const sentences = whole.changed.length === 0 ? [SAY.nothing] : [first, ...whole.words.slice(1)];
  at("why").replaceChildren(...sentences.map((text) => made("li", { textContent: text })));
  const parts = room.quantity === "cross_slope"
    ? whole.cross_slope.shares.map((share) => [share.words, share.share_percent, plus(share.shown)])
    : (chosen?.shares ?? []).map((share) => [share.words, share.share.m, signed(share.share)]);
  const total = room.quantity === "cross_slope" ? [whole.cross_slope.change_percent, percent(whole.cross_slope.change_percent)]
    : chosen === undefined ? [0, ""] : [chosen.change.m, signed(chosen.change)];
  at("walk").hidden = parts.length === 0;
  at("walk").querySelector(".drawn").replaceChildren(...(parts.length === 0 ? [] : [walk(parts, total)]));
}

const ROW = 30;
const BAR = 16;
const WIDE = 520;
const NAMES = 170;
const FIGURES = 105;

/** Bars that walk from the first number to the second, one a factor, and their sum below. */
function walk(parts, [sum, shownSum]) {
  const stops = parts.reduce((so, [, size]) => [...so, so[so.length - 1] + size], [0]);
  const [low, high] = [Math.min(...stops, sum), Math.max(...stops, sum)];
  const scale = (WIDE - NAMES - FIGURES - 20) / (high - low || 1);
  const x = (value) => NAMES + 10 + (value - low) * scale;
  const high_px = ROW * (parts.length + 1) + 12;
  const root = element("svg", { viewBox: `0 0 ${WIDE} ${high_px}`, role: "img", "font-size": 16, "font-family": "Georgia,'DejaVu Serif',serif" });
  root.setAttribute("aria-label", SAY.picture(HELP[room.quantity].name, parts.map(([words, , shown]) => `${words} ${shown}`).join(", ")));
  const hatch = element("pattern", { id: "down", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  hatch.append(element("path", { d: "M3.5 0V7", stroke: "#1b1a17", "stroke-width": 2.5 }));
  const defs = element("defs", {});
  defs.append(hatch);
  root.append(defs, element("path", { d: `M${x(0).toFixed(1)} 2V${high_px - 4}`, stroke: "#1b1a17", "stroke-width": 1, "stroke-dasharray": "2 3" }));
  const bar = (from, to, row, words, shown, chief) => {
    const y = row * ROW + 8;
    const size = Math.abs(x(to) - x(from));
    root.append(
      text(NAMES, y + BAR - 3, words, "end", chief),
      element("rect", {
        x: Math.min(x(from), x(to)).toFixed(1), y, width: Math.max(size, 1.5).toFixed(1), height: BAR, "data-share": words,
        fill: to < from ? "url(#down)" : "#1b1a17", stroke: "#1b1a17", "stroke-width": 1.5,
      }),
      text(WIDE, y + BAR - 3, shown, "end", chief),
    );
    if (!chief) root.append(element("path", { d: `M${x(to).toFixed(1)} ${y + BAR}V${y + ROW}`, stroke: "#1b1a17", "stroke-width": 1 }));
  };
  parts.forEach(([words, , shown], i) => bar(stops[i], stops[i + 1], i, words, shown, false));
  bar(0, sum, parts.length, SAY.sum, shownSum, true);
  return root;
}
