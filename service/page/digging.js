// A simulated dig at the hands: joints turn while a button or key is held, and the service takes the ground away.

import { ask } from "./ask.js";
import { say, tell } from "./desk.js";
import { at, made } from "./elements.js";
import { withinRange } from "./joints.js";
import { cutWord } from "./readout.js";
import { drawRoom, scene } from "./stage.js";
import { room } from "./state.js";
import { SAY } from "./words.js";

const KEYS = [["a", "q"], ["s", "w"], ["d", "e"], ["f", "r"], ["g", "t"], ["h", "z"], ["j", "u"]]; // lowers, raises; by joint in the chain
const SPEED = { fine: 1, slow: 4, usual: 12 }; // degrees a second
const TICK_MS = 50;
const STALLS_MS = 200; // an answer that takes longer stops the joints meanwhile
const MOST_SAMPLES = 12_000;
const MOST_S = 1200;
const FINE_M = 0.015;
const PRESSES = [" ", "Enter"];

/** What a drawing shows of an exercise's ground. */
export function groundOf(exercise, heights) {
  const { target, ground } = exercise;
  const height = (reach) => target.height.m + (target.slope_percent / 100) * (reach - target.reach.m);
  const mark = (reach) => ({ reach_m: reach, height_m: height(reach) });
  return {
    first_reach_m: ground.first_m, step_m: ground.step_m, heights_m: heights,
    wanted: [mark(exercise.near.m), mark(exercise.far.m)],
  };
}

/** Draw the newest, at once or once the drawing under way is done; what came between is left out. */
let drawing = false;
let behind = false;
export async function drawSoon() {
  behind = true;
  if (drawing) return;
  drawing = true;
  at("sheets").ariaBusy = "true";
  while (behind) {
    behind = false;
    await drawRoom();
  }
  at("sheets").ariaBusy = "false";
  drawing = false;
}

/** Until the last piece is dug, told to whoever waits for what the drawing comes to. */
function turning(is) {
  at("sheets").dataset.turning = is ? "yes" : "no";
}

/** What turns joints: every lever held, from when, and the degrees that are still to be turned. */
function newLevers(tolerance) {
  const held = new Map(); // what holds it (a key, a pointer) -> {joint, sign, from}
  const due = new Map(); // joint -> degrees
  let speed = tolerance < FINE_M ? "fine" : "slow"; // as a beginner would

  function turnUntil(now) {
    for (const lever of held.values()) {
      const seconds = Math.min(now - lever.from, STALLS_MS) / 1000;
      due.set(lever.joint, (due.get(lever.joint) ?? 0) + lever.sign * SPEED[speed] * seconds);
      lever.from = now;
    }
  }

  return {
    due,
    turnUntil,
    choose: (name) => { turnUntil(performance.now()); speed = name; },
    speed: () => speed,
    none: () => held.size === 0,
    hold: (by, joint, sign) => {
      turning(true);
      if (!held.has(by)) held.set(by, { joint, sign, from: performance.now() });
    },
    free: (by) => { turnUntil(performance.now()); held.delete(by); },
    clear: () => { held.clear(); due.clear(); },
  };
}

