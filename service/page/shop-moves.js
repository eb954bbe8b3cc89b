// One joint at a time: what every sensor says at rest before and after each move, and what the service makes of all of them.

import { at, button, made } from "./elements.js";
import { addPart, bench, had, hear, jobField, say, table } from "./shop-bench.js";
import { SAY } from "./shop-words.js";

const panel = at("moves");
const KEPT = "tipdatum-moves";
const none = (job) => ({ job, zeroed: false, here: null, made: [] });
let task = none(""); // `here`: what they said at the last rest; `made`: moves as POST verdicts takes them
let asked = 0;

async function open() {
  const jobs = await had("GET", "/v1/jobs?limit=500");
  if (jobs === null) return;
  panel.replaceChildren(made("h2", { id: "moves-name", tabIndex: -1, textContent: SAY.moves }), made("p", { className: "lead", textContent: SAY.movesLead }), made("p", { className: "said", textContent: SAY.movesCare }),
    jobField("m-job", jobs.jobs, chosen), made("div", { id: "moving" }));
  await chosen();
}

async function chosen() {
  const mine = asked += 1;
  const host = at("moving");
  host.replaceChildren();
  if (bench.job === "") return;
  recall();
  const told = await had("GET", `/v1/jobs/${bench.job}/fitting/moves`);
  if (told === null || mine !== asked) return;
  const zeroed = made("input", { type: "checkbox", id: "m-zeroed", checked: task.zeroed });
  zeroed.addEventListener("change", () => { task.zeroed = zeroed.checked; remember(); });
  const begin = button(SAY.restBegin, async () => {
    if (await rest() === null) return;
    hear(SAY.restTaken);
    host.querySelector(".move button").focus();
  });
  const anew = button(SAY.movesAnew, () => { task = none(bench.job); remember(); chosen(); });
  host.replaceChildren(made("label", { className: "tick" }, zeroed, made("span", { textContent: SAY.bodyZeroed })), made("p", { textContent: SAY.restWhere }), made("div", { className: "acts" }, begin, anew),
    made("div", { className: "cards" }, ...told.moves.map(card)), made("div", { id: "made" }), made("div", { className: "acts" }, button(SAY.judge, judge)), made("div", { id: "judged" }));
  showMade([]);
}

/** A joint with its two ways; whichever was just moved is taken as it rests. */
function card(move) {
  const should = Object.entries(move.changes).map(([name, ways]) => `${name} ${[...new Set(ways)].map((each) => SAY.goes[each]).join(SAY.and)}`);
  const way = (which) => button(SAY.moved(move[which]), async () => {
    const before = task.here;
    if (before === null) {
      say(SAY.restFirst);
      return;
    }
    const after = await rest();
    if (after === null) return;
    task.made.push({ move: move.move, way: which, before, after });
    remember();
    showMade([]);
    hear(SAY.moveTaken(move[which]));
  });
  return made("fieldset", { className: "group move", id: `m-${move.move}` }, made("legend", { textContent: SAY.joints[move.move] ?? move.move }),
    made("p", { className: "hint", textContent: `${move.move === "quarter" ? SAY.onALean : SAY.atLeast(move.least_deg.toFixed(0))} ${should.length === 0 ? SAY.noneChanges : SAY.shouldChange(should)}` }), way("up"), way("down"));
}

/** What every sensor says now that it rests; null, and told why, where it does not. */
async function rest() {
  const told = await had("GET", `/v1/jobs/${bench.job}/fitting/posture`);
  if (told === null) return null;
  task.here = told.said;
  remember();
  return told.said;
}

function showMade(turned) {
  const rows = task.made.map((each, i) => [`${i + 1}. ${SAY.joints[each.move] ?? each.move}`, SAY.ways[each.way], turned[i] === undefined || turned[i] === null ? "" : `${turned[i].toFixed(1)} deg`,
    button(SAY.takeOut, () => { task.made.splice(i, 1); remember(); showMade([]); at("judged").replaceChildren(); }, { ariaLabel: SAY.takeOutMove(i + 1) })]);
  at("made").replaceChildren(...(rows.length === 0 ? [] : [table(SAY.movesMade(rows.length), SAY.madeColumns, rows), keeping()]));
}

/** Moves as a file, which `tipdatum fit --again` takes too. */
const keeping = () => made("a", { className: "alone", download: `${bench.job}.fit.json`, textContent: SAY.downloadMoves, href: URL.createObjectURL(new Blob([JSON.stringify({ job: bench.job, moves: task.made }, null, 1)], { type: "application/json" })) });

async function judge() {
  const mine = asked;
  const host = at("judged");
  if (task.made.length === 0) {
    say(SAY.moveFirst);
    return;
  }
  host.replaceChildren(made("p", { className: "hint", textContent: SAY.judging }));
  const told = await had("POST", `/v1/jobs/${bench.job}/fitting/verdicts`, { moves: task.made, body_zeroed: task.zeroed });
  if (mine !== asked) return;
  host.replaceChildren();
  if (told === null) return;
  showMade(told.turned_deg);
  // Sentences come in this order: findings, what was not shown, what would tell most. The second are many.
  const end = told.words.length - (told.next_move === null ? 0 : 1);
  const main = [...told.words.slice(0, end - told.untested.length), ...told.words.slice(end)];
  const silent = told.untested.map(({ finding }) => made("li", { textContent: SAY.notShownThat(SAY.findings[finding.code] ?? finding.code, finding.sensors.join(", ")) }));
  const wrong = told.findings.map((each) => [SAY.findings[each.code] ?? each.code.replaceAll("-", " "), each.sensors.join(", "), each.moves.map((i) => String(i + 1)).join(", "), each.advice]);
  host.replaceChildren(made("h3", { tabIndex: -1, textContent: told.good ? SAY.movesGood : SAY.movesNot }),
    ...(wrong.length === 0 ? [] : [table(SAY.whatIsWrong, SAY.wrongColumns, wrong)]), made("ul", { className: "words" }, ...main.map((each) => made("li", { textContent: each }))),
    ...(silent.length === 0 ? [] : [made("details", {}, made("summary", { textContent: SAY.notShown(silent.length) }), made("ul", { className: "words" }, ...silent))]), table(SAY.eachSensor, SAY.statusColumns, Object.entries(told.sensors).map(([name, status]) => [name, SAY.status[status] ?? status])), made("p", { className: "hint", textContent: told.caution }));
  for (const each of panel.querySelectorAll(".move")) each.classList.toggle("next", each.id === `m-${told.next_move}`);
  host.querySelector("h3").focus();
}

function remember() {
  try {
    localStorage.setItem(KEPT, JSON.stringify(task));
  } catch { /* it is on the page all the same */ }
}

/** The moves of this job, to be judged again after something was mended; a rest of another day is none. */
function recall() {
  if (task.job === bench.job) return;
  task = none(bench.job);
  try {
    const told = JSON.parse(localStorage.getItem(KEPT));
    if (told?.job === bench.job && Array.isArray(told.made)) task = { ...task, zeroed: told.zeroed === true, made: told.made };
  } catch { /* nothing that can be taken up again */ }
}

addPart("moves", { open, close: remember });
