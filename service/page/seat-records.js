// What can be written from the seat: each record's fields, what it will say, and what it sends.

import { atTheSeat, book } from "./seat-book.js";
import { at, button } from "./elements.js";
import { choice, EDGES, edgeField, lengthOf, line, measured, pointField, typed } from "./seat-fields.js";
import { rodCheck } from "./seat-rod.js";
import { setup } from "./seat-setup.js";
import { benchmark, target } from "./seat-sheet.js";
import { close, offer, open } from "./seat-slip.js";
import { following } from "./seat-stream.js";
import { openUndo } from "./seat-undo.js";
import { WORDS } from "./seat-words.js";

const { fields: F, titles: T, says: S } = WORDS;
const AXES = ["x", "y", "z"];
const lacking = (title, words) => offer(title, words, []);

function touch() {
  if (book.job.machine === null) return offer(T.touch, WORDS.needs.machine, [[WORDS.others.setup, setup]]);
  if (book.job.points.length === 0) return offer(T.touch, WORDS.needs.points, [[WORDS.others.benchmark, benchmark]]);
  return open({
    title: T.touch, path: "/touches", rests: true, told: WORDS.reading,
    fields: {
      point: pointField(F.point),
      purpose: choice(F.purpose, Object.entries(WORDS.purposes), book.job.height === null ? "reference" : "check"),
      edge: edgeField(),
    },
    says: (values) => S.touch(values, EDGES),
    body: ({ point, purpose, edge }) => ({ point, purpose, edge_point: edge }),
  });
}

function turning() {
  return open({
    title: T.turning, path: "/turning-points", rests: true, told: WORDS.reading,
    fields: { name: typed(F.name), edge: edgeField() },
    says: (values) => S.turning(values, EDGES),
    body: ({ name, edge }) => ({ name, edge_point: edge }),
  });
}

const plain = (title, path, says) => () => open({ title, path, voids: true, fields: {}, says: () => says, body: () => ({}), told: () => "" });
const move = plain(T.move, "/moves", S.move);
const swing = plain(T.swing, "/swings", S.swing);

function check() {
  const { target } = following();
  if (target === null) return lacking(T.check, WORDS.needs.targets);
  const of = line();
  return open({
    title: T.check, path: "/checks", rests: true, fields: {}, told: WORDS.checked, says: () => S.check({ target, line: of }),
    body: () => ({ target, line: of, units: book.job.units }),
  });
}

function station() {
  const sloping = book.targets.filter((each) => each.along_percent !== 0 || each.across_percent !== 0);
  if (sloping.length === 0) return lacking(T.station, WORDS.needs.sloping);
  const { target } = following();
  const chosen = sloping.some((each) => each.name === target) ? target : sloping[0].name;
  return open({
    title: T.station, path: "/stations", rests: true, told: () => "",
    fields: { target: choice(F.target, sloping.map((each) => [each.name, each.name]), chosen), station: typed(F.station, { mode: "decimal" }), edge: edgeField() },
    says: (values) => S.station(values, EDGES, book.job.units),
    body: ({ target: name, station: distance, edge }) => ({ target: name, station: lengthOf(distance), edge_point: edge, units: book.job.units }),
  });
}

function laser() {
  const { laser: now } = book.job;
  return open({
    title: T.laser, path: "/laser-setups", voids: true, told: () => "",
    fields: {
      turns: typed(F.turns, { value: now === null ? "" : String(now.revolutions_per_s), mode: "decimal" }),
      fall: typed(F.fall, { value: now === null ? "" : String(now.fall_percent), mode: "decimal" }),
    },
    says: S.laser, body: ({ turns, fall }) => ({ revolutions_per_s: measured(turns), fall_percent: measured(fall) }),
  });
}

function clamp() {
  return open({
    title: T.clamp, path: "/receiver-clamps", voids: true, told: () => "",
    fields: {
      where: choice(F.clamp, Object.entries(WORDS.clamps), "profile"),
      ...Object.fromEntries(AXES.map((each) => [each, typed(F.axes[each], { mode: "decimal" })])),
    },
    hidden: ({ where }) => (where === "profile" ? AXES : []),
    says: S.clamp, body: (values) => (values.where === "profile" ? {} : { place_mm: AXES.map((each) => measured(values[each])) }),
  });
}

export const seat = () => open({
  title: T.seat, path: "/seats", fields: {}, body: () => ({}), told: () => "", says: () => S.seat(book.who.name, book.job.seat),
});

const MAIN = { touch, check, move, turning };
const OTHERS = { rod: rodCheck, station, laser, clamp, swing, benchmark, target, setup, seat, undo: () => openUndo(null) };

/** The bar of records; `reminders`: further buttons under More. */
export function makeBar(reminders) {
  const more = () => offer(WORDS.moreTitle, atTheSeat() ? "" : WORDS.elsewhere(book.job.seat), [
    ...Object.entries(OTHERS).map(([name, act]) => [WORDS.others[name], act]),
    ...reminders.map(([words, act]) => [words, () => { close(); act(); }]),
  ]);
  at("bar").replaceChildren(...Object.entries({ ...MAIN, more }).map(([name, act]) => {
    const found = button(WORDS.buttons[name], act);
    found.dataset.record = name;
    return found;
  }));
}

/** Why this caller records nothing, in place of the bar. */
export function noBar(words) {
  if (at("bar").textContent !== words) at("bar").textContent = words;
}
