// A dig played again: one piece after another as its times say, or any place of it at once.

import { ask } from "./ask.js";
import { still, tell } from "./desk.js";
import { drawSoon, groundOf } from "./digging.js";
import { button, made } from "./elements.js";
import { scene } from "./stage.js";
import { room } from "./state.js";
import { SAY } from "./words.js";

const WAIT_MS = 15;
const FAST = 4;

/** {host, stop()} of the controls of a course; it stands at its end, with the ground left there. */
export function newReplay(exercise, course, endHeights) {
  const count = course.t_s.length;
  const slider = made("input", { type: "range", id: "replay-at", min: "0", max: String(count - 1), step: "1" });
  const clock = made("output", {});
  let place = count - 1;
  let heights = endHeights;
  let inPass = false; // only counts passes, which a replay does not tell
  let turn = 0; // of whoever moves it; an answer to an earlier one comes too late

  const angles = (i) => Object.fromEntries(Object.entries(course.angles_deg).map(([joint, all]) => [joint, all[i]]));
  const pair = () => ({ machine: room.machine, attachment: room.attachment, units: room.units, exercise: exercise.id });

  function show() {
    const seconds = SAY.seconds(course.t_s[place] - course.t_s[0]);
    slider.value = String(place);
    slider.setAttribute("aria-valuetext", seconds);
    clock.textContent = seconds;
    room.second.angles = angles(place);
    scene.ground = groundOf(exercise, heights);
    drawSoon();
  }

  /** Another place, its ground made anew from the beginning. */
  async function to(i) {
    const mine = ++turn;
    let ground = exercise.ground.heights_m;
    if (i > 0) {
      const part = Object.fromEntries(Object.entries(course.angles_deg).map(([joint, all]) => [joint, all.slice(0, i + 1)]));
      const answer = await ask("POST", "/v1/digs", { ...pair(), course: { t_s: course.t_s.slice(0, i + 1), angles_deg: part } });
      if (mine !== turn) return;
      if (answer === null || !answer.ok) {
        tell(answer);
        return;
      }
      ground = answer.told.ground.heights_m;
    }
    [place, heights, inPass] = [i, ground, false];
    show();
  }

  async function run(times) {
    if (place >= count - 1) await to(0);
    const mine = ++turn;
    const began = performance.now();
    const from = course.t_s[place];
    while (mine === turn && place < count - 1) {
      const due = from + ((performance.now() - began) / 1000) * times;
      if (course.t_s[place + 1] > due) {
        await new Promise((done) => { setTimeout(done, WAIT_MS); });
        continue;
      }
      const answer = await ask("POST", "/v1/dig-steps", {
        ...pair(), ground_heights_m: heights, in_pass: inPass, from_deg: angles(place), to_deg: angles(place + 1),
      });
      if (mine !== turn) return;
      if (answer === null || !answer.ok) {
        tell(answer);
        return;
      }
      ({ ground_heights_m: heights, in_pass: inPass } = answer.told);
      place += 1;
      show();
    }
  }

  const stop = () => { turn += 1; };
  const tenth = () => to(place >= count - 1 ? 0 : Math.min(count - 1, place + Math.ceil(count / 10)));
  const acts = still() ? [button(SAY.step, tenth)]
    : [button(SAY.replay, () => run(1)), button(SAY.replayFast, () => run(FAST)), button(SAY.pause, stop)];
  slider.addEventListener("change", () => to(Number(slider.value)));
  const host = made("div", { className: "way" }, ...acts, made("label", { htmlFor: "replay-at", textContent: SAY.replayAt }), slider, clock);
  host.setAttribute("role", "group");
  host.setAttribute("aria-label", SAY.replay);
  show();
  return { host, stop };
}
