// Calibration: what is unknown, observations one after another, and after each what the service makes of all of them.

import { ask } from "./ask.js";
import { at, button, made } from "./elements.js";
import { addPart, bench, field, had, jobField, profilesOnRecord, say, select, table, tell } from "./shop-bench.js";
import { answerOf, onRecord } from "./shop-found.js";
import { observing, sensorsOf } from "./shop-observe.js";
import { SAY, UNITS } from "./shop-words.js";

const panel = at("calibrate");
const KEPT = "tipdatum-calibration";
let task = { machine: "", attachment: "", units: "m", unknowns: [], seen: [] };
let asked = 0; // an answer to an earlier question comes too late

async function open() {
  const [profiles, jobs] = [await profilesOnRecord(), await had("GET", "/v1/jobs?limit=500")];
  if (profiles === null || jobs === null) return;
  recall();
  const lists = ["machine", "attachment"].map((kind, i) => pairList(kind, profiles[i]));
  const units = select(UNITS, task.units);
  units.addEventListener("change", () => { task.units = units.value; pairChosen(); });
  const anew = button(SAY.newCalibration, () => { Object.assign(task, { unknowns: [], seen: [] }); pairChosen(); });
  panel.replaceChildren(made("h2", { id: "calibrate-name", tabIndex: -1, textContent: SAY.calibrate }), made("p", { className: "lead", textContent: SAY.calibrateLead }),
    made("div", { className: "fields" }, ...lists, field("c-units", SAY.units, "", units), jobField("c-job", jobs.jobs, () => {})),
    made("div", { className: "acts" }, anew), made("div", { id: "pair" }), made("div", { id: "answer" }), made("div", { id: "calibrations" }));
  await pairChosen();
  await onRecord(at("calibrations"));
}

function pairList(kind, options) {
  const list = select([["", SAY.choose], ...options], task[kind]);
  list.addEventListener("change", () => {
    Object.assign(task, { [kind]: list.value, unknowns: [], seen: [] });
    pairChosen();
  });
  return field(`c-${kind}`, SAY.pair[kind], "", list);
}

function remember() {
  try {
    localStorage.setItem(KEPT, JSON.stringify(task));
  } catch { /* it is on the page all the same */ }
}

function recall() {
  try {
    const told = JSON.parse(localStorage.getItem(KEPT));
    if (Array.isArray(told?.seen) && Array.isArray(told.unknowns)) task = { ...task, ...told };
  } catch { /* nothing that can be taken up again */ }
}

/** What may be found of the pair, and a form for the next observation. */
async function pairChosen() {
  remember();
  at("answer").replaceChildren();
  const host = at("pair");
  host.replaceChildren();
  if (task.machine === "" || task.attachment === "") return;
  const pair = `${task.machine} ${task.attachment}`;
  const query = new URLSearchParams({ machine: task.machine, attachment: task.attachment });
  const [may, machine, attachment] = [await had("GET", `/v1/calibrations/unknowns?${query}`), await had("GET", `/v1/machines/${task.machine}`), await had("GET", `/v1/attachments/${task.attachment}`)];
  if (may === null || machine === null || attachment === null || pair !== `${task.machine} ${task.attachment}`) return;
  const zeros = may.filter((each) => each.name.includes(".zero"));
  const rest = may.filter((each) => !each.name.includes(".zero"));
  host.replaceChildren(made("fieldset", { id: "unknowns", className: "group" }, made("legend", { textContent: SAY.unknowns }), made("p", { className: "hint", textContent: SAY.unknownsHelp }),
    made("div", { className: "ticks" }, ...zeros.map(unknown)),
    made("details", {}, made("summary", { textContent: SAY.otherUnknowns(rest.length) }), made("div", { className: "ticks" }, ...rest.map(unknown)))),
  made("h3", { textContent: SAY.observe }), observing(sensorsOf(machine.document, attachment.document), UNITS.find(([name]) => name === task.units)[1], (each) => {
    task.seen.push(each);
    find();
  }), made("div", { id: "seen" }));
  await find();
}

function unknown({ name, unit, value, standard }) {
  const box = made("input", { type: "checkbox", id: `u-${name}`, checked: task.unknowns.includes(name) });
  box.addEventListener("change", () => {
    task.unknowns = box.checked ? [...task.unknowns, name] : task.unknowns.filter((each) => each !== name);
    find();
  });
  return made("label", { className: "tick" }, box, made("span", { textContent: SAY.mayBe(name, Number(value.toPrecision(6)), Number(standard.toPrecision(2)), unit) }));
}

/** All that was seen as POST /v1/calibrations takes it, and which observation stands at which pointer. */
function request() {
  const body = { machine: task.machine, attachment: task.attachment, units: task.units, unknowns: task.unknowns, touches: [], staff_readings: [], link_checks: [] };
  const places = task.seen.map(({ kind, group, seen }) => {
    if (kind === "line") return `/link_checks/${body.link_checks.push({ ...group, ...seen }) - 1}`;
    const [list, inside] = kind === "touch" ? ["touches", "poses"] : ["staff_readings", "seen"];
    const same = ({ [inside]: _, ...others }) => JSON.stringify(others) === JSON.stringify(group);
    let which = body[list].findIndex(same);
    if (which < 0) which = body[list].push({ ...group, [inside]: [] }) - 1;
    return `/${list}/${which}/${inside}/${body[list][which][inside].push(seen) - 1}`;
  });
  return [body, places];
}

async function find() {
  remember();
  const mine = asked += 1;
  const [body, places] = request();
  showSeen(places, []);
  at("answer").replaceChildren();
  if (task.unknowns.length === 0 || task.seen.length === 0) return;
  const answer = await ask("POST", "/v1/calibrations", body);
  if (mine !== asked) return;
  if (answer === null || !answer.ok) {
    tell(answer);
    return;
  }
  say("");
  showSeen(places, answer.told.residuals);
  at("answer").replaceChildren(answerOf(answer.told, body, async () => {
    Object.assign(task, { seen: [] });
    remember();
    await onRecord(at("calibrations"));
  }));
}

/** What was observed, with what is left of each after the fit, and a way to take one out. */
function showSeen(places, residuals) {
  const rows = task.seen.map(({ kind, group }, i) => {
    const left = residuals.find((each) => each.pointer === places[i]);
    const out = button(SAY.takeOut, () => {
      task.seen.splice(i, 1);
      find();
    }, { ariaLabel: SAY.takeOutOne(i + 1, group.name) });
    return [`${i + 1}. ${group.name}`, SAY.observed[kind], left?.after?.shown ?? "", left?.suspect ? left.words : "", out];
  });
  at("seen").replaceChildren(...(rows.length === 0 ? [made("p", { className: "hint", textContent: SAY.nothingSeen })] : [table(SAY.seen(rows.length), SAY.seenColumns, rows)]));
}

addPart("calibrate", { open, close: remember });
