// The leaf: the number or why there is none, never both, and what is told around it.

import { book } from "./seat-book.js";
import { at, made } from "./elements.js";
import { writeFigures } from "./seat-figures.js";
import { blankSection, drawCross, drawLong } from "./seat-section.js";
import { blankStaff, drawStaff } from "./seat-staff.js";
import { WORDS } from "./seat-words.js";

const SLOW_MS = 1000;
const STILL_M = 0.005; // an edge that moves less rests, as for a touch: whoever listens is not told every figure of it
/** What is read: `point` of left, centre, right. */
export const leaf = { point: "centre", told: null, drawn: 0, note: 0 };

let due = 0;
let slowly = -Infinity;
let heardLast = "";
let toldLast = null; // {word, point, floor, metres} of the number told last

export function write(id, text) {
  const found = at(id);
  if (found.textContent !== text) found.textContent = text;
}

function list(id, texts) {
  const now = [...at(id).children].map((each) => each.textContent);
  if (now.length === texts.length && now.every((each, i) => each === texts[i])) return;
  if (now.length === texts.length) {
    for (const [i, each] of texts.entries()) if (each !== now[i]) at(id).children[i].textContent = each;
    return;
  }
  at(id).replaceChildren(...texts.map((textContent) => made("li", { textContent })));
}

/** Show a message with the browser's next picture. */
export function show(told) {
  leaf.told = told;
  if (due === 0) due = requestAnimationFrame(drawSafely);
}

/** Show that there is no number, at once, and why. `reasons`: [{found, expected, advice}] or a sentence. */
export function blank(reasons) {
  cancelAnimationFrame(due);
  due = 0;
  leaf.told = null;
  write("fresh", "");
  list("warned", [WORDS.noTrust]);
  none(typeof reasons === "string" ? [reasons] : WORDS.together(reasons));
}

/** Draw again what was told last, as after another corner was chosen. */
export const redraw = () => { if (leaf.told !== null) show(leaf.told); };

function none(sentences) {
  at("some").hidden = true;
  for (const id of ["word", "sub"]) write(id, "");
  writeFigures("");
  write("because", sentences.join(" "));
  at("none").hidden = false;
  at("box").dataset.state = "none";
  blankStaff();
  blankSection();
  write("advice-for", "");
  list("advice", [WORDS.noAdvice]);
  list("trust", [WORDS.noTrust]);
  list("hangs", [WORDS.nothing]);
  write("slope", "");
  slowly = -Infinity;
  toldLast = null;
  hear(`${WORDS.noNumber}. ${sentences[0] ?? ""}`, true);
}

/** Whatever cannot be drawn must not leave standing what was drawn before. */
function drawSafely() {
  due = 0;
  try {
    draw();
  } catch (error) {
    blank(WORDS.blank.broken);
    throw error;
  }
}

function draw() {
  const { told } = leaf;
  if (told === null) return;
  const { readout } = told;
  const reasons = readout === null ? told.no_number_because : readout.no_number_because;
  write("fresh", WORDS.fresh(told));
  tellStrike(told.strike);
  list("warned", readout === null ? [WORDS.noTrust] : readout.warnings.length === 0 ? [WORDS.noWarning] : readout.warnings.map(WORDS.reason));
  const point = readout?.points[leaf.point];
  const read = point === undefined ? null : numberOf(point);
  if (reasons.length > 0 || read === null) {
    none(reasons.length > 0 ? WORDS.together(reasons) : [WORDS.noReason]);
    return;
  }
  some(readout, point, read);
  leaf.drawn += 1;
  at("box").dataset.drawn = String(leaf.drawn);
}

/** What is read at a point: cut or fill where a target is chosen, else its elevation; null where neither is known. */
export function numberOf(point) {
  if (point.cut_fill !== null) {
    const { word, amount, above_target: above } = point.cut_fill;
    return { word: WORDS.word[word] ?? word.toUpperCase(), shown: amount.shown, above: above.m, within: point.cut_fill.within };
  }
  if (point.elevation === null || point.target_elevation !== null) return null;
  return { word: WORDS.elevation, shown: point.elevation.shown, above: null, within: point.elevation_within };
}

function some(readout, point, read) {
  const [, figures, unit] = read.shown.match(/^(.*?)(?: (m|mm|ft|ftUS))?$/);
  at("none").hidden = true;
  write("because", "");
  write("word", read.word);
  writeFigures(figures);
  const named = WORDS.point(readout.line, leaf.point);
  write("sub", WORDS.sub(unit ?? "", read, readout.target, named));
  at("some").hidden = false;
  at("box").dataset.state = read.above === null ? "elevation" : point.cut_fill.word;
  const tolerance = book.targets.find((each) => each.name === readout.target)?.tolerance.m ?? null;
  drawStaff(point, tolerance, readout.units, read, redraw);
  drawLong(readout, book.targets, leaf.point);
  drawCross(readout, leaf.point);
  advise(readout, named);
  tell(readout, read, named);
  const now = performance.now();
  if (now - slowly < SLOW_MS) return;
  slowly = now;
  write("slope", WORDS.slope(readout));
  list("trust", WORDS.trust(readout.trust, WORDS.point(readout.line, "centre")));
  list("hangs", [...readout.hangs_on.map((seq) => WORDS.entry(seq, book.rows.get(seq))), WORDS.atOnce(book.who, book.job.seat)].filter((each) => each !== ""));
}

/** Advice stands beside the number that it was computed with, or not at all. */
function advise(readout, named) {
  const { corrections, tilt_for_cross_slope: tilt } = readout;
  const fits = readout.edge_point === leaf.point;
  write("advice-for", fits && corrections.length > 0 ? WORDS.adviceFor(named) : "");
  if (!fits) list("advice", [WORDS.adviceAsked]);
  else if (corrections.length === 0) list("advice", [WORDS.noAdvice]);
  else list("advice", [...corrections, ...(tilt === null ? [] : [tilt])].map((each) => [each.words, ...each.warnings.map((then) => then.words)].join("; ")));
}

/** What is new of a number, to a screen reader: another word, another point, or metres by which an edge no longer rests. */
function tell(readout, read, named) {
  const floor = readout.below_floor_limit;
  const metres = read.above ?? readout.points[leaf.point].elevation.m;
  const same = toldLast !== null && toldLast.word === read.word && toldLast.point === named && toldLast.floor === floor;
  if (same && Math.abs(metres - toldLast.metres) < STILL_M) return;
  const urgent = floor && toldLast?.floor !== true;
  if (hear(`${floor ? `${WORDS.floor}, ` : ""}${read.word} ${read.shown}, ${named}`, urgent)) toldLast = { word: read.word, point: named, floor, metres };
}

function tellStrike(strike) {
  write("strike", strike === null ? WORDS.noStrike : WORDS.strike(strike));
}

/** To a screen reader, at most once a second; what is `urgent` comes as soon as that is over, the rest is asked for again.
 * Whether it is told. */
function hear(text, urgent) {
  if (text === heardLast) {
    clearTimeout(hear.later); // what was to be told meanwhile is over
    return true;
  }
  const wait = leaf.note + SLOW_MS - performance.now();
  if (wait > 0 && !urgent) return false;
  clearTimeout(hear.later);
  hear.later = setTimeout(() => {
    heardLast = text;
    leaf.note = performance.now();
    write("heard", text);
  }, Math.max(0, wait));
  return true;
}
