// A levelling staff seen through the round field of a level: its figures go by, the hair stays at the edge's height.

import { at, made } from "./elements.js";
import { marksAt } from "./seat-marks.js";
import { WORDS } from "./seat-words.js";
import { element, text } from "./svg.js";

const R = 196;
const SHOWN_M = 0.5; // of the staff, from rim to rim
const SCALE = (2 * R) / SHOWN_M;
const AWAY_Y = 60; // of the first of two lines below the hair; above it the second stands as far
const LINE_Y = 30;
const MOVES_M = 0.1 * SHOWN_M; // before it is drawn anew
const DRAWN_M = 0.5 * SHOWN_M + MOVES_M; // to either side
const FIGURE_X = 32;
const FIGURE_WIDE = 17; // a letter at most, bold, at the field's size of text
const [FIGURE_UP, FIGURE_DOWN] = [14, 14]; // of a figure, from its mark
let parts = null;
let base = 0;
let drawnOf = null; // the marks that are drawn about `base`

/** The field with its hair, empty. */
export function makeStaff() {
  const root = element("svg", { viewBox: "-200 -200 400 400", role: "img", "font-family": "Georgia,'DejaVu Serif',serif" });
  const clip = element("clipPath", { id: "rim" });
  clip.append(element("circle", { r: R }));
  const hatch = element("pattern", { id: "band", width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  hatch.append(element("path", { d: "M4 0V8", class: "ink", "stroke-width": 2 }));
  const defs = element("defs", {});
  defs.append(clip, hatch);
  const seen = element("g", { "clip-path": "url(#rim)" });
  const staff = element("g", {});
  const mark = element("g", { class: "target" });
  staff.append(mark);
  seen.append(staff);
  const hair = element("path", { d: `M${-R} 0H${R}M0 ${-R}V${R}M-34 -98H34M-34 98H34`, class: "hair" });
  // On the blocks it is seen by the ground kept free about it.
  const free = element("path", { d: `M-70 -6h66v12h-66zM-6 ${-R}h12V${R}h-12zM-34 -104h28v12h-28zM-34 92h28v12h-28z`, class: "ground" });
  const behind = element("rect", { x: -150, y: AWAY_Y - 30, width: 300, height: 70, class: "ground", visibility: "hidden" });
  const away = element("text", { "text-anchor": "middle", class: "away" });
  root.append(defs, element("rect", { x: -200, y: -200, width: 400, height: 400, class: "ground" }), seen, free, hair, behind, away, element("circle", { r: R, class: "rim" }));
  parts = { root, staff, mark, away, behind, figures: [] };
  at("field").replaceChildren(root, made("figcaption", { className: "unseen", textContent: WORDS.staff }));
  root.setAttribute("aria-label", WORDS.staff);
  blankStaff();
}

export function blankStaff() {
  if (parts === null) return;
  parts.staff.setAttribute("visibility", "hidden");
  drawnOf = null;
  tellAway([]);
  parts.root.setAttribute("aria-label", WORDS.staffBlank);
}

/** `point` as a readout tells it; `tolerance` in metres, null without a target; `come`: draws again once there are marks. */
export function drawStaff(point, tolerance, units, read, come) {
  const marks = point.elevation === null ? null : marksAt(units, point.elevation.m, SHOWN_M, come);
  if (marks === null) {
    blankStaff();
    return;
  }
  const height = point.elevation.m;
  if (drawnOf !== marks || Math.abs(height - base) > MOVES_M) {
    base = height;
    drawnOf = marks;
    rule(marks);
  }
  const y = (metres) => (base - metres) * SCALE;
  parts.staff.setAttribute("transform", `translate(0 ${((height - base) * SCALE).toFixed(2)})`);
  parts.staff.setAttribute("visibility", "visible");
  const target = point.target_elevation;
  const off = target === null ? 0 : target.m - height;
  const outside = Math.abs(off) * SCALE > R - 30;
  tellAway(outside ? WORDS.away(off > 0, read.shown) : [], off > 0);
  whole((metres) => (height - metres) * SCALE);
  const key = target === null || outside ? "" : `${y(target.m).toFixed(1)} ${tolerance}`;
  if (parts.mark.dataset.key !== key) {
    parts.mark.dataset.key = key;
    parts.mark.replaceChildren(...(key === "" ? [] : flag(y(target.m), (tolerance ?? 0) * SCALE)));
  }
  parts.root.setAttribute("aria-label", WORDS.staff);
}

/** Two lines across the field where it is still wide enough for them. */
function tellAway(lines, up = false) {
  const key = `${up} ${lines.join("\n")}`;
  const first = up ? -AWAY_Y - LINE_Y + 20 : AWAY_Y;
  if (parts.away.dataset.key === key) return;
  parts.away.dataset.key = key;
  parts.away.replaceChildren(...lines.map((words, i) => {
    const span = element("tspan", { x: 0, y: first + LINE_Y * i });
    span.textContent = words;
    return span;
  }));
  parts.behind.setAttribute("y", first - 30);
  parts.behind.setAttribute("visibility", lines.length > 0 ? "visible" : "hidden");
}

/** A figure that the rim would cut is left out: of 5276 it would leave 527. `y`: where a height stands now. */
function whole(y) {
  for (const [words, m, wide] of parts.figures) {
    const [right, far] = [FIGURE_X + wide, Math.max(Math.abs(y(m) - FIGURE_UP), Math.abs(y(m) + FIGURE_DOWN))];
    const visible = Math.hypot(right, far) < R ? "inherit" : "hidden";
    if (words.getAttribute("visibility") !== visible) words.setAttribute("visibility", visible);
  }
}

function flag(y, band) {
  return [
    element("rect", { x: -190, y: y - band, width: 120, height: 2 * band, fill: "url(#band)" }),
    element("path", { d: `M-190 ${y}H-70`, class: "wanted" }),
    element("path", { d: `M-70 ${y}l-22 -13v26z`, class: "solid" }),
  ];
}

/** Blocks to either side in turn, as on a staff, and figures; more than the field shows, so that it may move. */
function rule({ block_m: block, blocks_per_figure: often, figures: all }) {
  const y = (metres) => (base - metres) * SCALE;
  const tall = block * SCALE;
  const near = all.filter((each) => each.m > base - DRAWN_M - often * block && each.m < base + DRAWN_M);
  let blocks = "";
  const [figures, marked] = [[], []];
  for (const { m, written } of near) {
    for (let n = 0; n < often; n += 1) {
      blocks += `M${n % 2 === 0 ? -66 : -30} ${(y(m + n * block) - tall).toFixed(2)}h36v${tall.toFixed(2)}h-36z`;
    }
    if (m <= base - DRAWN_M) continue;
    const words = text(FIGURE_X, (y(m) + 10).toFixed(2), written, "start", true);
    figures.push(element("path", { d: `M6 ${y(m).toFixed(2)}H26`, class: "line" }), words);
    marked.push([words, m]);
  }
  const [bottom, top] = [y(near[0].m), y(near[near.length - 1].m + often * block)];
  parts.staff.replaceChildren(
    element("path", { d: `M-66 ${top}V${bottom}M150 ${top}V${bottom}`, class: "line" }),
    element("path", { d: blocks, class: "solid" }), ...figures, parts.mark,
  );
  parts.mark.dataset.key = "-";
  parts.figures = marked.map(([words, m]) => [words, m, FIGURE_WIDE * words.textContent.length]);
}
