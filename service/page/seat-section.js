// The long section on paper (edge, floor, target, ground) and the cross-section with both corners.

import { at } from "./elements.js";
import { barsIn } from "./seat-marks.js";
import { WORDS } from "./seat-words.js";
import { element, text } from "./svg.js";

const HIGH = 150; // of the long section; no smaller than the page's pixels, so that its words are read on a phone as well
const TARGET_Y = 96;
const FLOOR = 130;
const EDGE_SHARE = 0.55; // of the width, where the edge stands
// Units of the drawing a metre, the largest that shows edge and target at once; a drawing that jumps seldom is read sooner.
const SCALES = [400, 200, 100, 50, 20, 10, 5, 2, 1, 0.5];
const LEAST_BAR = 40;
const ABOVE = 66;
const BELOW = 18;
const CROSS_HIGH = 120;
const NAMES = ["left", "centre", "right"];
const CROSS_SCALES = [3000, 1500, 600, 300, 150, 60, 30, 10, 3];
const CROSS_ROOM = 76; // of its height for edge and target
const CROSS_Y = 66; // of its middle
const LEAST_CROSS = 60; // a target too far off to be drawn at this scale stands in words alone, else no slope of the edge was seen
let long = null;
let wide = 600;
let cross = null;

export function makeSection() {
  long = element("svg", { role: "img", "font-size": 17 });
  cross = element("svg", { role: "img", "font-size": 15 });
  at("long").replaceChildren(long);
  at("cross").replaceChildren(cross);
  blankSection();
}

export function blankSection() {
  if (long === null) return;
  for (const [root, words] of [[long, WORDS.longBlank], [cross, WORDS.crossBlank]]) {
    root.replaceChildren();
    root.setAttribute("aria-label", words);
  }
  for (const each of document.querySelectorAll("#corners small")) each.textContent = "";
}

export function drawLong(readout, targets, chosen) {
  if (long.clientWidth === 0) return; // a slip lies over it
  wide = Math.round((long.clientWidth * HIGH) / long.clientHeight);
  long.setAttribute("viewBox", `0 0 ${wide} ${HIGH}`);
  const edgeX = Math.round(EDGE_SHARE * wide);
  const edge = readout.points[chosen];
  const target = targets.find((each) => each.name === readout.target) ?? null;
  const wanted = edge.target_elevation;
  const off = wanted === null || edge.elevation === null ? 0 : edge.elevation.m - wanted.m;
  const scale = SCALES.find((each) => off * each <= ABOVE && -off * each <= BELOW) ?? SCALES[SCALES.length - 1];
  const y = Math.max(8, TARGET_Y - off * scale);
  const drawn = [];
  if (wanted !== null) {
    const rise = (target?.along_percent ?? 0) / 100;
    const [left, right] = [TARGET_Y + edgeX * rise, TARGET_Y - (wide - edgeX) * rise];
    let hatch = "";
    for (let x = 8; x < wide; x += 16) {
      const top = left + (x / wide) * (right - left);
      hatch += `M${x} ${top.toFixed(1)}l-8 9`;
    }
    drawn.push(
      element("path", { d: `M0 ${left.toFixed(1)}L${wide} ${right.toFixed(1)}`, class: "wanted", "data-line": "target" }),
      element("path", { d: hatch, class: "line", "data-line": "ground" }),
      text(wide - 6, HIGH - 26, WORDS.targetLine(wanted.shown), "end", false),
      element("path", { d: `M${edgeX} ${y}V${TARGET_Y}`, class: "dashed" }),
    );
  }
  if (!readout.past_square) {
    const lean = (readout.floor_angle_deg * Math.PI) / 180;
    const heel = [edgeX - FLOOR * Math.cos(lean), y - FLOOR * Math.sin(lean)];
    drawn.push(element("path", { d: `M${heel[0].toFixed(1)} ${heel[1].toFixed(1)}L${edgeX} ${y.toFixed(1)}`, class: "floor", "data-line": "floor" }));
  }
  drawn.push(
    element("path", { d: `M${edgeX} ${y.toFixed(1)}m-9 -16h18l-9 16z`, class: "solid" }),
    ...named(edgeX, Math.max(32, Math.min(y, wanted === null ? y : TARGET_Y) - 8), WORDS.point(readout.line, chosen), edge.elevation?.shown ?? ""),
    text(6, HIGH - 6, WORDS.machineSide, "start", false),
    ...bar(scale, readout.units),
  );
  long.replaceChildren(...drawn);
  long.setAttribute("aria-label", WORDS.long(readout, chosen));
}

