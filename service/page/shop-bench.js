// The workshop's bench: who asks and what they may, which part is open, what is said. Parts add themselves.

import { ask, inWords, isProblem } from "./ask.js";
import { at, button, made } from "./elements.js";
import { useForm } from "./form.js";
import { calm, feel } from "./shop-pulse.js";
import { SAY } from "./shop-words.js";

/** `job`: the job that sensors, zeros and certificate are of; kept in the address with the part. */
export const bench = { part: "measure", job: "", may: { measure: false, record: false }, who: "" };
const RIGHTS = { measure: ["builder", "administrator"], record: ["operator", "administrator"] };
const parts = new Map(); // name -> {open(), close()}
const NAME = /^[a-z0-9-]{0,64}$/;

export function addPart(name, part) {
  parts.set(name, part);
}

export function say(text) {
  if (at("trouble").textContent !== text) at("trouble").textContent = text;
}

/** What is told to who does not see it. */
export const hear = (text) => { at("heard").textContent = text; };

/** A refusal in words, every fault of it; with a way in where nobody is signed in. */
export function tell(answer) {
  if (answer !== null && answer.status === 401) {
    at("trouble").replaceChildren(SAY.signIn, made("a", { href: "/sign-in", textContent: SAY.signInLink }));
    return;
  }
  const faults = answer !== null && isProblem(answer.told) ? answer.told.errors : [];
  if (faults.length === 0) say(inWords(answer));
  else at("trouble").replaceChildren(`${answer.told.title}.`, made("ul", {}, ...faults.map((each) => made("li", { textContent: faultWords(each) }))));
}

/** One fault of a problem document, or of a verdict on a profile. */
export function faultWords(fault) {
  const where = fault.pointer ? `${fault.pointer.slice(1).replaceAll("/", ", ")}: ` : "";
  return SAY.fault(where, fault);
}

/** The answer's content, or null with the refusal told. */
export async function had(method, path, body, more) {
  const answer = await ask(method, path, body, more);
  if (answer === null || !answer.ok) {
    tell(answer);
    return null;
  }
  say("");
  return answer.told;
}

/** A button that records, with the reason beside it where the roles do not allow it. It does nothing while it is at work. */
export function recorder(text, right, act) {
  if (!bench.may[right]) {
    const why = made("p", { className: "hint why-not", textContent: SAY.mayNot[right](bench.who) });
    return made("div", { className: "records" }, made("button", { type: "button", className: "plain", textContent: text, disabled: true }), why);
  }
  const send = button(text, async () => {
    if (send.getAttribute("aria-disabled") === "true") return;
    send.setAttribute("aria-disabled", "true");
    await act();
    send.removeAttribute("aria-disabled");
  }, { className: "plain records-now" });
  return made("div", { className: "records" }, send);
}

/** The steps that come before anybody walks to the bucket; `done` is called as soon as all are ticked. */
export function safety(done) {
  const ticks = SAY.steps.map((words) => {
    const box = made("input", { type: "checkbox" });
    return [box, made("label", { className: "tick" }, box, made("span", { textContent: words }))];
  });
  const form = made("fieldset", { className: "steps" }, made("legend", { textContent: SAY.stepsName }),
    made("p", { className: "hint", textContent: SAY.stepsWhy }), ...ticks.map(([, label]) => label));
  form.addEventListener("change", () => {
    if (ticks.every(([box]) => box.checked)) done(form);
  });
  return form;
}

/** A field under its label with help under it. */
export function field(id, label, help, input) {
  input.id = id;
  const inside = [made("label", { htmlFor: id, textContent: label }), input];
  if (help !== "") {
    inside.push(made("p", { className: "hint", id: `${id}-help`, textContent: help }));
    input.setAttribute("aria-describedby", `${id}-help`);
  }
  return made("div", { className: "field" }, ...inside);
}

const drafts = new Map();

/** An input that keeps what was typed while its part is built anew; `of`: which form and field, for as long as the page is there. */
export function draft(of, input) {
  if (drafts.has(of)) input.value = drafts.get(of);
  for (const kind of ["input", "change"]) input.addEventListener(kind, () => drafts.set(of, input.value));
  return input;
}

/** Such an input emptied, once what it said is on record. */
export function emptied(input) {
  input.value = "";
  input.dispatchEvent(new Event("input"));
}

export const textInput = (set = {}) => made("input", { type: "text", autocomplete: "off", spellcheck: false, ...set });

/** A list to choose from, [value, words] each. */
export function select(options, value = "") {
  const found = made("select", {}, ...options.map(([each, words]) => made("option", { value: each, textContent: words })));
  if (options.some(([each]) => each === value)) found.value = value;
  return found;
}

/** A wide thing that scrolls by itself. */
export function wide(name, inside) {
  const found = made("div", { className: "wide", tabIndex: 0 }, inside);
  found.setAttribute("role", "region");
  found.setAttribute("aria-label", name);
  return found;
}

