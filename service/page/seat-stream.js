// The stream of readouts: follows it, begins again by itself, and says when what came last is no longer to be believed.
//
// A number is believed until its oldest reading is past its age limit by this page's own clock, its way here included
// (seat-clock.js), and no longer than SILENT_MS after its message. While nobody sees the page nothing is followed: what a browser kept for later is old.

import { ago, answered, forget, question } from "./seat-clock.js";

const TICK_MS = 100;
const CLOCK_MS = 2000;
export const SILENT_MS = 1500;
const LATE_MS = 1000;
const AGAIN_MS = [300, 600, 1000, 2000];
const RATE_HZ = 40;
const GIVE_UP_MS = 5000; // a connection on which nothing comes is begun anew: a network may be gone without a word

let asked = null; // {job, target, line, point}
let hear = { message() {}, blank() {}, closed() {} };
let socket = null;
let timer = 0;
let tries = 0;
let ticked = 0;
let arrived = 0; // when the last message came, by this page's clock; 0 when there is none to be believed
let bornMs = 0; // when its oldest reading was made, by the same clock
let heardAt = 0; // when this connection was begun, or something last came on it
let limitMs = SILENT_MS;
let clockAt = 0; // when the service's clock was last asked for
let limitOf = () => SILENT_MS;

/** `heard`: {message(told), blank(why), closed()}; `limit`: age limit in ms of a sensor by name. */
export function begin(heard, limit) {
  [hear, limitOf] = [heard, limit];
  ticked = performance.now();
  setInterval(tick, TICK_MS);
  document.addEventListener("visibilitychange", () => (document.hidden ? leave("away") : again("away")));
  window.addEventListener("pageshow", (event) => { if (event.persisted) again("away"); });
  // A network is gone; the service may be on this computer: it is tried, and again.
  window.addEventListener("offline", () => again("lost"));
  window.addEventListener("online", () => again("lost"));
}

/** Follow another job, target or line. */
export function follow(what) {
  asked = what;
  tries = 0;
  again("waiting");
}

/** Have the same number with advice for another of its points: what stands there goes on for as long as it may. */
export function turnPoint(point) {
  asked = { ...asked, point };
  if (socket === null) return;
  const old = socket;
  open();
  old.close();
}

export const following = () => asked;

function leave(why) {
  clearTimeout(timer);
  const old = socket;
  socket = null;
  if (old !== null) old.close();
  blank(why);
}

function again(why) {
  leave(why);
  if (asked !== null && !document.hidden) open();
}

function blank(why) {
  arrived = 0;
  hear.blank(why);
}

function open() {
  const { job, target, line, point } = asked;
  const query = new URLSearchParams({ rate_hz: String(RATE_HZ), line, edge_point: point });
  if (target !== null) query.set("target", target);
  const address = new URL(`/v1/jobs/${encodeURIComponent(job)}/readouts/live?${query}`, location.href);
  address.protocol = location.protocol === "https:" ? "wss:" : "ws:";
  const mine = new WebSocket(address);
  socket = mine;
  heardAt = performance.now();
  forget();
  mine.addEventListener("open", () => { if (mine === socket) askClock(performance.now()); });
  mine.addEventListener("message", (event) => { if (mine === socket) take(event.data); });
  mine.addEventListener("close", async () => {
    if (mine !== socket) return;
    socket = null;
    blank("lost");
    if (document.hidden) return;
    // Tried again while it is asked why: a service that has just started must not wait for an answer that does not come.
    timer = setTimeout(open, AGAIN_MS[Math.min(tries, AGAIN_MS.length - 1)]);
    tries += 1;
    if (!await hear.closed()) leave("lost");
  });
}

function askClock(now) {
  clockAt = now;
  socket.send(question(now));
}

function take(text) {
  const now = performance.now();
  if (now - ticked > SILENT_MS) { // this device slept: what its network kept for it is old
    ticked = now;
    again("away");
    return;
  }
  heardAt = now;
  const told = JSON.parse(text);
  if (told.clock !== undefined) answered(told, now);
  if (told.at_s === undefined || told.readout === undefined) return; // no message, or why this connection ends
  tries = 0;
  const since = ago(told.at_s, now);
  if (since !== null && since.least > LATE_MS) {
    again("late");
    return;
  }
  limitMs = limitOf(told.oldest);
  // Without a readout nothing gets old: the service's own reasons stand until something else comes, or nothing does.
  bornMs = Infinity;
  if (told.readout !== null) {
    if (since === null) return; // how old it is will be known with the answer of its clock
    const made = 1000 * (told.age_s ?? 0);
    bornMs = now - since.most - made;
    if (now - bornMs > limitMs) {
      blank(made > limitMs ? "old" : "late");
      return;
    }
    told.age_s = (now - bornMs) / 1000;
  }
  arrived = now;
  try {
    hear.message(told);
  } catch (error) {
    blank("broken"); // else what was shown before would stand on
    throw error;
  }
}

function tick() {
  const now = performance.now();
  const slept = now - ticked > SILENT_MS;
  ticked = now;
  if (slept && asked !== null) again("away");
  else if (socket !== null && now - heardAt > GIVE_UP_MS) again("silent");
  else if (arrived !== 0 && now - arrived > SILENT_MS) blank("silent");
  else if (arrived !== 0 && now - bornMs > limitMs) blank("old");
  if (socket?.readyState === WebSocket.OPEN && now - clockAt > CLOCK_MS) askClock(now);
}
