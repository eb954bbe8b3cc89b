// Cautions before the first readout of a session, and the rod check that is due. Both are kept in this page's session.

import { at, made } from "./elements.js";
import { WORDS } from "./seat-words.js";

const READ = "seat-cautions-read";
const ROD = "seat-rod-due";

/** Kept for this page alone; a browser that keeps nothing is asked every time. */
function kept(name) {
  try {
    return sessionStorage.getItem(name);
  } catch {
    return null;
  }
}

function keep(name, value) {
  try {
    sessionStorage.setItem(name, value);
  } catch { // then it is asked again
  }
}

/** Resolves once the list has been acknowledged in this session. */
export function read(job) {
  at("cautions").textContent = WORDS.cautions;
  of = `${ROD}:${job}`;
  rod = kept(of) ?? "";
  if (kept(READ) === job) return Promise.resolve();
  at("before-list").replaceChildren(...WORDS.before.map((textContent) => made("li", { textContent })));
  at("before-done").textContent = WORDS.understood;
  at("before").hidden = false;
  at("before-name").focus();
  return new Promise((done) => {
    at("before-done").addEventListener("click", () => {
      at("before").hidden = true;
      keep(READ, job);
      remind("start");
      done();
    }, { once: true });
  });
}

let of = ""; // the job's own
let rod = "";

/** Why a rod check is due: start, knock, concrete; "" when it is not. */
export const due = () => rod;

export function remind(why) {
  rod = why;
  keep(of, why);
}

export const tookRod = () => remind("");
