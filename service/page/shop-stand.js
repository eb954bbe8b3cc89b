// What stands on the job: machine and attachment in which revision, its height; set up anew, and touched, where that is wanted.

import { ask } from "./ask.js";
import { made } from "./elements.js";
import { newKeys } from "./recording.js";
import { confirmed, field, say, select, tell } from "./shop-bench.js";
import { SAY } from "./shop-words.js";

const KINDS = ["machine", "attachment"];
const EDGE = ["centre", "left", "right"];
const keys = newKeys();

/** Recorded on the job, or what was refused told; whether it was. */
export async function recorded(job, what, body) {
  const answer = await ask("POST", `/v1/jobs/${job.id}/${what}`, body, { "idempotency-key": keys.of([job.id, what, body]) });
  keys.settle([job.id, what, body], answer);
  if (answer === null || !answer.ok) tell(answer);
  else say("");
  return answer !== null && answer.ok;
}

/** The stand of `job` as a part of the page; `profiles`: machines and attachments on record; `done` after each record. */
export function standing(job, profiles, done) {
  const set = KINDS.every((kind) => job[kind] !== null);
  const host = made("div", { id: "stand" }, made("p", { textContent: set ? SAY.stands(job.machine, job.attachment) : SAY.noMachine }));
  const later = set ? KINDS.filter((kind, i) => latestOf(profiles[i], job[kind].id) !== job[kind].revision).map((kind) => job[kind].id) : [];
  if (later.length > 0) host.append(made("p", { className: "said", id: "later", textContent: SAY.laterOnes(later) }));
  if (set) host.append(made("p", { id: "height", textContent: job.height === null ? SAY.noHeight : SAY.height(job.height.elevation.shown) }));
  host.append(folded(SAY.setUpName, !set || later.length > 0, setUp(job, profiles, done)));
  if (set) host.append(folded(SAY.touchName, job.height === null, touch(job, done)));
  return host;
}

const latestOf = (list, id) => list.find((each) => each.id === id)?.revision;
const folded = (name, open, inside) => made("details", { open }, made("summary", { textContent: name }), inside);

function setUp(job, profiles, done) {
  const lists = KINDS.map((kind, i) => select([["", SAY.choose], ...profiles[i].map((each) => [each.id, `${each.name} (${each.id})`])], job[kind]?.id ?? ""));
  const act = async () => {
    if (await recorded(job, "setups", { machine: lists[0].value, attachment: lists[1].value })) await done();
  };
  return made("div", {}, made("p", { className: "hint", textContent: SAY.setUpHelp }), made("div", { className: "fields" }, ...KINDS.map((kind, i) => field(`st-${kind}`, SAY.pair[kind], "", lists[i]))),
    confirmed(SAY.setUp, SAY.setUpAsked, "record", act));
}

function touch(job, done) {
  const point = select([["", SAY.choose], ...job.points.map((each) => [each.name, `${each.name}, ${each.elevation.shown}`])]);
  const edge = select(EDGE.map((each) => [each, SAY.points[each]]), "centre");
  const act = async () => {
    if (await recorded(job, "touches", { point: point.value, purpose: "reference", edge_point: edge.value })) await done();
  };
  return made("div", {}, made("p", { className: "hint", textContent: SAY.touchHelp }), made("div", { className: "fields" }, field("st-point", SAY.benchmarkTouched, "", point), field("st-edge", SAY.point, "", edge)),
    confirmed(SAY.touch, SAY.touchAsked, "record", act));
}
