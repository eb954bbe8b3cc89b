// What every page asks of the service, and what it is told. Nothing here throws; whatever comes back is only data.

export const PATIENCE_MS = 20_000;
const SILENT = "The service does not answer. Is the network there, and is the service running? Then try again.";
const SLOW = "Too many tries from this address. Wait a minute, then try again.";

/** {ok, status, told, wait}, or null where nothing answers. `more`: further headers. */
export async function ask(method, path, body, more = {}) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  const content = body === undefined ? {} : { body: JSON.stringify(body) };
  const headers = body === undefined ? more : { "content-type": "application/json", ...more };
  try {
    const answer = await fetch(path, {
      method, cache: "no-store", credentials: "same-origin", redirect: "error", signal: stop.signal, headers, ...content,
    });
    const text = await answer.text();
    return { ok: answer.ok, status: answer.status, told: parsed(text), wait: answer.headers.get("retry-after") };
  } catch {
    return null;
  } finally {
    clearTimeout(timer);
  }
}

/** How long (ms) an answer asks to be waited for: seconds or a date (RFC 9110, 10.2.3); 0 where it does not say. */
export function waitMs(answer) {
  const told = answer?.wait ?? "";
  const wait = /^[0-9]+$/.test(told) ? 1000 * Number(told) : Date.parse(told) - Date.now();
  return Number.isFinite(wait) ? Math.max(0, wait) : 0;
}

function parsed(text) {
  try {
    const told = JSON.parse(text);
    return typeof told === "object" ? told : null;
  } catch {
    return null;
  }
}

export const isProblem = (told) => told !== null && Array.isArray(told.errors) && typeof told.title === "string";
export const codeOf = (answer) => answer !== null && isProblem(answer.told) && answer.told.errors.length > 0
  ? String(answer.told.errors[0].code) : "";

/** An answer that is none of those hoped for, in words; `known` by the code of its first fault. */
export function inWords(answer, known = new Map()) {
  if (answer === null) return SILENT;
  if (!isProblem(answer.told)) {
    return `Something else than the service answered (status ${answer.status}). Is this the right address? Then try again.`;
  }
  const code = codeOf(answer);
  if (known.has(code)) return known.get(code);
  if (answer.status === 429) {
    return /^[0-9]+$/.test(answer.wait || "") ? SLOW.replace("a minute", `${answer.wait} s`) : SLOW;
  }
  return `${answer.told.title}. ${answer.told.detail}`;
}
