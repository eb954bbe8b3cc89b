// Taking back: the last own entries, withdrawn with a reason; nothing is deleted.

import { book, ownLatest, refresh } from "./seat-book.js";
import { choice, typed } from "./seat-fields.js";
import { offer, open } from "./seat-slip.js";
import { WORDS } from "./seat-words.js";

const SHOWN = 5;
const words = (seq) => WORDS.entry(seq, book.rows.get(seq));

/** A slip that withdraws one of the last own entries: `chosen`, which is never another in its place, or the last for null. */
export async function openUndo(chosen) {
  await refresh(); // what was written a moment ago is on the log, and perhaps not here
  const own = ownLatest().slice(0, SHOWN);
  const first = chosen === null ? own[0] : own.find((each) => each.seq === chosen);
  if (first === undefined) {
    offer(WORDS.titles.undo, WORDS.needs.own, []);
    return;
  }
  const reasonOf = ({ reason, own: typedReason }) => (typedReason === "" ? reason : typedReason);
  const reason = choice(WORDS.fields.reason, WORDS.reasons.map((each) => [each, each]));
  const ownReason = typed(WORDS.fields.own, { needed: false });
  open({
    title: WORDS.titles.undo, path: "/withdrawals", told: () => "", undoes: false, voids: true,
    fields: {
      entry: choice(book.who.access === "off" ? WORDS.fields.anyEntry : WORDS.fields.entry, own.map((each) => [String(each.seq), words(each.seq)]), String(first.seq)),
      // None is chosen beforehand: what nobody said would stand in the record. In words of one's own it need not be.
      reason: { ...reason, fault: () => (ownReason.read() === "" ? reason.fault() : "") },
      own: ownReason,
    },
    says: (values) => WORDS.says.undo({ entry: values.entry, reason: reasonOf(values) }, words(Number(values.entry))),
    body: (values) => ({ seq: Number(values.entry), reason: reasonOf(values) }),
  });
}
