// What the service says of job, depth sheet, log and whoever looks; asked anew whenever the log has moved on.

import { ask } from "./ask.js";

/** `who`: the session; `rows`: the level book by entry; `latest`: the last entries, newest first; `limits`: age limits in ms by sensor;
 * `teeth`: whether the bucket has tooth tips on record, null where that is not known. */
export const book = { id: "", job: null, targets: [], rows: new Map(), latest: [], who: null, limits: new Map(), teeth: null };

const RECORDING = ["operator", "administrator"];
const LATEST = 30;
const path = (what = "") => `/v1/jobs/${encodeURIComponent(book.id)}${what}`;
let running = null;
let wanted = false;
let pair = "";

export const pathOf = path;

/** Ask for all of it; resolves to the first answer that was refused, or undefined. Asked twice meanwhile, it runs once more. */
export function refresh() {
  wanted = true;
  running ??= run().finally(() => { running = null; });
  return running;
}

async function run() {
  let refused;
  while (wanted) {
    wanted = false;
    refused = await once();
  }
  return refused;
}

async function once() {
  const answers = await Promise.all([
    ask("GET", path()), ask("GET", path("/targets")), ask("GET", path("/level-book")), ask("GET", path("/sensors")),
    ask("GET", "/v1/sessions/current"),
  ]);
  const refused = answers.find((answer) => answer === null || !answer.ok);
  if (refused !== undefined) return refused;
  const [job, targets, levels, sensors, who] = answers.map((answer) => answer.told);
  const latest = await ask("GET", path(`/events?after=${Math.max(0, job.seq - LATEST)}&limit=${2 * LATEST}`));
  if (latest === null || !latest.ok) return latest;
  Object.assign(book, {
    job, targets, who, rows: new Map(levels.rows.map((row) => [row.seq, row])), latest: latest.told.events.toReversed(),
    limits: new Map(sensors.sensors.map((each) => [each.name, 1000 * each.age_limit_s])),
  });
  const now = `${job.machine?.id} ${job.attachment?.id}`;
  if (job.machine !== null && now !== pair) {
    const query = new URLSearchParams({ machine: job.machine.id, attachment: job.attachment.id, units: job.units });
    const stance = await ask("GET", `/v1/stances?${query}`);
    const known = stance !== null && stance.ok;
    book.teeth = known ? stance.told.edge_points.some((point) => point.name.startsWith("tooth")) : null;
    pair = known ? now : "";
  }
  return undefined;
}

/** "" where this caller may record on this job, else the code of the reason. */
export function mayNot() {
  const { who, job } = book;
  if (who.access === "off") return "";
  if (!who.roles.some((role) => RECORDING.includes(role))) return "role";
  if (job.machine !== null && who.machines !== null && !who.machines.includes(job.machine.id)) return "machine";
  return "";
}

/** The point of the bucket that the height which counts was touched with, null where the log tells of none. */
function touchedWith() {
  const found = (book.job.height?.hangs_on ?? []).map((seq) => book.rows.get(seq)).filter((row) => row?.what === "touch");
  return found[found.length - 1]?.edge_point ?? null;
}

export const lineTouched = () => (touchedWith()?.startsWith("tooth_") ? "teeth" : "edge");

/** Whether what others change waits for this caller: with access off nobody is told apart, and nothing waits. */
export const othersWait = () => book.who.access !== "off" && book.job.seat === book.who.name;
export const atTheSeat = () => book.who.access === "off" || book.job.seat === null || book.job.seat === book.who.name;
export const targetOf = (name) => book.targets.find((each) => each.name === name) ?? null;

/** This caller's own last entries that count, newest first. */
export const ownLatest = () => book.latest.filter((each) => each.actor === book.who.name && each.status === "counts"
  && each.type !== "job-opened");
