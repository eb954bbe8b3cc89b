// Whether the service is there: asked now and then while the page is looked at, told when it goes and when it comes again.

import { ask } from "./ask.js";
import { at } from "./elements.js";
import { SAY } from "./shop-words.js";

const EVERY_MS = 5000;
const GONE_MS = 1000;
let gone = null; // since when

/** Asks for as long as the page is there; `again` is called with the answer once it is there again. */
export function feel(again) {
  const beat = async () => {
    if (!document.hidden) {
      const answer = await ask("GET", "/v1/sessions/current");
      if (answer === null) tellGone();
      else if (gone !== null) {
        at("link").textContent = SAY.again(clock(gone), clock(new Date()));
        gone = null;
        await again(answer);
      }
    }
    setTimeout(beat, gone === null ? EVERY_MS : GONE_MS);
  };
  setTimeout(beat, EVERY_MS);
}

function tellGone() {
  if (gone !== null) return;
  gone = new Date();
  at("link").textContent = SAY.gone(clock(gone));
}

/** What was told of a return is old once something else is done. */
export function calm() {
  if (gone === null) at("link").textContent = "";
}

const clock = (when) => when.toTimeString().slice(0, 8);
