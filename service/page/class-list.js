// A class: a dig handed in to it, and the list of all that were.

import { ask, codeOf, inWords } from "./ask.js";
import { button, made } from "./elements.js";
import { newKey } from "./recording.js";
import { room } from "./state.js";
import { SAY } from "./words.js";

const NAME = /^[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?$/;
const CLASS_LONGEST = 40;
const LEARNER_LONGEST = 40;
let className = "";

export const SCORED = [
  ["share", (score) => score.share_shown], ["overcut", (score) => score.overcut.shown], ["left", (score) => score.left.shown],
  ["passes", (score) => String(score.passes)], ["time", (score) => SAY.seconds(score.time_s)],
];

const digsOf = (name) => `/v1/classes/${encodeURIComponent(name)}/digs`;

function classField() {
  return made("input", { type: "text", id: "class", maxLength: CLASS_LONGEST, autocomplete: "off", value: className });
}

/** Whether a field holds what it must, marked where it does not; `said` tells it. */
function checked(field, good, said, words) {
  field.setAttribute("aria-invalid", String(!good));
  if (!good) {
    said.textContent = words;
    field.focus();
  }
  return good;
}

/** A form that hands in a dig, once however often it is sent; `of.look(name, line)` shows one of the class. */
export function handIn(dig, of) {
  const learner = made("input", { type: "text", id: "learner", maxLength: LEARNER_LONGEST, autocomplete: "off" });
  const which = classField();
  const key = newKey();
  const said = made("p", { className: "said" });
  said.setAttribute("role", "status");
  const send = made("button", { type: "submit", className: "plain", textContent: SAY.handIn });
  const form = made("form", { className: "question", noValidate: true },
    made("h3", { textContent: SAY.handInName }),
    made("label", { textContent: SAY.className }, which), made("label", { textContent: SAY.learner }, learner),
    made("p", { className: "hint", textContent: SAY.initials }), said, send);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const [name, who] = [which.value.trim(), learner.value.trim()];
    if (!checked(which, NAME.test(name), said, SAY.noClass) || !checked(learner, who !== "", said, SAY.noLearner)) return;
    send.disabled = true;
    const answer = await ask("POST", digsOf(name), { ...dig, learner: who }, { "idempotency-key": key });
    // An answer that got lost leaves it recorded: sent again as it was it is answered again, sent otherwise it is told.
    const already = codeOf(answer) === "idempotency-conflict";
    if ((answer === null || !answer.ok) && !already) {
      said.textContent = inWords(answer);
      send.disabled = false;
      return;
    }
    className = name;
    said.textContent = already ? SAY.already : SAY.handedIn(answer.told.seq, name);
    form.append(await classTable(name, of));
  });
  return form;
}

/** A form that shows a class; `show(name)` shows it at once. */
export function classForm(of) {
  const which = classField();
  const host = made("div", {});
  const said = made("p", { className: "said" });
  said.setAttribute("role", "status");
  const form = made("form", { noValidate: true }, made("label", { textContent: SAY.className }, which), said,
    made("button", { type: "submit", className: "plain", textContent: SAY.showClass }), host);
  const show = async (name) => {
    className = which.value = name;
    host.replaceChildren(await classTable(name, of));
  };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    said.textContent = "";
    const name = which.value.trim();
    if (checked(which, NAME.test(name), said, SAY.noClass)) await show(name);
  });
  return { form, show };
}

/** All digs of a class, page by page, as a table, exercises by `of.titleOf`; what went wrong where it cannot be had. */
async function classTable(name, of) {
  const digs = [];
  for (let after = 0; after !== null;) {
    const answer = await ask("GET", `${digsOf(name)}?${new URLSearchParams({ units: room.units, after: String(after), limit: "200" })}`);
    if (answer === null || !answer.ok) return made("p", { className: "alert", textContent: inWords(answer) });
    digs.push(...answer.told.digs);
    after = answer.told.next;
  }
  if (digs.length === 0) return made("p", { className: "said", textContent: SAY.noDigs(name) });
  const head = ["learner", "exercise", ...SCORED.map(([scored]) => scored)].map((word) => made("th", { scope: "col", textContent: SAY.columns[word] }));
  const rows = digs.map((each) => made("tr", {},
    made("th", { scope: "row" }, button(SAY.digNo(each.seq, each.learner), () => of.look(name, each), { ariaLabel: SAY.lookAt(each.seq, each.learner) })),
    made("td", { textContent: of.titleOf(each.exercise) }), ...SCORED.map(([, shown]) => made("td", { textContent: shown(each.score) }))));
  const table = made("table", { className: "class" }, made("caption", { textContent: SAY.classOf(name, digs.length) }),
    made("thead", {}, made("tr", {}, ...head)),
    made("tbody", {}, ...rows));
  const wide = made("div", { className: "wide", tabIndex: 0 }, table);
  wide.setAttribute("role", "region");
  wide.setAttribute("aria-label", SAY.classOf(name, digs.length));
  return wide;
}
