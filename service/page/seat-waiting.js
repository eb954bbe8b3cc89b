// Under the number: what somebody else changed and waits for the seat, a floor limit that is passed, a rod check due.

import { atTheSeat, book, mayNot } from "./seat-book.js";
import { changes, seen } from "./seat-changed.js";
import { at, button, made } from "./elements.js";
import { due, tookRod } from "./seat-cautions.js";
import { rodCheck } from "./seat-rod.js";
import { offer, open } from "./seat-slip.js";
import { WORDS } from "./seat-words.js";

let shown = "";

function acknowledge(entries) {
  open({
    title: WORDS.titles.acknowledge, path: "/acknowledgements", fields: {}, told: () => "",
    says: () => WORDS.says.acknowledge(entries.map((each) => each.words)), body: () => ({ seqs: entries.map((each) => each.seq) }),
  });
}

function decline(entry) {
  open({
    title: WORDS.titles.decline, path: "/withdrawals", fields: {}, told: () => "", undoes: false,
    says: () => WORDS.says.decline(entry.words), body: () => ({ seq: entry.seq, reason: WORDS.declined }),
  });
}

/** Each of several by itself: what belongs together is easily torn apart so, which is why it is a step away. */
const oneByOne = (waiting) => offer(WORDS.oneByOne, "", waiting.flatMap((each) => [
  [`${WORDS.acknowledge}: ${each.words}`, () => acknowledge([each])], [`${WORDS.decline}: ${each.words}`, () => decline(each)],
]));

/** The floor limit's place is kept for as long as the line has one (`limit`, else null), so that passing it moves nothing. */
export function floor(below, limit) {
  const found = at("floor");
  found.hidden = !below && limit === null;
  found.dataset.passed = below ? "yes" : "";
  const words = below ? WORDS.floor : limit === null ? "" : WORDS.floorAt(limit.shown);
  if (found.textContent !== words) found.textContent = words;
}

/** Write the notices again where they differ; `take`: opens the slip that takes the seat. */
export function notice(take) {
  const { waiting, seat } = book.job;
  const may = mayNot() === "";
  const mine = may && atTheSeat() && seat !== null;
  const key = JSON.stringify([changes(), waiting, seat, may, mine, due()]);
  if (key === shown) return;
  shown = key;
  const lines = [];
  if (changes().length > 0) {
    const words = [...changes(), WORDS.atOnce(book.who, seat)].join(" ").trimEnd();
    lines.push(line(words, [
      button(WORDS.seen, () => {
        seen();
        notice(take);
      }), ...(may && seat === null && book.who.access !== "off" ? [button(WORDS.others.seat, take)] : []),
    ]));
  }
  if (waiting.length > 0) {
    const [first] = waiting;
    const words = waiting.length === 1 ? WORDS.waits(first) : WORDS.waitMany(waiting);
    const acts = waiting.length === 1
      ? [button(WORDS.acknowledge, () => acknowledge([first])), button(WORDS.decline, () => decline(first))]
      : [button(WORDS.acknowledgeAll, () => acknowledge(waiting)), button(WORDS.oneByOne, () => oneByOne(waiting))];
    lines.push(line(mine ? words : `${words} ${WORDS.notYours(seat)}`, mine ? acts : []));
  }
  if (due() !== "") {
    lines.push(line(WORDS.rod[due()], [...(may ? [button(WORDS.rodNow, rodCheck)] : []), button(WORDS.rodDone, () => {
      tookRod();
      notice(take);
    })]));
  }
  at("notices").replaceChildren(...lines);
}

function line(words, buttons) {
  return made("div", { className: "notice" }, made("p", { textContent: words }), ...buttons);
}