/** A dig of one exercise: {begin(host), end(), course()}; `told(step, seconds)` after every piece, null for one that failed; `full()` where it got too long. */
export function newDig(exercise, told, full) {
  const levers = newLevers(exercise.tolerance.m);
  const course = { t_s: [], angles_deg: Object.fromEntries(Object.keys(exercise.start_deg).map((joint) => [joint, []])) };
  const listening = new AbortController();
  let heights = exercise.ground.heights_m;
  let inPass = false;
  let timer = 0;
  let last = 0;
  let started = null;
  let over = false;

  const sample = (seconds, angles) => {
    course.t_s.push(Number(seconds.toFixed(4)));
    for (const [joint, all] of Object.entries(course.angles_deg)) all.push(angles[joint]);
  };

  async function tick() {
    if (over) return;
    const now = performance.now();
    levers.turnUntil(now);
    const before = { ...room.second.angles };
    const after = { ...before };
    for (const [joint, degrees] of levers.due) {
      const [angle, stopped] = withinRange(joint, before[joint] + degrees);
      after[joint] = angle;
      levers.due.set(joint, stopped ? 0 : before[joint] + degrees - angle);
    }
    if (Object.keys(before).some((joint) => before[joint] !== after[joint])) {
      started ??= last;
      const [from, to] = [last, now].map((time) => (time - started) / 1000);
      if (to > MOST_S || course.t_s.length > MOST_SAMPLES - 2) {
        end();
        full();
        return;
      }
      await take(before, after, from, to);
    } else if (levers.none()) turning(false);
    last = now;
    if (!over) timer = setTimeout(tick, Math.max(0, TICK_MS - (performance.now() - now)));
  }

  /** One piece. Nothing of it counts until the service has dug it. */
  async function take(before, after, from, to) {
    const { machine, attachment, units } = room;
    const answer = await ask("POST", "/v1/dig-steps", {
      machine, attachment, units, exercise: exercise.id, ground_heights_m: heights, in_pass: inPass,
      from_deg: before, to_deg: after,
    });
    if (over) return; // scored or left meanwhile
    at("sheets").classList.toggle("stale", answer === null || !answer.ok);
    if (answer === null || !answer.ok) {
      levers.clear();
      tell(answer);
      told(null, from);
      return;
    }
    say("");
    // A rest before is a sample of its own, or the joints would seem to have crept through it.
    if (course.t_s.length === 0 || from - course.t_s[course.t_s.length - 1] > 0.001) sample(from, before);
    sample(to, after);
    room.second.angles = after;
    ({ ground_heights_m: heights, in_pass: inPass } = answer.told);
    scene.ground = groundOf(exercise, heights);
    drawSoon();
    told(answer.told, to);
  }

  /** Two buttons a joint, held by finger, Space or Enter, or by the letters on them while focus is among them. */
  function board() {
    const { joints } = room.stance;
    const rows = joints.map((joint, i) => made("div", { className: "lever" },
      made("span", { className: "lever-name", textContent: joint.words }), lever(joint, -1, KEYS[i][0]), lever(joint, 1, KEYS[i][1])));
    const choose = made("fieldset", { className: "row" }, made("legend", { textContent: SAY.speed }), ...Object.keys(SPEED).map((name) => {
      const radio = made("input", { type: "radio", name: "speed", value: name, checked: name === levers.speed() });
      radio.addEventListener("change", () => levers.choose(name));
      return made("label", {}, radio, made("span", { textContent: SAY.speeds[name] }));
    }));
    const host = made("div", { className: "levers" }, ...rows, choose);
    const byKey = new Map(joints.flatMap((joint, i) => KEYS[i].map((key, up) => [key, [joint.name, up === 1 ? 1 : -1]])));
    host.addEventListener("keydown", (event) => {
      const found = byKey.get(event.key.toLowerCase());
      if (found === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
      if (!event.repeat) levers.hold(event.code, ...found);
      event.preventDefault();
    });
    // A key may be let go wherever the focus is by then, and a window that is left never hears of it.
    const { signal } = listening;
    window.addEventListener("keyup", (event) => levers.free(event.code), { signal });
    window.addEventListener("blur", levers.clear, { signal });
    document.addEventListener("visibilitychange", levers.clear, { signal });
    // A touch of the drawing must not take the letters away.
    document.addEventListener("click", () => {
      if (document.activeElement === document.body) host.querySelector("button").focus({ preventScroll: true });
    }, { signal });
    return host;
  }

  function lever(joint, sign, key) {
    const push = made("button", { type: "button", className: "plain hold", textContent: SAY.moves[joint.name][sign < 0 ? 0 : 1] },
      made("kbd", { textContent: key.toUpperCase() }));
    push.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      push.setPointerCapture(event.pointerId);
      levers.hold(event.pointerId, joint.name, sign);
    });
    for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) {
      push.addEventListener(name, (event) => levers.free(event.pointerId));
    }
    push.addEventListener("contextmenu", (event) => event.preventDefault());
    push.addEventListener("keydown", (event) => {
      if (!PRESSES.includes(event.key)) return;
      if (!event.repeat) levers.hold(event.code, joint.name, sign);
      event.preventDefault();
    });
    return push;
  }

  function end() {
    over = true;
    clearTimeout(timer);
    listening.abort();
    levers.clear();
    turning(false);
  }

  return {
    begin(host) {
      host.append(board());
      last = performance.now();
      tick();
    },
    end,
    course: () => course,
  };
}

export const depthWords = (step) => (step.above_target === null ? SAY.beyond : cutWord(step.above_target));