/** Which point it is, and below that its elevation. */
const named = (x, y, words, shown) => [text(x + 18, y - 18, words, "start", false), text(x + 18, y, shown, "start", true)];

/** A scale bar of a round length in the job's units. */
function bar(scale, units) {
  const found = barsIn(units).find((each) => each.m * scale >= LEAST_BAR);
  if (found === undefined) return [];
  const end = wide - 10;
  const begin = end - found.m * scale;
  return [
    element("path", { d: `M${begin} ${HIGH - 8}v-6v3H${end}v3v-6`, class: "line", "data-line": "bar" }),
    text(begin - 6, HIGH - 5, found.written, "end", false),
  ];
}

export function drawCross(readout, chosen) {
  const points = NAMES.map((name) => readout.points[name]);
  for (const [i, name] of NAMES.entries()) {
    const { cut_fill: told, elevation } = points[i];
    const words = told !== null ? WORDS.corner(told) : elevation?.shown ?? "";
    const small = document.querySelector(`#corners input[value=${name}] ~ small`);
    if (small !== null && small.textContent !== words) small.textContent = words;
  }
  if (points.some((each) => each.elevation === null)) {
    cross.replaceChildren();
    return;
  }
  if (cross.clientWidth === 0) return; // a slip lies over it
  const width = Math.round((cross.clientWidth * CROSS_HIGH) / cross.clientHeight);
  cross.setAttribute("viewBox", `0 0 ${width} ${CROSS_HIGH}`);
  const x = (i) => ((2 * i + 1) * width) / 6; // the middles of the thirds that are touched
  const edge = points.map((each) => each.elevation.m);
  const target = points.map((each) => each.target_elevation?.m ?? null);
  const both = target.includes(null) ? edge : [...edge, ...target];
  const there = scaleFor(both) >= LEAST_CROSS ? both : edge;
  const scale = scaleFor(there);
  const middle = 0.5 * (Math.max(...there) + Math.min(...there));
  const y = (metres) => (CROSS_Y - (metres - middle) * scale).toFixed(1);
  const across = (values) => values.map((each, i) => `${x(i).toFixed(1)} ${y(each)}`).join("L");
  const drawn = [];
  if (there.length > edge.length) {
    const ends = [target[0] - 0.5 * (target[1] - target[0]), target[2] + 0.5 * (target[2] - target[1])];
    drawn.push(element("path", { d: `M0 ${y(ends[0])}L${across(target)}L${width} ${y(ends[1])}`, class: "wanted", "data-line": "target" }));
    let hatch = "";
    for (let at_ = 8; at_ < width; at_ += 16) hatch += `M${at_} ${y(ends[0] + (at_ / width) * (ends[1] - ends[0]))}l-8 9`;
    drawn.push(element("path", { d: hatch, class: "line", "data-line": "ground" }));
  }
  drawn.push(element("path", { d: `M${across(edge)}`, class: "floor", "data-line": "edge" }));
  for (const [i, name] of NAMES.entries()) {
    const here = name === chosen;
    drawn.push(element("circle", { cx: x(i).toFixed(1), cy: y(edge[i]), r: here ? 11 : 6, class: here ? "chosen" : "solid" }));
  }
  drawn.push(text(6, 16, WORDS.leftSide, "start", false), text(width - 6, 16, WORDS.rightSide, "end", false));
  cross.replaceChildren(...drawn);
  cross.setAttribute("aria-label", WORDS.slope(readout));
}

/** Units of the drawing a metre, the largest at which all of these heights are seen. */
function scaleFor(heights) {
  const spread = Math.max(...heights) - Math.min(...heights);
  return CROSS_SCALES.find((each) => spread * each <= CROSS_ROOM) ?? CROSS_SCALES[CROSS_SCALES.length - 1];
}
