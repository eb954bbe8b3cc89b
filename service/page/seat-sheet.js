// What the office usually writes, and the seat may: known points and lines of the depth sheet.

import { book } from "./seat-book.js";
import { layers, lengthOf, measured, pointField, typed } from "./seat-fields.js";
import { offer, open } from "./seat-slip.js";
import { WORDS } from "./seat-words.js";

const { fields: F, titles: T, says: S } = WORDS;
const given = (name, text) => (text === "" ? {} : { [name]: lengthOf(text) });

export const benchmark = () => open({
  title: T.benchmark, path: "/benchmarks", told: () => "",
  fields: {
    name: typed(F.name), elevation: typed(F.elevation, { mode: "decimal" }), uncertainty: typed(F.known, { needed: false, mode: "decimal" }),
  },
  says: (values) => S.benchmark(values, book.job.units),
  body: ({ name, elevation, uncertainty }) => ({
    name, elevation: lengthOf(elevation), ...given("uncertainty", uncertainty), units: book.job.units,
  }),
});

export function target() {
  if (book.job.points.length === 0) return offer(T.target, WORDS.needs.points, [[WORDS.others.benchmark, benchmark]]);
  return open({
    title: T.target, path: "/targets", told: (told) => WORDS.sum(told.target),
    fields: {
      name: typed(F.name), benchmark: pointField(F.benchmark), layers: layers(),
      overdig: typed(F.overdig, { mode: "decimal" }), tolerance: typed(F.tolerance, { mode: "decimal" }),
      floor: typed(F.floor, { needed: false, mode: "decimal" }),
      along: typed(F.along, { value: "0", mode: "decimal" }), across: typed(F.across, { value: "0", mode: "decimal" }),
    },
    says: (values) => S.target(values, book.job.units),
    body: ({ name, benchmark: under, layers: each, overdig, tolerance, floor, along, across }) => ({
      name, benchmark: under, layers: each.map((layer) => ({ name: layer.name, thickness: lengthOf(layer.thickness) })),
      overdig: lengthOf(overdig), tolerance: lengthOf(tolerance), ...given("floor_limit_below", floor), along_percent: measured(along),
      across_percent: measured(across), units: book.job.units,
    }),
  });
}
