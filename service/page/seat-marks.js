// The figures of a staff and the round lengths of scale bars, as the service has them: this page converts no unit.

import { ask } from "./ask.js";

const AGAIN_MS = 2000;
let told = null; // {units, block_m, blocks_per_figure, figures, scale_bars}
let asking = false;
let failed = -Infinity;

/** The graduation that holds `metres` with `over` of them to either side, or null while it is asked for; then `come()`. */
export function marksAt(units, metres, over, come) {
  const near = told !== null && told.units === units && holds(metres, over);
  if (!near || !holds(metres, 2 * over)) fetchMarks(units, metres, come);
  return near ? told : null;
}

/** Round lengths in these units, short to long; none before they are known. */
export const barsIn = (units) => (told !== null && told.units === units ? told.scale_bars : []);

const holds = (metres, over) => told.figures[0].m <= metres - over && told.figures[told.figures.length - 1].m >= metres + over;

async function fetchMarks(units, metres, come) {
  if (asking || performance.now() - failed < AGAIN_MS) return;
  asking = true;
  const answer = await ask("GET", `/v1/graduations?${new URLSearchParams({ units, around_m: String(metres) })}`);
  asking = false;
  if (answer === null || !answer.ok) {
    failed = performance.now();
    return;
  }
  told = answer.told;
  come();
}
