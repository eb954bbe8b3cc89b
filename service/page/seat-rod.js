// The rod check: a staff beside the edge, recorded with what tool and staff say; it changes no height.

import { book, targetOf } from "./seat-book.js";
import { tookRod } from "./seat-cautions.js";
import { choice, EDGES, edgeField, lengthOf, pointField, typed } from "./seat-fields.js";
import { open } from "./seat-slip.js";
import { following } from "./seat-stream.js";
import { WORDS } from "./seat-words.js";

const { fields: F, titles: T, says: S } = WORDS;
const length = (label, needed = true) => typed(label, { needed, mode: "decimal" });
const OF = { level: ["benchmark", "backsight", "foresight"], elevation: ["elevation"], plane: ["plane"] };

/** Ways that this job allows: from a known point there has to be one, from the plane a plane. */
function ways() {
  const all = Object.entries(WORDS.staffBy);
  return all.filter(([way]) => (way === "level" ? book.job.points.length > 0 : way !== "plane" || book.job.plane !== null));
}

/** A target is held against both where its height here is known. */
function against() {
  const target = targetOf(following()?.target ?? null);
  return target === null || !target.station_known ? {} : { target: target.name };
}

function staff({ way, benchmark, backsight, foresight, elevation, plane }) {
  if (way === "level") return { level: { benchmark, backsight: lengthOf(backsight), foresight: lengthOf(foresight) } };
  return way === "elevation" ? { elevation: lengthOf(elevation) } : { plane_reading: lengthOf(plane) };
}

export function rodCheck() {
  const [found, held] = [ways(), against()];
  open({
    title: T.rod, path: "/rod-checks", rests: true, told: WORDS.rodTold, done: tookRod,
    fields: {
      edge: edgeField(), way: choice(F.staffBy, found, found[0][0]), benchmark: pointField(F.backsightOn),
      backsight: length(F.backsight), foresight: length(F.foresight), elevation: length(F.staffElevation), plane: length(F.planeReading),
      uncertainty: length(F.staffUncertainty, false),
    },
    hidden: ({ way }) => Object.entries(OF).flatMap(([each, names]) => (each === way ? [] : names)),
    says: (values) => S.rod(values, EDGES),
    body: (values) => ({
      edge_point: values.edge, units: book.job.units, ...staff(values), ...held,
      ...(values.uncertainty === "" ? {} : { uncertainty: lengthOf(values.uncertainty) }),
    }),
  });
}
