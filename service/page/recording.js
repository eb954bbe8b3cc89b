// Keys of records, so that what is sent twice is written once.

const UNDECIDED = [429, 500, 502, 503, 504];

/** 128 random bits; browsers make identifiers by themselves only over https. */
export const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

/** Whether the service has decided: written, or refused. What was not answered, or by something between, may be on disk. */
export const decided = (answer) => answer !== null && !UNDECIDED.includes(answer.status);

/** Keys for the records of one form: a body keeps its key until it is decided, another body has another. */
export function newKeys() {
  const kept = new Map();
  return {
    of(body) {
      const told = JSON.stringify(body);
      if (!kept.has(told)) kept.set(told, newKey());
      return kept.get(told);
    },
    settle(body, answer) {
      if (decided(answer)) kept.delete(JSON.stringify(body));
    },
  };
}
