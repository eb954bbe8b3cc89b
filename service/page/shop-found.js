// What a calibration found, in the service's words; put on record with confirmation, and taken back.

import { made } from "./elements.js";
import { newKey } from "./recording.js";
import { bench, confirmed, had, table } from "./shop-bench.js";
import { SAY } from "./shop-words.js";

const list = (lines) => made("ul", { className: "words" }, ...lines.map((each) => made("li", { textContent: each })));

/** The answer as a part of the page; `done` after it was recorded. */
export function answerOf(told, body, done) {
  const host = made("div", {}, made("h3", { textContent: SAY.foundName }), made("p", { className: "verdict", textContent: SAY.verdicts[told.verdict] }), list(told.words));
  if (told.unknowns.length > 0) {
    host.append(table(SAY.unknownsTable, SAY.unknownColumns, told.unknowns.map((each) => [each.name, each.was.shown, each.found.shown, each.change.shown, each.standard.shown])));
  }
  const said = told.words.join(" ");
  host.append(list(told.together.map((each) => each.words).filter((words) => !said.includes(words))));
  if (told.next_postures.length > 0) {
    host.append(made("h3", { textContent: SAY.next }), made("p", { className: "hint", textContent: SAY.nextHelp }),
      made("ol", { id: "next", className: "words" }, ...told.next_postures.map((each) => made("li", { textContent: each.words }))));
  }
  if (told.unknowns.length > 0) host.append(applying(told, body, done));
  return host;
}

/** Every suspect and the doubts are ticked before it can be recorded: what was looked at is said to the service. */
function applying(told, body, done) {
  const key = newKey();
  const tick = (words, value) => {
    const box = made("input", { type: "checkbox", value });
    return [box, made("label", { className: "tick" }, box, made("span", { textContent: words }))];
  };
  const suspects = told.suspects.map((name) => tick(SAY.suspect(told.residuals.find((each) => each.name === name)?.words ?? name), name));
  const doubts = told.verdict === "doubtful" ? [tick(SAY.doubtsSeen(told.doubts.join("; ")), "")] : [];
  const apply = async () => {
    const recorded = await had("POST", "/v1/calibrations/applied", {
      ...body, machine_revision: told.machine.revision, attachment_revision: told.attachment.revision,
      left_out: suspects.filter(([box]) => box.checked).map(([box]) => box.value), doubts_seen: doubts.some(([box]) => box.checked),
    }, { "idempotency-key": key });
    if (recorded === null) return;
    const said = made("p", { className: "said", id: "applied", tabIndex: -1, textContent: SAY.applied(recorded) });
    host.replaceChildren(said);
    said.focus();
    await done();
  };
  const host = made("div", {}, made("h3", { textContent: SAY.applyName }), made("p", { className: "hint", textContent: SAY.applyHelp }), ...[...suspects, ...doubts].map(([, label]) => label),
    confirmed(SAY.apply, SAY.applyAsked(told.machine.id, told.attachment.id), "measure", apply));
  return host;
}

/** Calibrations on record, the latest first, each with its way back. */
export async function onRecord(host) {
  const told = await had("GET", "/v1/calibrations");
  if (told === null) return;
  const undone = new Set(told.calibrations.map((each) => each.rolls_back));
  const rows = told.calibrations.map((each) => {
    const key = newKey();
    const back = each.rolls_back !== null || undone.has(each.id) ? SAY.isBack(each.rolls_back !== null) : confirmed(SAY.rollBack, SAY.rollBackAsked(each.machine, each.attachment), "measure", async () => {
      const done = await had("POST", `/v1/calibrations/${each.id}/roll-backs`, {}, { "idempotency-key": key });
      if (done !== null) await onRecord(host);
    });
    return [each.recorded_utc.slice(0, 16).replace("T", " "), `${each.machine}, ${each.attachment}`, each.unknowns.join(", "), each.actor, back];
  });
  host.replaceChildren(made("h3", { textContent: SAY.calibrations }), ...(rows.length === 0 ? [made("p", { className: "hint", textContent: SAY.noCalibrations(bench.who) })] : [table(SAY.calibrations, SAY.calibrationColumns, rows)]));
}
