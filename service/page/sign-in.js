// The sign-in page: asks who is signed in, sends a token once, shows what comes back. All its words stand in the first
// part. Whatever the service says goes into the page as text, so that markup in a name is only odd to read.

import { ask, codeOf, inWords, isProblem } from "./ask.js";

const LENGTH = 78;
const WHOLE = /^tipdatum_[a-z2-7]{16}_[a-z2-7]{52}$/;
const NEW_ONE = "Or ask an administrator for a new one: tipdatum access.";

const WRONG_CLOCK = "The clock of the service's computer shows a time before this was given, so that nobody can tell whether it "
  + "has expired. Have that clock set right.";

const OF_TOKEN = new Map([
  ["bad-token", `This service does not know this token. Copy the whole of it again, as you were given it. ${NEW_ONE}`],
  ["expired-token", "This token has expired. Ask an administrator for a new one: tipdatum access rotate."],
  ["revoked-token", `This token was revoked, or a newer one took its place: use the newest. ${NEW_ONE}`],
  ["clock-set-back", `${WRONG_CLOCK} Then try again.`],
]);
const OF_SESSION = new Map([
  ["no-token", ""],
  ["bad-token", "What this browser kept is no session of this service. Sign in again; if this comes back, delete the "
    + "cookies of this address."],
  ["expired-token", "The session has ended: its time is over. Sign in again."],
  ["revoked-token", "The session has ended: it was signed out, or its token was revoked or replaced. Sign in again."],
  ["clock-set-back", `${WRONG_CLOCK} Then open this page again.`],
]);
const ROLES = new Map([
  ["viewer", "Viewer: reads everything and computes, records nothing"],
  ["operator", "Operator: reads, computes, and records on jobs"],
  ["builder", "Builder: reads, computes, and adds machines and attachments"],
  ["administrator", "Administrator: everything, on every machine, and sees who holds access"],
]);
const RECORDING = ["operator", "administrator"];
const WORDS = {
  empty: "The field is empty. Put the token into it.",
  cut: (found) => `This is no whole token: expected ${LENGTH} signs, tipdatum_ and small letters and digits without `
    + `blanks; found ${found} signs${found === LENGTH ? ", some of them others" : ""}. Copy it again. It was not sent.`,
  lost: "The token is good, but the browser did not keep the session. Allow cookies for this address, delete those it "
    + "has, and sign in again.",
  signedOut: "Signed out.",
  send: "Sign in",
  sending: "Signing in ...",
  leave: "Sign out",
  leaving: "Signing out ...",
  everyMachine: "Every machine",
  noMachine: "No machine: this needs the role of operator",
  noEnd: "No end is set",
};

const CURRENT = "/v1/sessions/current";
const at = (id) => document.getElementById(id);
const write = (id, text) => { at(id).textContent = text; };
let busy = false;

const isSession = (told) => told !== null && (told.access === "off" || (told.access === "on" && Array.isArray(told.roles)));

/** Show one section and none of the others; `move` puts the reader there, as after a button that is gone. */
function show(id, move) {
  for (const section of document.querySelectorAll("main section")) section.hidden = section.id !== id;
  const heading = at(id).querySelector("h1[tabindex]");
  if (move && heading !== null) heading.focus();
}

function forget() {
  at("token").value = "";
  at("show").checked = false;
  at("token").type = "password";
}

function complain(text) {
  write("said", "");
  write("problem", text);
  at("token").setAttribute("aria-invalid", "true");
  at("token").focus();
}

function offer(said, move) {
  write("problem", "");
  at("token").removeAttribute("aria-invalid");
  write("said", said);
  show("out", move);
}

function present(told, move) {
  if (told.access === "off") {
    show("off", move);
    return;
  }
  write("name", told.name);
  list("roles", told.roles.map((role) => ROLES.get(role) || role));
  const records = told.roles.some((role) => RECORDING.includes(role));
  const every = told.machines === null ? [WORDS.everyMachine] : told.machines;
  list("machines", records && every.length > 0 ? every : [WORDS.noMachine]);
  write("until", told.expires_utc === null ? WORDS.noEnd : clock(told.expires_utc));
  write("stuck", "");
  show("in", move);
}

/** One line each. */
function list(id, texts) {
  at(id).replaceChildren(...texts.map((text) => {
    const line = document.createElement("div");
    line.textContent = text;
    return line;
  }));
}

/** A time as the wall clock here has it, with its zone: "Friday, 5 June 2026 at 18:05 CEST". */
function clock(utc) {
  const when = new Date(utc);
  if (Number.isNaN(when.getTime())) return utc;
  return when.toLocaleString("en-GB", {
    weekday: "long", day: "numeric", month: "long", year: "numeric", hour: "2-digit", minute: "2-digit",
    timeZoneName: "short",
  });
}

/** Ask who is signed in and show it; `said` where nobody is, in place of why. */
async function look(move, said) {
  const answer = await ask("GET", CURRENT);
  if (answer !== null && answer.ok && isSession(answer.told)) {
    present(answer.told, move);
  } else if (answer !== null && answer.status === 401 && isProblem(answer.told)) {
    offer(said === undefined ? inWords(answer, OF_SESSION) : said, move);
  } else {
    show("trouble", false);
    write("trouble-words", inWords(answer, OF_SESSION));
  }
}

async function signIn() {
  const token = at("token").value.trim();
  if (!WHOLE.test(token)) {
    complain(token === "" ? WORDS.empty : WORDS.cut(token.length));
    return;
  }
  write("problem", "");
  const answer = await ask("POST", "/v1/sessions", { token });
  const code = codeOf(answer);
  if (answer !== null && answer.ok && isSession(answer.told)) {
    forget();
    await look(true, WORDS.lost);
  } else if (code === "access-off") {
    forget();
    await look(true);
  } else {
    if (OF_TOKEN.has(code)) forget(); // judged; whatever else happened, it may be sent again
    complain(inWords(answer, OF_TOKEN));
  }
}

async function signOut() {
  const answer = await ask("DELETE", CURRENT);
  if (answer !== null && (answer.ok || answer.status === 401)) {
    await look(true, WORDS.signedOut);
  } else {
    write("stuck", inWords(answer, OF_SESSION));
  }
}

/** Run one thing at a time; its button says so meanwhile. */
async function alone(id, meanwhile, usual, work) {
  if (busy) return;
  busy = true;
  at(id).setAttribute("aria-disabled", "true");
  write(id, meanwhile);
  try {
    await work();
  } finally {
    write(id, usual);
    at(id).removeAttribute("aria-disabled");
    busy = false;
  }
}

at("form").addEventListener("submit", (event) => {
  event.preventDefault(); // the browser itself sends nothing from here
  alone("send", WORDS.sending, WORDS.send, signIn);
});
at("show").addEventListener("change", () => { at("token").type = at("show").checked ? "text" : "password"; });
at("leave").addEventListener("click", () => alone("leave", WORDS.leaving, WORDS.leave, signOut));
at("again").addEventListener("click", () => look(true));
window.addEventListener("pagehide", forget);
// A page brought back, next morning or with the back button, must not show who was signed in then.
const lookAgain = () => { if (!busy && !at("in").hidden) look(false); };
window.addEventListener("pageshow", (event) => { if (event.persisted) lookAgain(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) lookAgain(); });
look(false);
