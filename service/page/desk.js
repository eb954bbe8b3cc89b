// The classroom's desk: loads a pair, keeps drawing, readout and link in step with the poses, hands over to the parts.

import { ask, inWords } from "./ask.js";
import { at } from "./elements.js";
import { useForm } from "./form.js";
import { axes, makeJoints, showJoints, withinRange } from "./joints.js";
import { blankReadout, makeReadout, showReadout } from "./readout.js";
import { drawRoom, makeRings, placeRings, scene } from "./stage.js";
import { asked, copyOf, lengthFrom, linkFault, linkOf, poseFrom, readLink, room, shown, usualPose } from "./state.js";
import { SAY, UNITS } from "./words.js";

const PLAY_S = 4;
const REST_MS = 600;
const parts = new Map(); // mode -> {open(), close(), pair()} of a part that has a panel of its own
let wanted = 0;
let running = null;
let resting = 0;
let playing = 0;
const usedWith = new Map(); // machine -> the attachment it had last
let loads = 0; // pairs asked for: an answer to an earlier one comes too late
let failed = false; // whether what is said is that drawing or numbers could not be had

/** Something moved: draw and read until the screen shows what is wanted. Resolves when it does. */
export function changed() {
  wanted += 1;
  showJoints();
  placeRings();
  rest();
  at("sheets").ariaBusy = "true";
  running ??= keepUp().finally(() => {
    running = null;
    at("sheets").ariaBusy = "false";
  });
  return running;
}

async function keepUp() {
  let done = -1;
  while (done !== wanted) {
    done = wanted;
    if (room.mode === "exercise") { // draws itself, and has no readout
      await drawRoom();
      continue;
    }
    const now = shown();
    const { sides: [side], ...pair } = asked(now);
    const [drawn, explained, pose] = await Promise.all([
      drawRoom(), ask("POST", "/v1/explanations", asked(room.first, now)),
      ask("POST", "/v1/poses", { ...pair, angles_deg: side.angles_deg, attitude_deg: side.attitude_deg }),
    ]);
    const refused = [explained, pose].find((answer) => answer === null || !answer.ok);
    at("sheets").classList.toggle("stale", refused !== undefined || !drawn);
    if (refused !== undefined) {
      blankReadout();
      tell(refused);
    } else {
      showReadout(explained.told, pose.told);
      if (!drawn) say(SAY.drawing);
      else if (failed) say("");
    }
    failed = refused !== undefined || !drawn;
    at("second-name").textContent = scene.asking === null ? SAY.pose(room.share) : SAY.firstPose;
    at("way").value = String(room.share);
    at("way-shown").textContent = SAY.way(room.share);
  }
}

function rest() {
  clearTimeout(resting);
  resting = setTimeout(atRest, REST_MS);
}

/** Told once the hand rests: the address that brings this back, and the number for who does not see it. */
function atRest() {
  const link = linkOf();
  history.replaceState(null, "", link);
  at("link").value = location.href;
  if (at("readout-part").hidden) return; // it would tell what is asked
  const row = at("readout").querySelector('tr[data-quantity="above_target"]') ?? at("readout").tBodies[0].rows[0];
  const [, , now, change] = row.cells;
  at("heard").textContent = SAY.heard(row.querySelector("summary").textContent, now.textContent, change.textContent);
}

export function say(text) {
  if (at("trouble").textContent !== text) at("trouble").textContent = text;
}

/** A refusal in words; with a way in where nobody is signed in. */
export function tell(answer) {
  // A page has fields, and no paths of a request.
  say(SAY.atFields.reduce((words, [path, field]) => words.replace(path, field), inWords(answer)));
  if (answer !== null && answer.status === 401) {
    const link = Object.assign(document.createElement("a"), { href: "/sign-in", textContent: SAY.signInLink });
    at("trouble").replaceChildren(SAY.signIn, link);
  }
}

/** Turn a joint, or lean the body, of the pose on screen. */
function turn(name, degrees) {
  stopPlaying();
  if (room.share < 100) room.second = copyOf(shown());
  room.share = 100;
  const [held, stopped] = withinRange(name, degrees);
  if (name in room.second.angles) room.second.angles[name] = held;
  else room.second[name] = held;
  say("");
  at("heard").textContent = stopped ? SAY.stop(axes().find((axis) => axis.name === name).words, held) : "";
  changed();
}

/** Show two poses, as a lesson does. */
export function showPoses(first, second) {
  stopPlaying();
  [room.first, room.second, room.share] = [copyOf(first), copyOf(second), 100];
  showSettings();
  makeReadout();
  return changed();
}

