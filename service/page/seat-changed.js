// Lines of the depth sheet that are no longer what this page showed of them: told until somebody has seen it. Whoever sits at
// the machine has put each change into effect there and is not told again.

import { WORDS } from "./seat-words.js";

const shown = new Map(); // by name: {key, was}
const changed = new Map(); // by name: words

/** Hold the depth sheet against what this page showed before; `known`: the change was made or acknowledged here. A line that
 * is new is no change. */
export function compare(targets, known) {
  for (const each of targets) {
    const { name, benchmark, elevation, depth_below: depth, tolerance, floor_limit: floor, along_percent: along, across_percent: across } = each;
    const key = JSON.stringify([benchmark, elevation.m, depth.m, tolerance.m, floor?.m ?? null, along, across]);
    const before = shown.get(name);
    if (before !== undefined && before.key !== key && !known) changed.set(name, WORDS.changed(each, before.was));
    shown.set(name, { key, was: WORDS.target(each)[1] });
  }
}

export const changes = () => [...changed.values()];
export const seen = () => changed.clear();
