// The page at the seat: its parts put together.

import { ask, codeOf, waitMs } from "./ask.js";
import { at, made } from "./elements.js";
import { useForm } from "./form.js";
import { book, lineTouched, mayNot, othersWait, refresh, targetOf } from "./seat-book.js";
import { read, remind } from "./seat-cautions.js";
import { blank, leaf, numberOf, redraw, show, write } from "./seat-leaf.js";
import { makeBar, noBar, seat } from "./seat-records.js";
import { makeSection } from "./seat-section.js";
import { beginSlips, refusal } from "./seat-slip.js";
import { makeStaff } from "./seat-staff.js";
import { begin, follow, following, SILENT_MS, turnPoint } from "./seat-stream.js";
import { makeTone, sound, tuneTone } from "./seat-tone.js";
import { openUndo } from "./seat-undo.js";
import { compare } from "./seat-changed.js";
import { floor, notice } from "./seat-waiting.js";
import { WORDS } from "./seat-words.js";

const LOOK_MS = 2000;
const NONE = ""; // of the depth sheet: the elevation alone
const TOLD_MS = 20_000;
const NOT_FOR_LONG = [401, 403, 404];
const DAMAGED = "log-damaged"; // nothing comes of asking again: somebody must bring back a backup
const TOO_MANY = 429;
let needed = 0; // an entry of ours: readouts from before it are no longer shown
let withheld = ""; // why there is no number: it was declared void, and whether that is on disk is not known
let lostAt = null;
let below = false;
let looked = 0;

const asked = new URLSearchParams(location.search);

function trouble(...words) {
  at("trouble").replaceChildren(...words);
}

function keepAddress() {
  const { job, target, line, point } = following();
  const query = new URLSearchParams({
    job, ...(target === null ? {} : { target }), ...(book.teeth === true ? { line } : {}), ...(point === "centre" ? {} : { point }),
  });
  history.replaceState(null, "", `/seat?${query}`);
}

/** Follow the same job, a line of the sheet or of the bucket changed. */
function turnTo(change) {
  follow({ ...following(), ...change });
  keepAddress();
  showBook();
}

/** The same by whoever sits here: what asked for another choice has been heard. */
function chosen(change) {
  trouble();
  turnTo(change);
}

/** All that hangs on job, sheet and log. */
function showBook() {
  const { job, targets } = book;
  write("name", job.name);
  write("job", job.name);
  const current = following();
  if (current.target !== null && targetOf(current.target) === null) {
    trouble(WORDS.targetGone(current.target));
    turnTo({ target: null });
    return;
  }
  if (current.line !== "edge" && book.teeth === false) {
    trouble(WORDS.teethGone);
    turnTo({ line: "edge" });
    return;
  }
  const legend = at("sheet").querySelector("legend");
  const rows = [[NONE, WORDS.noTarget], ...targets.map((each) => [each.name, WORDS.target(each)])];
  choices(at("sheet"), legend, "target", rows, current.target ?? NONE);
  at("line").hidden = book.teeth !== true;
  for (const each of at("corners").querySelectorAll("label")) nameCorner(each, current.line);
  const lines = Object.entries(WORDS.lines).map(([name, words]) => [name, [words, ""]]);
  choices(at("line"), at("line").querySelector("legend"), "line", book.teeth === true ? lines : [], current.line);
  const why = mayNot();
  if (why !== "") noBar(WORDS.look[why](book.who, job));
  else if (at("bar").querySelector("button") === null) makeBar([[WORDS.others.knock, () => due("knock")], [WORDS.others.concrete, () => due("concrete")]]);
  compare(targets, othersWait());
  tellFloor();
  notice(seat);
  tuneTone();
}

function due(why) {
  remind(why);
  notice(seat);
}

/** Radio buttons, written again only where they differ, so that the keyboard keeps its place. */
function choices(root, legend, name, rows, chosen) {
  const key = JSON.stringify(rows);
  if (root.dataset.rows !== key) {
    root.dataset.rows = key;
    root.replaceChildren(legend, ...rows.map(([value, [words, small]]) => made(
      "label", {}, made("input", { type: "radio", name, value }), made("span", {}, made("b", { textContent: words }), made("small", { textContent: small })),
    )));
  }
  for (const input of root.querySelectorAll("input")) input.checked = input.value === chosen;
}

async function look() {
  looked = performance.now();
  const refused = await refresh();
  if (refused !== undefined) return refused;
  showBook();
  return undefined;
}

function message(told) {
  if (lostAt !== null) {
    const words = WORDS.again(lostAt, new Date());
    trouble(words);
    setTimeout(() => { if (at("trouble").textContent === words) trouble(); }, TOLD_MS);
    lostAt = null;
    look();
  }
  const { readout } = told;
  const seq = readout?.seq ?? null;
  if (seq === null ? performance.now() - looked > LOOK_MS : seq > book.job.seq && performance.now() - looked > LOOK_MS / 8) look();
  if (withheld !== "") {
    silence(withheld);
    return;
  }
  if (seq !== null && seq < needed) {
    silence(WORDS.after(needed));
    return;
  }
  passes(readout !== null && readout.below_floor_limit);
  const reasons = readout === null ? told.no_number_because : readout.no_number_because;
  sound(reasons.length > 0 ? null : numberOf(readout.points[leaf.point])?.above ?? null);
  show(told);
}

