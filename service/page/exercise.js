// The exercise: choose one, dig, see the score, hand it in to a class, look at the class, play a dig again.

import { ask } from "./ask.js";
import { classForm, handIn, SCORED } from "./class-list.js";
import { addPart, changePair, say, tell } from "./desk.js";
import { depthWords, drawSoon, groundOf, newDig } from "./digging.js";
import { at, button, made } from "./elements.js";
import { newReplay } from "./replay.js";
import { scene } from "./stage.js";
import { copyOf, room, usualPose } from "./state.js";
import { SAY } from "./words.js";

const panel = at("exercise");
const heading = (text) => made("h2", { id: "exercise-name", tabIndex: -1, textContent: text });
const acts = (...buttons) => made("div", { className: "acts" }, ...buttons);
const pair = () => ({ machine: room.machine, attachment: room.attachment, units: room.units });
let offered = null;
let going = null; // what ends the dig or replay that goes on

/** Put a panel there and its reader at its head. */
function put(...parts) {
  panel.replaceChildren(...parts);
  panel.querySelector("h2").focus();
}

async function open() {
  room.kept ??= [room.first, room.second];
  if (offered === null) {
    const asked = JSON.stringify(pair());
    const answer = await ask("GET", `/v1/exercises?${new URLSearchParams(pair())}`);
    if (room.mode !== "exercise" || asked !== JSON.stringify(pair())) return; // somebody went on meanwhile
    if (answer === null || !answer.ok) {
      tell(answer);
      panel.replaceChildren(heading(SAY.exercises), acts(button(SAY.askAgain, () => { say(""); open(); })));
      return;
    }
    offered = answer.told.exercises;
  }
  list();
}

function quiet() {
  at("sheets").classList.remove("stale");
  going?.();
  going = null;
  document.body.classList.remove("digging");
}

function close() {
  quiet();
  Object.assign(scene, { ground: null, alone: false });
  if (room.kept !== null) [room.first, room.second] = room.kept;
  room.kept = null;
}

/** Put an exercise's beginning onto the stage. */
function stageOf(exercise) {
  Object.assign(scene, { ground: groundOf(exercise, exercise.ground.heights_m), alone: true });
  Object.assign(room, { view: "side", look: "usual", share: 100 });
  const begun = { ...usualPose(room.stance), angles: { ...exercise.start_deg }, target: null };
  [room.first, room.second] = [begun, copyOf(begun)];
  at("second-name").textContent = exercise.title;
  drawSoon();
}

/** How a class shows its digs. */
const ofClass = { look, titleOf: (id) => offered.find((each) => each.id === id)?.title ?? id };

/** All exercises, and a class; answers the class's form. */
function list() {
  quiet();
  stageOf(offered[0]);
  const shown = classForm(ofClass);
  panel.replaceChildren(
    heading(SAY.exercises), made("p", { className: "hint", textContent: SAY.simulated }),
    made("ul", { className: "plainly" }, ...offered.map((exercise) => made("li", {},
      button(exercise.title, () => before(exercise)),
      made("div", { className: "hint", textContent: exercise.words.join(" ") })))),
    made("h3", { textContent: SAY.classes }), shown.form,
  );
  return shown;
}

const others = () => button(SAY.otherExercise, () => { list(); panel.querySelector("h2").focus(); });

function before(exercise) {
  quiet();
  stageOf(exercise);
  put(
    heading(exercise.title), ...exercise.words.map((text) => made("p", { textContent: text })),
    made("p", { textContent: SAY.wanted(exercise.tolerance.shown) }), made("p", { className: "hint", textContent: SAY.levers }),
    acts(button(SAY.begin, () => dig(exercise)), others()),
  );
}

function dig(exercise) {
  stageOf(exercise);
  const depth = made("p", { className: "big", id: "depth", textContent: SAY.aboveGround });
  const more = made("p", { id: "so-far", textContent: SAY.soFar(0, 0) });
  let passes = 0;
  const digging = newDig(exercise, (step, seconds) => {
    passes += step?.passes_begun ?? 0;
    depth.textContent = step === null ? SAY.unknown : depthWords(step);
    more.textContent = SAY.soFar(passes, seconds);
  }, () => { say(SAY.full); finish(); });
  const finish = () => {
    quiet();
    score(exercise, digging.course());
  };
  panel.replaceChildren(heading(exercise.title), depth, more);
  going = digging.end;
  document.body.classList.add("digging");
  digging.begin(panel);
  panel.append(acts(button(SAY.doneDigging, finish), button(SAY.giveUp, () => before(exercise))));
  panel.querySelector(".levers button").focus();
}

async function score(exercise, course) {
  if (course.t_s.length < 2) {
    before(exercise);
    say(SAY.nothingDug);
    return;
  }
  panel.replaceChildren(heading(exercise.title), made("p", { textContent: SAY.scoring }));
  const dug = { ...pair(), exercise: exercise.id, course };
  const answer = await ask("POST", "/v1/digs", dug);
  if (room.mode !== "exercise") return;
  if (answer === null || !answer.ok) {
    tell(answer);
    put(heading(exercise.title), made("p", { textContent: SAY.stillThere }), acts(button(SAY.scoreAgain, () => { say(""); score(exercise, course); }), button(SAY.giveUp, () => before(exercise))));
    return;
  }
  const replay = newReplay(exercise, course, answer.told.ground.heights_m);
  going = replay.stop;
  put(
    heading(SAY.scoreOf(exercise.title)), scoreList(answer.told.score), replay.host, handIn(dug, ofClass),
    acts(button(SAY.again, () => before(exercise)), others()),
  );
}

/** A score down the page, with what each number is. */
function scoreList(score) {
  return made("dl", { className: "score" }, ...SCORED.flatMap(([name, shown]) => [
    made("dt", { textContent: SAY.scored[name][0] }), made("dd", {}, shown(score), made("span", { className: "hint", textContent: ` ${SAY.scored[name][1]}` })),
  ]));
}

/** A dig of a class on the stage again, with the machine it was dug with; `line` as the list tells it. */
async function look(name, line) {
  quiet();
  const answer = await ask("GET", `/v1/classes/${encodeURIComponent(name)}/digs/${line.seq}?${new URLSearchParams({ units: room.units })}`);
  if (room.mode !== "exercise") return;
  if (answer === null || !answer.ok) {
    tell(answer);
    return;
  }
  const { machine, attachment, course, exercise_then: exercise, score: scored, learner, ground } = answer.told;
  const other = machine.id !== room.machine || attachment.id !== room.attachment;
  if (other && !await changePair(machine.id, attachment.id, room.units)) return;
  stageOf(exercise);
  const current = ["machine_is_current", "attachment_is_current", "exercise_is_current"].every((each) => answer.told[each]);
  const told = [...(other ? [SAY.dugWith(machine.id, attachment.id)] : []), ...(current ? [] : [SAY.notCurrent])];
  const replay = newReplay(exercise, course, ground.heights_m);
  going = replay.stop;
  put(
    heading(SAY.digOf(learner, exercise.title)), ...told.map((text) => made("p", { className: "said", textContent: text })),
    scoreList(scored), ...(current ? [replay.host] : []),
    acts(button(SAY.backToClass, async () => { await list().show(name); panel.querySelector("h2").focus(); })),
  );
}

addPart("exercise", { open, close, pair: () => { offered = room.kept = null; } });
