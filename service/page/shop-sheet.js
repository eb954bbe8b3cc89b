// The measure-up sheet: fields of a profile by the service's own schema, faults beside them, its text, and its way on record.

import { ask, inWords } from "./ask.js";
import { at, button, made } from "./elements.js";
import { addPart, asked, confirmed, faultWords, field, had, hear, recorder, safety, say, select, tell } from "./shop-bench.js";
import { fault, filling, idOf } from "./shop-fields.js";
import { treeOf } from "./shop-schema.js";
import { sketch } from "./shop-sketch.js";
import { sheetOf, tomlOf } from "./shop-toml.js";
import { SAY } from "./shop-words.js";

const panel = at("measure");
const HEAD = ["units", "id", "name", "source"]; // units first: every number is in them
const PLURAL = { machine: "machines", attachment: "attachments" };
const trees = new Map(); // kind -> nodes
/** `names`: what was added of what grows; `from`: the revision on record that it was begun with, {id, revision}. */
const blank = (kind) => ({ kind, values: {}, picked: {}, open: [], names: {}, further: "", from: null });
let sheet = blank("machine");
let nodes = [];
let safe = false; // whether the steps before the bucket were ticked since the sheet was opened
let checked = null; // the text that was last found good
let own = []; // profiles of this kind on record
let others = []; // [id, words] of what it may be held against
const drawing = sketch();

async function open() {
  safe = false;
  if (!trees.has(sheet.kind)) {
    const schema = await had("GET", `/v1/profile-schemas/${sheet.kind}`);
    if (schema === null) return;
    const all = treeOf(schema);
    trees.set(sheet.kind, [...HEAD.map((name) => all.find((each) => each.name === name)), ...all.filter((each) => !HEAD.includes(each.name))]);
  }
  nodes = trees.get(sheet.kind);
  const other = sheet.kind === "machine" ? "attachment" : "machine";
  const lists = [await had("GET", `/v1/${PLURAL[sheet.kind]}`), await had("GET", `/v1/${PLURAL[other]}`)];
  const words = (each) => [each.id, `${each.name} (${each.id})`];
  own = lists[0] ?? [];
  others = (lists[1] ?? []).map(words);
  const kind = select(Object.entries(SAY.kinds), sheet.kind);
  kind.addEventListener("change", () => {
    remember();
    sheet = recalled(kind.value);
    at("sheet").replaceChildren(); // another kind's fields must not be filled in meanwhile
    open();
  });
  const load = select([["", SAY.choose], ...own.map(words)]);
  const begin = made("div", { className: "acts", id: "begin" });
  const anew = (text, from) => button(text, () => {
    if (from() === "") begin.replaceChildren(...acts, made("p", { className: "hint", textContent: SAY.loadWhich }));
    else if (isEmpty()) beginWith(from());
    else begin.replaceChildren(asked(SAY.typedGoes, SAY.goesOn, () => beginWith(from()), () => begin.replaceChildren(...acts)));
  });
  const acts = [anew(SAY.load, () => load.value), anew(SAY.anew, () => null)];
  begin.append(...acts);
  panel.replaceChildren(made("h2", { id: "measure-name", tabIndex: -1, textContent: SAY.measure }), made("p", { className: "lead", textContent: SAY.measureLead }),
    made("div", { className: "fields" }, field("kind", SAY.kind, "", kind), field("load", SAY.loadFrom, "", load)), begin, made("p", { className: "said", id: "from", textContent: sheet.from === null ? "" : SAY.from(sheet.from) }),
    made("div", { className: "room" }, made("div", { className: "stage" }, drawing.figure), made("form", { id: "sheet", noValidate: true })), made("div", { id: "outcome" }));
  render();
  drawing.mark(sheet.kind, "", "", "", false);
}

const isEmpty = () => Object.values(sheet.values).every((text) => text.trim() === "") && sheet.further.trim() === "";