export function table(name, columns, rows) {
  const head = made("thead", {}, made("tr", {}, ...columns.map((words) => made("th", { scope: "col", textContent: words }))));
  const cells = ([first, ...rest]) => made("tr", {}, made("th", { scope: "row", textContent: first }), ...rest.map((each) => made("td", {}, each)));
  return wide(name, made("table", {}, made("caption", { textContent: name }), head, made("tbody", {}, ...rows.map(cells))));
}

/** The job of the page: a field for its name, its list beside; `taken` is called with every job that is there. */
export function jobField(id, jobs, taken) {
  const known = jobs.map((each) => [each.id, `${each.name} (${each.id})`]);
  const list = select([["", SAY.noJob], ...known], known.some(([name]) => name === bench.job) ? bench.job : "");
  list.addEventListener("change", () => {
    bench.job = list.value;
    keep();
    taken();
  });
  return field(id, SAY.job, SAY.jobHelp, list);
}

function keep() {
  const told = new URLSearchParams({ part: bench.part });
  if (bench.job !== "") told.set("job", bench.job);
  history.replaceState(null, "", `#${told}`);
}

async function show(name) {
  if (name !== bench.part) parts.get(bench.part).close?.();
  bench.part = name;
  keep();
  for (const each of parts.keys()) at(each).hidden = each !== name;
  for (const each of document.querySelectorAll(".mode")) each.ariaPressed = String(each.dataset.part === name);
  say("");
  calm();
  await parts.get(name).open();
}

/** The service is there again: who asks may be another, and a part that could not be opened is. What stands is left alone. */
async function again(answer) {
  if (!answer.ok) {
    tell(answer);
    return;
  }
  if (bench.who === "") takeIn(answer.told);
  if (at(bench.part).childElementCount === 0) await parts.get(bench.part).open();
}

/** What the address says, told where it is not understood. */
function read() {
  const told = new URLSearchParams(location.hash.slice(1));
  const [part, job] = [told.get("part") ?? "measure", told.get("job") ?? ""];
  if (NAME.test(job)) bench.job = job;
  const known = parts.has(part) && NAME.test(job) && [...told.keys()].every((each) => ["part", "job"].includes(each));
  return [parts.has(part) ? part : "measure", known];
}

async function whoAsks() {
  const answer = await ask("GET", "/v1/sessions/current");
  if (answer === null || !answer.ok) {
    tell(answer);
    return false;
  }
  takeIn(answer.told);
  return true;
}

function takeIn({ name, roles }) {
  bench.who = name;
  for (const [right, holders] of Object.entries(RIGHTS)) bench.may[right] = roles.some((role) => holders.includes(role));
  at("who").textContent = bench.may.measure && bench.may.record ? "" : SAY.roles(name, roles, bench.may);
}

export async function begin() {
  for (const each of document.querySelectorAll(".mode")) each.addEventListener("click", () => show(each.dataset.part));
  at("form").addEventListener("change", () => useForm(at("form").value));
  addEventListener("hashchange", () => {
    const [part, known] = read();
    show(part).then(() => { if (!known) say(SAY.noAddress); });
  });
  const let_in = await whoAsks();
  const [part, known] = read();
  if (let_in) {
    await show(part);
    if (!known) say(SAY.noAddress);
  }
  feel(again);
  document.documentElement.dataset.ready = "yes";
}

/** A question with yes and no; the keyboard is on yes once it stands on the page. */
export function asked(question, words, act, back) {
  const yes = button(words, async () => {
    yes.disabled = true;
    await act();
  }, { className: "plain yes" });
  const found = made("div", { className: "question" }, made("p", { textContent: question }), made("div", { className: "acts" }, yes, button(SAY.no, back)));
  queueMicrotask(() => yes.focus());
  return found;
}

/** Ask before something is put on record: `act` only after "yes". Looks like a recorder, and is one. */
export function confirmed(text, question, right, act) {
  const host = made("div", { className: "confirmed" });
  const first = recorder(text, right, async () => {
    const yes = async () => {
      await act();
      host.replaceChildren(first);
      // Where nothing else took the keyboard it goes on from here, or from the part's name where this was replaced.
      if (document.activeElement === document.body) (host.isConnected ? first.querySelector("button") : at(`${bench.part}-name`)).focus();
    };
    host.replaceChildren(asked(question, SAY.yes, yes, () => { host.replaceChildren(first); first.querySelector("button").focus(); }));
  });
  host.append(first);
  return host;
}

/** Machines and attachments on record, [id, words] each; null where they cannot be had. */
export async function profilesOnRecord() {
  const [machines, attachments] = [await had("GET", "/v1/machines"), await had("GET", "/v1/attachments")];
  if (machines === null || attachments === null) return null;
  const words = (each) => [each.id, `${each.name} (${each.id})`];
  return [machines.map(words), attachments.map(words)];
}
