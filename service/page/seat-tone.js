// The near-grade tone, sounded from the service's table: off until pressed, silent wherever there is no number.

import { ask } from "./ask.js";
import { at } from "./elements.js";
import { targetOf } from "./seat-book.js";
import { following } from "./seat-stream.js";
import { WORDS } from "./seat-words.js";

const LOUD = 0.2;
const TICK_MS = 25;
const AHEAD_S = 0.08;
const PULSE_S = 0.07;
const PAIR_S = 0.045;
const OFTEN_S = 0.015;
const AGAIN_MS = 2000;

let rows = [];
let of = "";
let again = 0; // a timer: the table was not had
let above = null;
let sounding = null; // {context, voice, loud, timer, next}

/** What the edge stands above its target, in metres; null where there is no number. */
export function sound(metres) {
  above = metres;
  if (sounding !== null) play();
}

/** The table of the target that is followed; none without one. */
export async function tuneTone() {
  const target = targetOf(following()?.target ?? null);
  const tolerance = target?.tolerance.m ?? 0;
  const query = new URLSearchParams({ tolerance: String(tolerance), units: "m" });
  const wanted = target === null ? "" : String(query);
  if (wanted !== of) {
    [of, rows] = [wanted, []];
    const answer = wanted === "" ? null : await ask("GET", `/v1/tones?${query}`);
    if (of !== wanted) return;
    if (answer !== null && answer.ok) rows = answer.told.rows;
    else {
      of = "";
      clearTimeout(again);
      again = setTimeout(tuneTone, AGAIN_MS);
    }
  }
  tell();
}

export function makeTone() {
  at("tone").addEventListener("click", () => {
    if (sounding === null) begin();
    else end();
    tell();
  });
  tell();
}

function tell() {
  const on = sounding !== null;
  at("tone").textContent = on ? WORDS.toneOn : WORDS.toneOff;
  at("tone").setAttribute("aria-pressed", String(on));
  const none = (following()?.target ?? null) === null ? WORDS.toneNone : WORDS.toneWaits;
  const words = on && rows.length === 0 ? none : WORDS.toneHow;
  if (at("tone-said").textContent !== words) at("tone-said").textContent = words;
}

function begin() {
  const context = new AudioContext();
  const voice = new OscillatorNode(context, { type: "triangle" });
  const loud = new GainNode(context, { gain: 0 });
  voice.connect(loud).connect(context.destination);
  voice.start();
  sounding = { context, voice, loud, timer: setInterval(play, TICK_MS), next: 0, last: null };
}

function end() {
  clearInterval(sounding.timer);
  sounding.context.close();
  sounding = null;
  at("tone").dataset.sounds = "";
}

/** The row of a height: the last that begins at or below it; deeper than all, the first. */
export function rowAt(metres) {
  return rows.findLast((row) => row.above_target.m <= metres) ?? rows[0] ?? null;
}

function play() {
  const { context, voice, loud } = sounding;
  const now = context.currentTime;
  const row = above === null ? null : rowAt(above);
  const silent = row === null || row.pitch_hz === null;
  const kind = silent ? "silent" : row.pulses_per_s === 0 ? "unbroken" : row.in_pairs ? "pairs" : "single";
  at("tone").dataset.sounds = kind;
  if (kind !== sounding.last) {
    loud.gain.cancelScheduledValues(now);
    loud.gain.setTargetAtTime(kind === "unbroken" ? LOUD : 0, now, OFTEN_S);
    sounding.last = kind;
    sounding.next = now + 4 * OFTEN_S;
  }
  if (silent) return;
  voice.frequency.setTargetAtTime(row.pitch_hz, now, OFTEN_S);
  if (kind === "unbroken") return;
  while (sounding.next < now + AHEAD_S) {
    const [from, long] = [Math.max(sounding.next, now), row.in_pairs ? PAIR_S : PULSE_S];
    pulse(loud.gain, from, long);
    const every = Math.max(1 / row.pulses_per_s, row.in_pairs ? 4 * PAIR_S : 0);
    if (row.in_pairs) pulse(loud.gain, from + 1.6 * long, long);
    sounding.next = from + every;
  }
}

function pulse(gain, from, long) {
  gain.setValueAtTime(0, from);
  gain.linearRampToValueAtTime(LOUD, from + 0.01);
  gain.setValueAtTime(LOUD, from + long - 0.01);
  gain.linearRampToValueAtTime(0, from + long);
}