/** An empty sheet, or one filled in with a profile on record: to measure again, or to correct one dimension. */
async function beginWith(id) {
  let next = blank(sheet.kind);
  if (id !== null) {
    const told = await had("GET", `/v1/${PLURAL[sheet.kind]}/${id}`);
    if (told === null) return;
    next = sheetOf(nodes, told.document, next);
    if (told.origin === "shipped") next.values.id = ""; // nobody's machine: it is recorded under an id of its own
    else next.from = { id: told.id, revision: told.revision };
  }
  sheet = next;
  remember();
  await open();
  at("load").focus();
  if (id !== null) hear(SAY.loaded(id));
}

/** What was typed is kept in this browser until it is on record: a sheet takes half a day. */
function remember() {
  try {
    localStorage.setItem(`tipdatum-sheet-${sheet.kind}`, JSON.stringify(sheet));
  } catch { /* a browser that keeps nothing: the sheet is on the page all the same */ }
}

function recalled(kind) {
  try {
    const told = JSON.parse(localStorage.getItem(`tipdatum-sheet-${kind}`));
    const good = told?.kind === kind && Array.isArray(told.open) && typeof told.further === "string";
    return good ? { ...blank(kind), ...told } : blank(kind);
  } catch {
    return blank(kind);
  }
}

/** All fields that are asked for now; the part at the machine only after the steps. */
function render(...focus) {
  const part = filling(sheet, { changed, again: render, asks: (path, words, help) => drawing.mark(sheet.kind, path, words, help, sheet.open.includes("fore_boom"), drawn(path)) });
  checked = null;
  at("outcome").replaceChildren();
  const form = at("sheet");
  const head = nodes.filter((each) => HEAD.includes(each.name));
  const rest = nodes.filter((each) => !HEAD.includes(each.name));
  const steps = safety(() => {
    safe = true;
    render();
    form.querySelector(".taped h3")?.focus();
  });
  const taped = safe ? made("div", { className: "taped" }, made("h3", { tabIndex: -1, textContent: SAY.taped }), ...rest.map((each) => part(each, null))) : steps;
  form.replaceChildren(made("fieldset", { className: "group" }, made("legend", { textContent: SAY.head }), ...head.map((each) => part(each, null))), taped, ...(safe ? ending() : []));
  form.onsubmit = (event) => {
    event.preventDefault();
    check();
  };
  focus.map(at).find((each) => each !== null)?.focus();
}

/** Where the drawing shows a field: of a sensor the part that it sits on. */
function drawn(path) {
  const [head, name] = path.split(".");
  return head === "sensors" ? `place.${sheet.values[`sensors.${name}.place`] ?? ""}` : path;
}

function ending() {
  const further = made("textarea", { rows: 6, value: sheet.further, spellcheck: false });
  further.addEventListener("input", () => {
    sheet.further = further.value;
    changed();
  });
  const fits = select([["", SAY.fitsNone], ...others]);
  return [made("details", { className: "group", open: sheet.further.trim() !== "" }, made("summary", { textContent: SAY.furtherName }), field("further", SAY.further, SAY.furtherHelp, further), fault("further")),
    field("fits", SAY.fits, "", fits), made("button", { type: "submit", className: "plain", textContent: SAY.check })];
}

function changed() {
  remember();
  checked = null;
  for (const each of at("outcome").querySelectorAll(".records-now")) each.disabled = true;
}