/** Whether the bucket is below a floor limit; without a number that is not known, and not said. */
function passes(now) {
  if (now === below) return;
  below = now;
  at("box").dataset.floor = below ? "passed" : "";
  tellFloor();
}

const tellFloor = () => floor(below, targetOf(following().target)?.floor_limit ?? null);

/** What came last is no longer to be believed. An age limit may have changed with the machine on the job. */
function blanked(why) {
  if (why === "lost") lostAt ??= new Date();
  silence(why === "lost" ? WORDS.lost(lostAt) : WORDS.blank[why]);
  if (why === "old" && performance.now() - looked > LOOK_MS) look();
}

function silence(words) {
  blank(words);
  sound(null);
  passes(false);
}

/** The stream is closed: whether it may be tried again. */
async function closed() {
  lostAt ??= new Date();
  silence(WORDS.lost(lostAt));
  const refused = await refresh();
  if (refused !== undefined && refused !== null && (NOT_FOR_LONG.includes(refused.status) || codeOf(refused) === DAMAGED)) {
    trouble(...refusal(refused));
    return refused.status !== 401;
  }
  if (refused === undefined) showBook();
  return true;
}

function listen() {
  at("sheet").addEventListener("change", (event) => chosen({ target: event.target.value === NONE ? null : event.target.value }));
  at("line").addEventListener("change", (event) => chosen({ line: event.target.value }));
  at("corners").addEventListener("change", (event) => {
    leaf.point = event.target.value;
    turnPoint(leaf.point);
    keepAddress();
    redraw();
  });
  at("form").addEventListener("change", () => useForm(at("form").value));
}

function makeCorners() {
  at("corners").append(...Object.keys(WORDS.points).map((value) => made(
    "label", {}, made("input", { type: "radio", name: "corner", value, checked: value === leaf.point }), made("span", {}), made("small", {}),
  )));
}

function nameCorner(label, line) {
  const [words, { value }] = [label.querySelector("span"), label.querySelector("input")];
  if (words.textContent !== WORDS.point(line, value)) words.textContent = WORDS.point(line, value);
}

/** Ask until the service answers: what it answers, or null where it refuses for good; what is wrong meanwhile is told. */
async function answered(asking, good) {
  for (;;) {
    const answer = await asking();
    if (good(answer)) {
      trouble();
      return { answer };
    }
    at("leaf").hidden = false;
    if (answer !== null && (answer.status < 500 || codeOf(answer) === DAMAGED) && answer.status !== TOO_MANY) {
      trouble(...refusal(answer));
      return null;
    }
    trouble(...(answer === null ? [WORDS.down] : [...refusal(answer), WORDS.itself]));
    await new Promise((done) => setTimeout(done, Math.max(LOOK_MS, waitMs(answer))));
  }
}

async function start(job) {
  book.id = job;
  at("leaf").dataset.state = "refused";
  if (!await answered(refresh, (refused) => refused === undefined)) return;
  at("leaf").hidden = true;
  at("leaf").dataset.state = "";
  await read(job);
  at("leaf").hidden = false;
  scrollTo(0, 0); // the list before it may have been longer than the window
  at("name").focus({ preventScroll: true });
  at("word").dataset.limit = WORDS.floorShort;
  if (asked.get("point") in WORDS.points) leaf.point = asked.get("point");
  makeStaff();
  makeSection();
  makeCorners();
  makeTone();
  listen();
  beginSlips((told) => {
    needed = told.seq;
    silence(WORDS.after(needed));
    look();
  }, openUndo, (why) => {
    withheld = why;
    if (why !== "") silence(why);
  });
  begin({ message, closed, blank: blanked }, (name) => book.limits.get(name) ?? SILENT_MS);
  const first = book.targets[0]?.name ?? null;
  const wanted = asked.get("target");
  const line = asked.get("line") ?? (book.teeth === true ? lineTouched() : "edge");
  follow({ job, target: wanted !== null && targetOf(wanted) !== null ? wanted : first, line: line === "teeth" ? "teeth" : "edge", point: leaf.point });
  keepAddress();
  showBook();
  if (wanted !== null && targetOf(wanted) === null) trouble(WORDS.targetGone(wanted));
  document.documentElement.dataset.ready = "yes";
}

/** Every page of the list: its jobs, or null where it is refused for good. */
async function allJobs() {
  const jobs = [];
  for (let after = null; ;) {
    const query = new URLSearchParams({ limit: "500", ...(after === null ? {} : { after }) });
    const found = await answered(() => ask("GET", `/v1/jobs?${query}`), (answer) => answer?.ok === true);
    if (found === null) return null;
    jobs.push(...found.answer.told.jobs);
    after = found.answer.told.next;
    if (after === null) return jobs;
  }
}

async function listJobs() {
  at("leaf").dataset.state = "refused";
  const jobs = await allJobs();
  if (jobs === null) return;
  at("leaf").hidden = true;
  at("jobs").replaceChildren(...jobs.map((each) => made("li", {}, made("a", { href: `/seat?job=${encodeURIComponent(each.id)}`, textContent: each.name }))));
  if (jobs.length === 0) at("jobs").replaceChildren(made("li", { textContent: WORDS.noJob }));
  at("choose").hidden = false;
  document.documentElement.dataset.ready = "yes";
}

const job = asked.get("job");
if (job === null || job === "") listJobs();
else start(job);
