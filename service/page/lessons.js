// Prepared lessons: look, say beforehand which way it goes, see, read why. What is right the service computes.

import { ask } from "./ask.js";
import { addPart, changed, play, say, showPoses, still, tell } from "./desk.js";
import { at, button, made } from "./elements.js";
import { scene } from "./stage.js";
import { numberFrom } from "./numbers.js";
import { lengthFrom, poseOf, room } from "./state.js";
import { SAY, UNITS } from "./words.js";

const panel = at("lessons");
let offered = null; // as GET /v1/lessons told it for the pair on screen
let firstTries = new Map(); // step id -> whether the first answer was right

const lessonNow = () => offered.lessons.find((each) => each.id === room.lesson);

async function open() {
  if (offered === null) {
    const pair = () => String(new URLSearchParams({ machine: room.machine, attachment: room.attachment, units: room.units }));
    const query = pair();
    const answer = await ask("GET", `/v1/lessons?${query}`);
    if (room.mode !== "lessons" || query !== pair()) return; // somebody went on meanwhile
    if (answer === null || !answer.ok) {
      tell(answer);
      panel.replaceChildren(heading(SAY.lessons), button(SAY.askAgain, () => { say(""); open(); }));
      return;
    }
    offered = answer.told;
  }
  const lesson = lessonNow();
  if (room.lesson !== "" && lesson === undefined) {
    const unknown = room.lesson;
    list();
    say(SAY.noLesson(unknown));
  } else if (lesson === undefined) list();
  else await step(Math.min(room.step, lesson.steps.length - 1), false);
}

/** All lessons, to choose from. */
function list() {
  Object.assign(room, { lesson: "", step: 0 });
  firstTries = new Map();
  const rows = offered.lessons.map((lesson) => {
    const choose = button(lesson.title, () => { room.lesson = lesson.id; step(0, true); });
    choose.dataset.lesson = lesson.id;
    return made("li", {}, choose, made("div", { className: "hint", textContent: lesson.learn }));
  });
  const out = offered.left_out.map((lesson) => made("li", { textContent: SAY.leftOut(lesson.title, lesson.why) }));
  panel.replaceChildren(heading(SAY.lessons), made("ul", { className: "plainly" }, ...rows), made("ul", { className: "hint" }, ...out));
  reveal(true);
  changed();
}

const others = () => button(SAY.otherLesson, () => { list(); panel.querySelector("h2").focus(); });

function heading(text) {
  return made("h2", { id: "lessons-name", tabIndex: -1, textContent: text });
}

/** One step: words, and the question where it has one; the second pose is seen once it is answered. */
async function step(which, move) {
  const lesson = lessonNow();
  room.step = which;
  const now = lesson.steps[which];
  const [first, second] = [now.sides[0], now.sides[now.sides.length - 1]].map(poseOf);
  panel.replaceChildren(
    heading(lesson.title), made("p", { className: "hint", textContent: SAY.stepOf(which + 1, lesson.steps.length) }),
    made("p", { className: "step-words", textContent: now.words }),
  );
  room.view = now.view;
  if (now.look_at.length > 0) [room.quantity] = now.look_at;
  const open = now.question === null;
  if (!open) panel.append(questionOf(now, second));
  panel.append(made("div", { className: "acts", id: "steps" }, ...(open ? [onwards()] : []), others()));
  reveal(open);
  await showPoses(first, open ? second : first);
  if (move) panel.querySelector("h2").focus();
}

/** Joints, readout and why are the answer: they are shown once it is given. */
function reveal(open) {
  for (const id of ["joints-part", "readout-part", "why-part", "way-row", "handles"]) at(id).hidden = !open;
  scene.asking = open ? null : room.view;
}

function questionOf(now, second) {
  const { question } = now;
  const form = made("form", { className: "question", noValidate: true });
  const send = made("button", { type: "submit", className: "plain", textContent: SAY.answer });
  const wrong = made("p", { className: "alert" });
  wrong.setAttribute("role", "alert");
  form.append(...(question.kind === "choice" ? [choicesOf(question)] : figureOf(question)), wrong, send);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const answer = answerIn(form, question);
    wrong.textContent = answer === null ? SAY.noAnswer[question.kind] : "";
    if (answer !== null) await judge(form, now, second, answer);
  });
  return form;
}

function choicesOf(question) {
  const options = question.choices.map(({ id, words }) => made("label", {},
    made("input", { type: "radio", name: "answer", value: id }), made("span", { textContent: words })));
  return made("fieldset", {}, made("legend", { textContent: question.words }), ...options);
}

function figureOf(question) {
  const unit = question.kind === "percent" ? SAY.percent : UNITS.find(([name]) => name === room.units)[1];
  const near = question.kind === "percent" ? SAY.withinPercent(question.within_percent) : SAY.withinShare(question.within_percent_of_it);
  const field = made("input", { type: "text", id: "figure", autocomplete: "off", inputMode: room.units === "ftin" ? "text" : "decimal" });
  field.setAttribute("aria-describedby", "figure-hint");
  return [
    made("label", { htmlFor: "figure", textContent: question.words }), field,
    made("p", { className: "hint", id: "figure-hint", textContent: `${unit}; ${near}` }),
  ];
}

function answerIn(form, question) {
  if (question.kind === "choice") return form.querySelector("input:checked")?.value ?? null;
  const text = form.querySelector("#figure").value;
  return question.kind === "percent" ? numberFrom(text) : lengthFrom(text);
}

async function judge(form, now, second, answer) {
  const { machine, attachment, units } = room;
  const send = form.querySelector("button");
  if (send.disabled) return;
  send.disabled = true;
  const told = await ask("POST", `/v1/lessons/${room.lesson}/answers`, { machine, attachment, units, step: now.id, answer });
  if (!form.isConnected) return; // the learner is at another step by now
  if (told === null || !told.ok) {
    tell(told);
    send.disabled = false;
    return;
  }
  say("");
  const { right, right_words: rightWords, words } = told.told;
  if (!firstTries.has(now.id)) firstTries.set(now.id, right);
  for (const control of form.elements) control.disabled = true;
  send.remove();
  const verdict = made("p", { className: "verdict", tabIndex: -1, textContent: right ? SAY.right(rightWords) : SAY.notSo(rightWords) });
  form.after(made("div", { className: "answered" }, verdict, made("ul", { className: "words" }, ...words.map((text) => made("li", { textContent: text })))));
  at("steps").prepend(onwards());
  reveal(true);
  await showPoses(poseOf(now.sides[0]), second);
  verdict.focus();
  if (now.sides.length > 1 && !still()) play();
}

/** The way on: the next step, or after the last how it went. */
function onwards() {
  const lesson = lessonNow();
  const last = room.step === lesson.steps.length - 1;
  return button(last ? SAY.finish : SAY.next, () => (last ? finish(lesson) : step(room.step + 1, true)));
}

function finish(lesson) {
  const asked = lesson.steps.filter((each) => each.question !== null);
  const right = asked.filter((each) => firstTries.get(each.id) === true).length;
  const again = button(SAY.again, () => { firstTries = new Map(); step(0, true); });
  panel.replaceChildren(
    heading(SAY.done(lesson.title)), made("p", { id: "tally", textContent: SAY.tally(right, asked.length) }),
    made("p", { textContent: lesson.learn }), made("div", { className: "acts" }, again, others()),
  );
  panel.querySelector("h2").focus();
}

addPart("lessons", { open, close: () => reveal(true), pair: () => { offered = null; } });