function stopPlaying() {
  cancelAnimationFrame(playing);
  playing = 0;
  at("play").textContent = still() ? SAY.step : SAY.play;
}

export const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export function play() {
  if (still()) {
    room.share = room.share >= 100 ? 0 : Math.min(100, room.share + 10);
    changed();
    return;
  }
  if (playing !== 0) {
    stopPlaying();
    return;
  }
  at("play").textContent = SAY.pause;
  if (room.share >= 100) room.share = 0;
  let last = performance.now();
  let exact = room.share;
  const tick = (now) => {
    exact = Math.min(100, exact + ((now - last) / 1000 / PLAY_S) * 100);
    last = now;
    room.share = Math.round(exact);
    changed();
    if (exact < 100) playing = requestAnimationFrame(tick);
    else stopPlaying();
  };
  playing = requestAnimationFrame(tick);
}

function showSettings() {
  at("machine").value = room.machine;
  at("attachment").value = room.attachment;
  at("units").value = room.units;
  at("origin").value = String(room.second.origin);
  at("target").value = room.second.target === null ? "" : String(room.second.target);
  at("point").value = room.second.point;
  for (const name of ["view", "look", "drawn"]) document.querySelector(`input[name="${name}"][value="${room[name]}"]`).checked = true;
  for (const button of document.querySelectorAll(".mode")) button.setAttribute("aria-pressed", String(button.dataset.mode === room.mode));
}

const stanceOf = (machine, attachment, units) => ask("GET", `/v1/stances?${new URLSearchParams({ machine, attachment, units })}`);

/** Load a pair, its poses as usual there: {}, {refused} with what was answered, or {late} where another was asked for since. */
async function loadPair(machine, attachment, units) {
  const mine = ++loads;
  const answer = await stanceOf(machine, attachment, units);
  if (mine !== loads) return { late: true };
  if (answer === null || !answer.ok) return { refused: answer };
  Object.assign(room, { machine, attachment, units, stance: answer.told, share: 100 });
  usedWith.set(machine, attachment);
  [room.first, room.second] = [usualPose(room.stance), usualPose(room.stance)];
  return {};
}

function makeRoom() {
  at("point").replaceChildren(...room.stance.edge_points.map((point) => new Option(point.words, point.name)));
  makeRings(turn);
  makeJoints(turn, say);
  makeReadout();
  showSettings();
}

/** Open one part and close the others. */
function openMode(mode) {
  stopPlaying();
  parts.get(room.mode)?.close();
  room.mode = mode;
  for (const section of ["lessons", "exercise"]) at(section).hidden = section !== mode;
  const own = mode === "exercise";
  at("handles").hidden = own;
  for (const id of ["way-row", "why-part", "readout-part", "joints-part", "tools"]) at(id).hidden = own;
  makeReadout();
  showSettings();
  rest();
  return parts.has(mode) ? parts.get(mode).open() : changed();
}

export const addPart = (mode, part) => parts.set(mode, part);

/** Another pair, units or both, all begun anew; whether they came. */
export async function changePair(machine, attachment, units) {
  stopPlaying();
  const { refused, late } = await loadPair(machine, attachment, units);
  if (refused !== undefined) {
    tell(refused);
    showSettings();
  }
  if (refused !== undefined || late) return false;
  Object.assign(room, { lesson: "", step: 0 });
  say("");
  makeRoom();
  for (const part of parts.values()) part.pair();
  await (room.mode === "free" ? changed() : openMode(room.mode));
  return true;
}

/** Another machine: with the same attachment if it fits, else with the first that does. */
async function changeMachine(machine) {
  const first = usedWith.get(machine) ?? room.attachment;
  const others = [...at("attachment").options].map((option) => option.value).filter((each) => each !== first);
  const mine = ++loads;
  for (const attachment of [first, ...others]) {
    const answer = await stanceOf(machine, attachment, room.units);
    if (mine !== loads) return;
    if (answer !== null && answer.ok) {
      const swapped = attachment === room.attachment ? "" : SAY.swapped(room.attachment, machine, attachment);
      if (await changePair(machine, attachment, room.units)) say(swapped);
      return;
    }
    if (answer === null || answer.status !== 422) {
      tell(answer);
      showSettings();
      return;
    }
  }
  say(SAY.noPair);
  showSettings();
}

