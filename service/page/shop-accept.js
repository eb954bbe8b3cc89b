// The acceptance certificate: what stands, points taken by staff, what is missing by cells, rule, verdict, printed form.

import { ask } from "./ask.js";
import { at, button, made } from "./elements.js";
import { numberFrom } from "./numbers.js";
import { newKeys } from "./recording.js";
import { addPart, bench, confirmed, draft, emptied, field, had, hear, jobField, recorder, say, select, table, tell, textInput } from "./shop-bench.js";
import { standing } from "./shop-stand.js";
import { SAY } from "./shop-words.js";

const panel = at("accept");
const DISTANCES = ["near", "middle", "far"];
const SIDES = ["left", "centre", "right"];
const CELL = /^no point (near|middle|far), (left|centre|right), at swing ([12])$/;
const LIMITS = { near_to_percent: "55", far_from_percent: "80", least_lean_deg: "2" }; // as the service has them where nothing else is agreed; said in the fields
let job = null; // as GET /v1/jobs/{job} told it
let shown = 0;

async function open() {
  const jobs = await had("GET", "/v1/jobs?limit=500");
  if (jobs === null) return;
  panel.replaceChildren(made("h2", { id: "accept-name", tabIndex: -1, textContent: SAY.accept }), made("p", { className: "lead", textContent: SAY.acceptLead }),
    jobField("a-job", jobs.jobs, chosen), made("div", { id: "acceptance" }));
  await chosen();
}

async function chosen() {
  const mine = shown += 1;
  const host = at("acceptance");
  host.replaceChildren();
  job = bench.job === "" ? null : await had("GET", `/v1/jobs/${bench.job}`);
  if (job === null || mine !== shown) return;
  const profiles = [await had("GET", "/v1/machines"), await had("GET", "/v1/attachments")];
  if (profiles.includes(null) || mine !== shown) return;
  const stand = standing(job, profiles, chosen);
  if (job.machine === null || job.attachment === null) {
    host.replaceChildren(stand);
    return;
  }
  const own = [];
  for (const kind of ["machine", "attachment"]) {
    const told = await had("GET", `/v1/${kind}s/${job[kind].id}/revisions/${job[kind].revision}`);
    if (told === null || mine !== shown) return;
    own.push(...Object.keys(told.document.sensors ?? {}));
  }
  host.replaceChildren(stand, pointForm(), made("div", { id: "points" }), form(own),
    made("div", { id: "missing" }), made("div", { id: "issued" }));
  await Promise.all([points(), issued()]);
}

/** One staff-checked point, the machine read by its sensors. */
function pointForm() {
  const point = select(SIDES.map((each) => [each, SAY.points[each]]), "centre");
  const by = select(Object.entries(SAY.pointBy), "level");
  const benchmark = draft(`${job.id} benchmark`, select([["", SAY.choose], ...job.points.map((each) => [each.name, each.name])]));
  const inputs = ["backsight", "foresight", "elevation", "swing"].map((name) => [name, draft(`${job.id} ${name}`, textInput())]);
  const of = Object.fromEntries(inputs);
  const levelled = [field("p-benchmark", SAY.benchmark, "", benchmark), field("p-backsight", SAY.backsight(job.units), "", of.backsight), field("p-foresight", SAY.foresight(job.units), "", of.foresight)];
  const stationed = field("p-elevation", SAY.elevation(job.units), "", of.elevation);
  const which = () => {
    for (const each of levelled) each.hidden = by.value !== "level";
    stationed.hidden = by.value === "level";
  };
  by.addEventListener("change", which);
  which();
  const keys = newKeys();
  const length = (input) => numberFrom(input.value) ?? input.value.trim();
  const send = recorder(SAY.takePoint, "record", async () => {
    const staff = by.value === "level" ? { level: { benchmark: benchmark.value, backsight: length(of.backsight), foresight: length(of.foresight) } } : { elevation: length(of.elevation) };
    const swing = of.swing.value.trim() === "" ? {} : { swing_deg: numberFrom(of.swing.value) ?? of.swing.value };
    const body = { edge_point: point.value, units: job.units, ...staff, ...swing };
    const answer = await ask("POST", `/v1/jobs/${job.id}/rod-checks`, body, { "idempotency-key": keys.of(body) });
    keys.settle(body, answer);
    if (answer === null || !answer.ok) {
      tell(answer);
      return;
    }
    say("");
    [of.foresight, of.elevation].forEach(emptied);
    hear(SAY.pointTaken(answer.told.seq));
    await points();
  });
  return made("details", {}, made("summary", { textContent: SAY.pointName }), made("p", { className: "hint", textContent: SAY.pointHelp }),
    made("div", { className: "fields" }, field("p-point", SAY.point, "", point), field("p-by", SAY.by, "", by), ...levelled, stationed, field("p-swing", SAY.swing, SAY.swingHelp, of.swing)), send);
}

