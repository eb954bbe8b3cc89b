// A record sent until it is decided, with one key: where its answer was lost it is asked again and written once.

import { ask, waitMs } from "./ask.js";
import { decided } from "./recording.js";

const AGAIN_MS = 1000;
const pause = (ms) => new Promise((done) => setTimeout(done, ms));

/** The answer, or null where asking was stopped before one. `told(tries)`: no answer so far; `stopped()`: asked no more. */
export async function send(path, body, key, told, stopped) {
  const headers = { "idempotency-key": key };
  for (let tries = 1; ; tries += 1) {
    const answer = await ask("POST", path, body, headers);
    if (decided(answer)) return answer;
    if (stopped()) return answer;
    told(tries);
    await pause(Math.max(AGAIN_MS, waitMs(answer)));
    if (stopped()) return answer;
  }
}