function listen() {
  at("machine").addEventListener("change", () => changeMachine(at("machine").value));
  at("attachment").addEventListener("change", () => changePair(room.machine, at("attachment").value, room.units));
  at("units").addEventListener("change", () => changePair(room.machine, room.attachment, at("units").value));
  at("origin").addEventListener("change", () => takeLength("origin"));
  at("target").addEventListener("change", () => takeLength("target"));
  at("point").addEventListener("change", () => { room.second.point = at("point").value; changed(); });
  at("form").addEventListener("change", () => useForm(at("form").value));
  for (const name of ["view", "look", "drawn"]) {
    for (const radio of document.querySelectorAll(`input[name="${name}"]`)) {
      radio.addEventListener("change", () => { room[name] = radio.value; changed(); });
    }
  }
  at("quantities").addEventListener("change", (event) => { room.quantity = event.target.value; changed(); });
  at("show-all").addEventListener("click", () => { room.look = "whole"; showSettings(); changed(); });
  at("keep").addEventListener("click", () => { room.first = copyOf(shown()); at("heard").textContent = SAY.kept; room.second = copyOf(room.first); room.share = 100; changed(); });
  at("back").addEventListener("click", () => showPoses(room.first, room.first));
  at("start").addEventListener("click", () => showPoses(usualPose(room.stance), usualPose(room.stance)));
  at("play").addEventListener("click", play);
  at("way").addEventListener("input", () => { stopPlaying(); room.share = Number(at("way").value); changed(); });
  at("copy").addEventListener("click", copyLink);
  for (const button of document.querySelectorAll(".mode")) button.addEventListener("click", () => openMode(button.dataset.mode));
  new ResizeObserver(() => { if (room.stance !== null) changed(); }).observe(at("sheets"));
  window.addEventListener("hashchange", () => location.reload());
}

function takeLength(name) {
  const text = at(name).value;
  const length = name === "target" && text.trim() === "" ? null : lengthFrom(text);
  const good = length !== null || name === "target" && text.trim() === "";
  at(name).setAttribute("aria-invalid", String(!good));
  if (!good) {
    say(SAY.noLength(text, room.stance.origin_elevation));
    return;
  }
  say("");
  room.second[name] = length;
  if (name === "target") {
    room.first.target = length;
    if (length === null && room.quantity === "above_target") room.quantity = "elevation";
    makeReadout();
  }
  changed();
}

async function copyLink() {
  clearTimeout(resting);
  atRest();
  try {
    await navigator.clipboard.writeText(at("link").value);
    at("copied").textContent = SAY.copied;
  } catch { // a browser lets pages copy only over https or on this machine itself
    at("link").focus();
    at("link").select();
    at("copied").textContent = SAY.takeIt;
  }
}

/** Load what the link in the address tells; why not, in words, where it tells nothing that can be used. */
async function fromLink() {
  const told = readLink(location.hash);
  if (told === null || told.fault !== undefined) return told?.fault ?? "";
  const { first, second, step, ...fields } = told.fields;
  const { refused } = await loadPair(fields.machine, fields.attachment, fields.units);
  if (refused !== undefined) return inWords(refused);
  const poses = [first, second].map((text) => poseFrom(text, room.stance));
  const faulty = poses.find((each) => each.fault !== undefined);
  if (faulty !== undefined) return faulty.fault;
  Object.assign(room, fields, { first: poses[0].pose, second: poses[1].pose, step: step === undefined ? 0 : Number(step) - 1 });
  return "";
}

export async function begin() {
  const lists = await Promise.all(["machines", "attachments"].map((kind) => ask("GET", `/v1/${kind}`)));
  const refused = lists.find((answer) => answer === null || !answer.ok);
  if (refused !== undefined) {
    tell(refused);
    return;
  }
  for (const [i, id] of ["machine", "attachment"].entries()) {
    at(id).replaceChildren(...lists[i].told.map((each) => new Option(`${each.id}: ${each.name}`, each.id)));
  }
  at("units").replaceChildren(...UNITS.map(([name, words]) => new Option(words, name)));
  const fault = await fromLink();
  if (room.stance === null) {
    const { refused } = await loadPair(room.machine, room.attachment, room.units);
    if (refused !== undefined) {
      tell(refused);
      return;
    }
  }
  at("tools").open = matchMedia("(min-width: 1000px)").matches;
  makeRoom();
  listen();
  stopPlaying();
  if (room.mode === "free") await changed();
  else await openMode(room.mode);
  if (fault !== "") say(linkFault(fault));
  document.documentElement.dataset.ready = "yes";
}
