// The service's clock seen from this page's, so that a readout's age is told by the page's own clock, the way included.
//
// We ask and note when we asked and when the answer came. Ours minus theirs then lies between asked - answer and
// answered - answer (the exchange of RFC 5905 without its division by two). A reading is dated by the lower end, so that it is
// never taken for younger than it is; when somebody asked for a touch by the upper, so that it is not taken for later.

const DRIFT = 500e-6; // of clocks that run evenly, from memory
const ANSWERS = 3;
const JITTER_MS = 5;
const KEPT_MS = 20_000; // without an answer for so long a clock that was set cannot be told from age

let run = ""; // which clock of the service's: another after it started again
let ends = []; // {low, high, when} in ms, the newest answers
let number = 0;
const open = new Map(); // questions by number: when they were asked

/** The text of the next question, asked at `now` (ms of this page's clock). */
export function question(now) {
  number += 1;
  open.set(number, now);
  open.delete(number - 4);
  return JSON.stringify({ clock: number });
}

/** Questions on another connection are not answered on this one. */
export const forget = () => open.clear();

/** Take an answer {clock, of, at_s}. */
export function answered({ clock, of, at_s: theirs }, now) {
  const asked = open.get(clock);
  if (asked === undefined || typeof of !== "string" || !Number.isFinite(theirs)) return;
  open.delete(clock);
  const [low, high] = [asked - 1000 * theirs, now - 1000 * theirs];
  const drifted = (each) => DRIFT * (now - each.when);
  // Another run's clock, or one of both that stood still or was set on: what was known is of no use.
  if (of !== run || ends.some((each) => each.low - drifted(each) > high || low > each.high + drifted(each))) ends = [];
  run = of;
  ends = [...ends.slice(1 - ANSWERS), { low, high, when: now }];
}

const unknown = (now) => ends.length === 0 || now - ends.at(-1).when > KEPT_MS;
const lowest = (now) => Math.max(...ends.map((each) => each.low - DRIFT * (now - each.when)));
const highest = (now) => Math.min(...ends.map((each) => each.high + DRIFT * (now - each.when)));

/** How long ago (ms) it was `theirs` (s) by the service's clock: {most, least}; null while that is not known. */
export function ago(theirs, now) {
  if (unknown(now)) return null;
  const [most, least] = [now - 1000 * theirs - lowest(now), now - 1000 * theirs - highest(now)];
  if (most < -JITTER_MS) { // from the future: one of the clocks stood still meanwhile
    ends = [];
    return null;
  }
  return { most: Math.max(0, most), least: Math.max(0, least) };
}

/** A moment of this page as a request tells it, the earliest it can have been; null while the clock is not known. */
export function asRequest(now) {
  return unknown(now) ? null : { of: run, at_s: (now - highest(now)) / 1000 };
}
