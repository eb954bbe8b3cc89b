// The sensors of a job while they speak: what each says, how it fares, what the service makes of them.

import { ask } from "./ask.js";
import { at, made } from "./elements.js";
import { addPart, bench, had, hear, jobField, say, table, tell } from "./shop-bench.js";
import { SAY } from "./shop-words.js";

const EVERY_MS = 500;
const panel = at("sensors");
let turn = 0; // each opening asks in a turn of its own
let quiet = null;

async function open() {
  const jobs = await had("GET", "/v1/jobs?limit=500");
  if (jobs === null) return;
  panel.replaceChildren(made("h2", { id: "sensors-name", tabIndex: -1, textContent: SAY.sensors }), made("p", { className: "lead", textContent: SAY.sensorsLead }),
    jobField("s-job", jobs.jobs, begin), made("div", { id: "speaking" }));
  begin();
}

/** Ask again and again, one answer after the other, while the part is open. */
function begin() {
  const mine = turn += 1;
  quiet = null;
  at("speaking").replaceChildren();
  const next = async () => {
    if (mine !== turn || bench.job === "" || document.hidden) return;
    const answer = await ask("GET", `/v1/jobs/${bench.job}/sensors`);
    if (mine !== turn) return;
    if (answer === null || !answer.ok) {
      at("speaking").replaceChildren(); // old numbers would be believed
      tell(answer);
    } else {
      say("");
      show(answer.told);
    }
    setTimeout(next, EVERY_MS);
  };
  next();
}

const figure = (value, digits) => value === null ? SAY.none : [value].flat().map((each) => each.toFixed(digits)).join(", ");

function show(told) {
  const host = at("speaking");
  if (told.no_sensors_because.length > 0) {
    host.replaceChildren(made("p", { className: "said", textContent: told.no_sensors_because.join(" ") }));
    return;
  }
  const silent = told.sensors.filter((each) => each.quiet).map((each) => each.name);
  if (String(silent) !== quiet) hear(silent.length === 0 ? SAY.allSpeak : SAY.areQuiet(silent));
  quiet = String(silent);
  const rows = told.sensors.map((each) => [each.name, each.quiet ? SAY.quiet : SAY.speaks, `${figure(each.last, 2)} ${each.unit}`, SAY.ofLimit(figure(each.age_s, 2), each.age_limit_s), figure(each.rate_hz, 1),
    SAY.noise(figure(each.noise, 3), figure(each.noise_in_profile, 3), each.unit), String(each.taken)]);
  const angles = told.angles_deg === null ? [made("ul", { className: "words", id: "no-angles" }, ...told.no_angles_because.map((each) => made("li", { textContent: each })))]
    : [table(SAY.angles, SAY.angleColumns, Object.entries(told.angles_deg).map(([name, degrees]) => [name, figure(degrees, 2)]))];
  const fresh = made("div", {}, made("p", { textContent: SAY.fedBy(told.feeders, silent) }), table(SAY.readings, SAY.readingColumns, rows), made("h3", { textContent: SAY.anglesName }), ...angles, refusals(told));
  if (host.firstChild?.nodeName !== "DIV") host.replaceChildren(fresh);
  else melt(host.firstChild, fresh);
}

/** What was refused, and what a sensor reported of itself: a word each, with what to do. */
function refusals(told) {
  const all = [["", told.refused], ...told.sensors.map((each) => [each.name, each.refused]), [SAY.receiver, told.receiver_refused]]
    .flatMap(([name, counts]) => Object.entries(counts).map(([code, count]) => [name, code, count]));
  const lines = all.filter(([, , count]) => count > 0).map(([name, code, count]) => made("li", {}, SAY.refusedSo(name, count),
    made("a", { href: `/guide/problems#${code}`, textContent: SAY.refusedBy[code] ?? code.replaceAll("-", " ") })));
  const words = told.sensors.filter((each) => each.words !== "").map((each) => made("li", { textContent: `${each.name}: ${each.words}` }));
  return made("div", {}, made("h3", { textContent: SAY.refused }), ...(lines.length + words.length === 0 ? [made("p", { className: "hint", textContent: SAY.nothingRefused })] : [made("ul", { className: "words refusals" }, ...words, ...lines)]));
}

/** New content in place of old: where both are of one shape only the words change, so that keyboard and scrolling stay. */
function melt(old, fresh) {
  if (old.nodeType === Node.TEXT_NODE && fresh.nodeType === Node.TEXT_NODE) {
    if (old.data !== fresh.data) old.data = fresh.data;
  } else if (old.nodeName === fresh.nodeName && old.childNodes.length === fresh.childNodes.length && old.href === fresh.href && old.id === fresh.id) {
    const pairs = [...old.childNodes].map((each, i) => [each, fresh.childNodes[i]]);
    for (const [one, other] of pairs) melt(one, other);
  } else old.replaceWith(fresh);
}

/** Out of sight nothing is asked, and no number stays that would be believed at the next look. */
document.addEventListener("visibilitychange", () => {
  if (bench.part !== "sensors" || at("speaking") === null) return;
  begin();
  at("speaking").replaceChildren(made("p", { className: "hint", textContent: SAY.outOfSight }));
});

addPart("sensors", { open, close: () => { turn += 1; } });