async function points() {
  const told = await had("GET", `/v1/jobs/${job.id}/daily-trust`);
  if (told === null || at("points") === null) return;
  const rows = told.rod_checks.toReversed().map((each) => [String(each.seq), SAY.points[each.edge_point] ?? each.edge_point, each.tool.shown, each.staff.shown, each.difference.shown, `${each.status}${each.independent ? "" : SAY.notIndependent}`]);
  at("points").replaceChildren(made("p", { textContent: told.verdict.words }), ...(rows.length === 0 ? [] : [table(SAY.pointsToday(rows.length), SAY.pointColumns, rows)]));
}

function form(sensors) {
  const inputs = new Map([["tolerance", SAY.tolerance(job.units)], ...Object.entries(SAY.agreed), ...sensors.map((name) => [`serial-${name}`, SAY.serial(name)])]
    .map(([name, label]) => [name, [label, draft(`${job.id} ${name}`, textInput())]]));
  const limits = new Map(Object.entries(LIMITS).map(([name, usual]) => [name, draft(`${job.id} ${name}`, textInput({ value: usual }))]));
  const note = draft(`${job.id} note`, textInput());
  const text = (name) => inputs.get(name)[1].value.trim();
  const fields = [...inputs].map(([name, [label, input]]) => field(`a-${name}`, label, "", input));
  const further = made("details", {}, made("summary", { textContent: SAY.furtherLimits }), made("p", { className: "hint", textContent: SAY.limitsHelp }),
    made("div", { className: "fields" }, ...[...limits].map(([name, input]) => field(`a-${name}`, SAY.limits[name], "", input)), field("a-note", SAY.note, "", note)));
  const keys = newKeys();
  const issue = async () => {
    const body = {
      tolerance: numberFrom(text("tolerance")) ?? text("tolerance"), units: job.units,
      ...Object.fromEntries(Object.keys(SAY.agreed).map((name) => [name, text(name)])),
      serials: Object.fromEntries(sensors.filter((name) => text(`serial-${name}`) !== "").map((name) => [name, text(`serial-${name}`)])),
      ...Object.fromEntries([...limits].map(([name, input]) => [name, numberFrom(input.value) ?? input.value.trim()])),
      ...(note.value.trim() === "" ? {} : { note: note.value.trim() }),
    };
    const answer = await ask("POST", `/v1/jobs/${job.id}/certificates`, body, { "idempotency-key": keys.of(body) });
    keys.settle(body, answer);
    if (answer === null || !answer.ok) {
      missing(answer);
      return;
    }
    say("");
    at("missing").replaceChildren();
    await issued();
    await look(answer.told.seq);
  };
  return made("div", { id: "asking" }, made("h3", { textContent: SAY.certificate }), made("p", { className: "hint", textContent: SAY.certificateHelp }), made("div", { className: "fields" }, ...fields), further,
    confirmed(SAY.issue, SAY.issueAsked, "record", issue));
}

/** All that is missing, told at once; cells without a point in their place. */
function missing(answer) {
  tell(answer);
  const empty = (answer?.told?.errors ?? []).flatMap(({ found }) => CELL.exec(found)?.slice(1).join() ?? []);
  at("missing").replaceChildren(...(empty.length === 0 ? [] : [cells((cell) => empty.includes(cell) ? SAY.noPoint : SAY.hasPoint)]));
}

/** The 18 cells, two swings of nine; `inside("near,left,1")` is what stands in one. */
const cells = (inside) => made("div", { className: "cells" }, ...["1", "2"].map((swing) => table(SAY.cellsOf(swing), ["", ...SIDES],
  DISTANCES.map((distance) => [distance, ...SIDES.map((side) => inside([distance, side, swing].join()))]))));

async function issued() {
  const told = await had("GET", `/v1/jobs/${job.id}/certificates`);
  if (told === null || at("issued") === null) return;
  const rows = told.map((each) => [SAY.entry(each.seq), each.issued_utc.slice(0, 10), each.verdict, each.status, button(SAY.lookAt, () => look(each.seq), { ariaLabel: SAY.lookAtOne(each.seq) })]);
  at("issued").replaceChildren(made("h3", { textContent: SAY.issued }), ...(rows.length === 0 ? [made("p", { className: "hint", textContent: SAY.noneIssued })] : [table(SAY.issued, SAY.issuedColumns, rows)]), made("div", { id: "one" }));
}

/** One certificate: verdict, rule, every point in its cell, and the printed form. */
async function look(seq) {
  const told = await had("GET", `/v1/jobs/${job.id}/certificates/${seq}`);
  if (told === null || at("one") === null) return;
  const own = (cell) => told.content.points.filter((each) => [each.distance, each.side, each.swing].join() === cell);
  const print = (format) => made("a", { className: "alone", href: `/v1/jobs/${job.id}/certificates/${seq}?format=${format}`, target: "_blank", rel: "noopener", textContent: SAY.print[format] });
  at("one").replaceChildren(made("h3", { tabIndex: -1, textContent: SAY.certificateOf(seq, told.status) }), made("p", { className: "verdict", textContent: told.verdict }), made("p", { textContent: told.rule }),
    cells((cell) => SAY.pointsIn(own(cell).map((each) => each.seq))), made("p", { className: "prints" }, print("html"), " ", print("pdf")));
  at("one").querySelector("h3").focus();
}

addPart("accept", { open });
