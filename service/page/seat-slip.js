// A slip: what is to be written is read before it is written, told once it is on disk, and can be taken back.

import { inWords, isProblem } from "./ask.js";
import { at, button, made } from "./elements.js";
import { pathOf } from "./seat-book.js";
import { asRequest } from "./seat-clock.js";
import { fieldOf } from "./seat-fields.js";
import { decided, newKeys } from "./recording.js";
import { send } from "./seat-sending.js";
import { WORDS } from "./seat-words.js";

let written = () => {};
let undo = () => {};
let withhold = () => {};
const declared = new Map(); // by path, what voids the number and is not decided, {keys, why}: sent again it is the same record
let cameFrom = null;
let slips = 0;

/** `after(answer)`: something is on disk; `undone(seq)`: a slip that takes an entry back; `withheld(why)`: there is to be no number
 * until further notice, or there may be one again for "". */
export function beginSlips(after, undone, withheld) {
  [written, undo, withhold] = [after, undone, withheld];
  at("slip").addEventListener("keydown", (event) => { if (event.key === "Escape" && !busy()) close(); });
}

/** What was declared is decided, or did not happen. */
function release(path) {
  declared.delete(path);
  withhold([...declared.values()].map((each) => each.why).join(" "));
}

const busy = () => at("slip").dataset.state === "sending";

/** Put a slip in the place of the drawings; the number stays. */
function lay(title, ...inside) {
  slips += 1;
  if (!at("slip").contains(document.activeElement) && document.activeElement !== document.body) cameFrom = document.activeElement;
  const heading = made("h2", { id: "slip-name", tabIndex: -1, textContent: title });
  at("slip").replaceChildren(heading, ...inside);
  at("slip").dataset.state = "open";
  at("slip").hidden = false;
  at("lower").hidden = true;
  heading.focus({ preventScroll: true });
  heading.scrollIntoView({ block: "nearest" });
}

export function close() {
  at("slip").hidden = true;
  at("slip").replaceChildren();
  at("slip").dataset.state = "";
  at("lower").hidden = false;
  if (cameFrom !== null && cameFrom.isConnected) cameFrom.focus({ preventScroll: true });
  else at("name").focus({ preventScroll: true });
  cameFrom = null;
}

/** A slip that only offers further ones, or says why there is nothing to write. */
export function offer(title, words, buttons) {
  lay(
    title, ...(words === "" ? [] : [made("p", { textContent: words })]),
    made("div", { className: "acts" }, ...buttons.map(([text, act]) => button(text, act)), button(WORDS.close, close)),
  );
}

/** A record: {title, fields (by name), hidden(values): names of fields that do not apply, says(values), path, body(values),
 * told(answer), done(): it is on disk, undoes, rests: the sensors are read for it, voids: it says that the number does not hold}. */
export function open(record) {
  const fields = Object.entries(record.fields);
  const keys = (record.voids && declared.get(record.path)?.keys) || newKeys();
  const says = made("p", { className: "says" });
  const wrong = made("p", { className: "alert" });
  wrong.setAttribute("role", "alert");
  const values = () => Object.fromEntries(fields.map(([name, field]) => [name, field.read()]));
  const tell = () => {
    const hidden = record.hidden?.(values()) ?? [];
    for (const [name, field] of fields) field.root.hidden = hidden.includes(name);
    says.textContent = record.says(values());
  };
  const go = button(WORDS.write, () => {
    const faults = fields.map(([, field]) => (field.root.hidden ? "" : field.fault())).filter((each) => each !== "");
    wrong.textContent = faults.join(" ");
    if (faults.length === 0) sendOff(record, values(), keys, { go, stop, says, wrong });
  }, { className: "write" });
  const stop = button(WORDS.cancel, () => (record.voids && declared.has(record.path) ? pending(record) : close()));
  const form = made("form", { noValidate: true }, ...fields.map(([, field]) => field.root), says, wrong, made("div", { className: "acts" }, go, stop));
  form.addEventListener("input", tell);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    go.click();
  });
  lay(record.title, form);
  tell();
}

/** Given up before it was decided: no number until it is written, or whoever declared it says that it did not happen. */
function pending(record) {
  offer(record.title, WORDS.undecided(record.title), [
    [WORDS.writeAgain, () => open(record)], [WORDS.notSo, () => { release(record.path); close(); }],
  ]);
}

async function sendOff(record, values, keys, { go, stop, says, wrong }) {
  if (busy()) return;
  const now = record.rests ? asRequest(performance.now()) : null;
  if (record.rests && now === null) {
    wrong.textContent = WORDS.noClock;
    return;
  }
  if (record.voids) {
    declared.set(record.path, { keys, why: WORDS.undecided(record.title) });
    withhold([...declared.values()].map((each) => each.why).join(" "));
  }
  const mine = slips;
  let ended = false;
  at("slip").dataset.state = "sending";
  go.textContent = WORDS.writing;
  go.setAttribute("aria-disabled", "true");
  const asking = button(WORDS.stop, () => { ended = true; });
  stop.replaceWith(asking);
  const body = record.body(values);
  const whole = now === null ? body : { ...body, asked_at: now }; // the key is that of the body: pressed again it is the same record
  const answer = await send(pathOf(record.path), whole, keys.of(body), (tries) => { wrong.textContent = WORDS.noAnswer(tries, record.rests); }, () => ended);
  keys.settle(body, answer);
  if (record.voids && decided(answer)) release(record.path);
  if (mine !== slips) return;
  at("slip").dataset.state = "open";
  if (answer !== null && answer.ok) {
    record.done?.();
    result(record, answer.told);
    written(answer.told);
    return;
  }
  asking.replaceWith(stop);
  go.textContent = WORDS.write;
  go.removeAttribute("aria-disabled");
  const meant = (pointer) => fieldOf(record.fields, pointer ?? "");
  wrong.replaceChildren(...(ended && answer === null ? [WORDS.stopped] : refusal(answer, meant)));
  says.textContent = record.says(values);
}

function result(record, told) {
  const lines = [WORDS.written(told), record.told(told), told.voids.length === 0 ? "" : WORDS.voids(told.voids)].filter((each) => each !== "");
  const said = made("div", { className: "said" }, ...lines.map((textContent) => made("p", { textContent })));
  said.setAttribute("role", "status");
  const acts = [...(record.undoes === false ? [] : [button(WORDS.undoThis(told.seq), () => undo(told.seq))]), button(WORDS.close, close)];
  lay(record.title, said, made("div", { className: "acts" }, ...acts));
  at("slip").dataset.state = "written";
}

/** A refusal in words, every fault of it, and its field named and marked where `meant(pointer)` is one; a way in where nobody is
 * signed in. */
export function refusal(answer, meant = () => undefined) {
  if (answer !== null && answer.status === 401) {
    return [WORDS.signIn, made("a", { href: "/sign-in", textContent: WORDS.signInLink })];
  }
  if (answer === null || !isProblem(answer.told) || answer.told.errors.length === 0) return [inWords(answer)];
  const { errors, title } = answer.told;
  const meantBy = new Map(errors.map((each) => [each, meant(each.pointer)]).filter(([, field]) => field !== undefined));
  for (const field of meantBy.values()) field.mark(true);
  const named = [...meantBy].map(([each, field]) => `${field.label}: ${WORDS.reason(each)}`);
  return [`${title}. `, [...named, ...WORDS.together(errors.filter((each) => !meantBy.has(each)))].join(" ")];
}