/** The service's verdict, all faults at once, each beside its field. */
async function check() {
  const toml = tomlOf(nodes, sheet);
  const fits = at("fits").value;
  const answer = await ask("POST", "/v1/profile-checks", fits === "" ? { toml } : { toml, fits });
  if (answer === null || !answer.ok) {
    say(answer?.told?.errors ? answer.told.errors.map(faultWords).join(" ") : inWords(answer));
    return;
  }
  say("");
  const { ok, faults, doubts, facts } = answer.told;
  mark(faults, fits !== "");
  const lines = faults.length === 0 ? [made("p", { className: "verdict", tabIndex: -1, textContent: SAY.good(fits !== "") })] : [made("p", { className: "verdict", tabIndex: -1, textContent: SAY.faulty(faults.length) })];
  if (doubts.length > 0) lines.push(made("h3", { textContent: SAY.doubts }), made("ul", { className: "words" }, ...doubts.map((each) => made("li", { textContent: each }))));
  if (ok) lines.push(factsOf(facts));
  const file = made("a", { className: "alone", download: `${sheet.values.id || sheet.kind}.toml`, textContent: SAY.download, href: URL.createObjectURL(new Blob([toml], { type: "application/toml" })) });
  const text = made("details", {}, made("summary", { textContent: SAY.text }), made("pre", { id: "toml", tabIndex: 0, textContent: toml }), file);
  const saved = made("div", { id: "saved" });
  if (ok) {
    checked = toml;
    const before = await onRecord();
    lines.push(before === null || before.revision === sheet.from?.revision ? recorder(SAY.save(sheet.kind), "measure", () => save(toml, before, saved))
      : confirmed(SAY.saveNext(before.id), SAY.saveNextAsked(before.id, before.revision.slice(0, 12)), "measure", () => save(toml, before, saved)), saved);
  }
  at("outcome").replaceChildren(made("h3", { textContent: SAY.verdict }), ...lines, text);
  const first = panel.querySelector("[aria-invalid=true]");
  (first ?? at("outcome").querySelector(".verdict")).focus();
  hear(faults.length === 0 ? SAY.good(fits !== "") : SAY.faulty(faults.length));
}

/** Put each fault where it belongs: at its field, else at the nearest part around it, else at the further text. */
function mark(faults, pair) {
  for (const each of panel.querySelectorAll(".fault")) each.replaceChildren();
  for (const each of panel.querySelectorAll("[data-path]")) each.removeAttribute("aria-invalid");
  for (const each of faults) {
    let place = each.path;
    while (place !== "" && at(`e-${place}`) === null) place = place.slice(0, Math.max(place.lastIndexOf("."), 0));
    const empty = each.code === "missing-key" && place === each.path && at(idOf(place)) !== null;
    const said = at(place === "" ? "e-further" : `e-${place}`);
    const line = place === "" && each.line !== null ? SAY.line(each.line) : "";
    said.append(made("span", { textContent: empty ? SAY.empty : `${pair ? SAY.together : ""}${line}${faultWords(each)}` }));
    at(place === "" ? "further" : idOf(place))?.setAttribute("aria-invalid", "true");
    for (let around = said.closest("details"); around !== null; around = around.parentElement.closest("details")) around.open = true;
  }
}

/** What was computed from it, as the service names it: names carry their units. */
function factsOf(facts) {
  const rows = (name, value) => Array.isArray(value) || typeof value !== "object" || value === null ? [[name, [value].flat(9).map((each) => typeof each === "number" ? Number(each.toPrecision(6)) : String(each)).join(SAY.to)]]
    : Object.entries(value).flatMap(([inner, each]) => rows(name === "" ? inner : `${name}, ${inner}`, each));
  return made("details", {}, made("summary", { textContent: SAY.facts }), made("dl", {}, ...rows("", facts).flatMap(([name, value]) => [made("dt", { textContent: name.replaceAll("_", " ") }), made("dd", { textContent: value })])));
}

/** What stands on record under the sheet's id: the revision that it was begun with, else the latest. */
async function onRecord() {
  const id = (sheet.values.id ?? "").trim();
  if (sheet.from?.id === id) return sheet.from;
  own = await had("GET", `/v1/${PLURAL[sheet.kind]}`) ?? own;
  return own.find((each) => each.id === id) ?? null;
}

async function save(toml, before, saved) {
  if (toml !== checked) return;
  const answer = await ask("POST", `/v1/${PLURAL[sheet.kind]}`, { toml }, before === null ? {} : { "if-match": `"${before.revision}"` });
  if (answer === null || !answer.ok) {
    tell(answer);
    return;
  }
  say("");
  const told = answer.told;
  sheet.from = { id: told.id, revision: told.revision };
  remember();
  at("from").textContent = SAY.from(sheet.from);
  const now = await had("GET", `/v1/${PLURAL[sheet.kind]}/${told.id}`);
  if (now === null) return;
  saved.replaceChildren(made("p", { className: "said", tabIndex: -1, textContent: SAY.saved(now.name, now.id, now.revision.slice(0, 12), now.actor) }));
  saved.firstChild.focus();
}

sheet = recalled("machine");
addPart("measure", { open, close: remember });
