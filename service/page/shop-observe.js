// One observation for a calibration: a touch, a staff reading, or a line held on a link, with what every sensor said.

import { button, made } from "./elements.js";
import { numberFrom } from "./numbers.js";
import { bench, draft, emptied, field, had, hear, safety, say, select, textInput } from "./shop-bench.js";
import { SAY } from "./shop-words.js";

const POINTS = ["centre", "left", "right", "tooth_centre", "tooth_left", "tooth_right"];
const LINKS = ["body", "boom", "fore_boom", "stick", "bucket", "bucket-edge"];
const KINDS = ["touch", "staff", "line"];
let safe = false; // whether the steps were ticked before the first line was held on a link

/** Sensors of a pair as the profiles name them: [name, how many numbers, unit]. */
export const sensorsOf = (...documents) => documents.flatMap((each) => Object.entries(each.sensors ?? {}))
  .map(([name, { measures }]) => [name, measures === "pitch-roll" ? 2 : 1, measures === "length" ? "mm" : "deg"]);

/** A form that gives one observation after the other to `add`: {kind, group, seen}. */
export function observing(sensors, units, add) {
  const kind = select(KINDS.map((each) => [each, SAY.observed[each]]), "touch");
  const about = made("div", { className: "fields" });
  const said = new Map(sensors.flatMap(([name, count, unit]) => Array.from({ length: count }, (_, i) => [`${name}.${i}`, [name, i, count, unit, draft(`said ${name} ${i}`, textInput({ inputMode: "text" }))]])));
  const fields = made("div", { className: "fields" }, ...[...said].map(([key, [name, i, count, unit, input]]) =>
    field(`said-${key}`, SAY.saidBy(name, count === 2 ? ["pitch", "roll"][i] : "", unit), "", input)));
  const now = button(SAY.takeNow, async () => {
    if (bench.job === "") {
      say(SAY.jobFirst);
      return;
    }
    const told = await had("GET", `/v1/jobs/${bench.job}/fitting/posture`);
    if (told === null) return;
    for (const [name, i, count, unit, input] of said.values()) {
      const value = told.said[name]?.[unit];
      input.value = value === undefined ? "" : String(count === 2 ? value[i] : value);
      input.dispatchEvent(new Event("input"));
    }
    hear(SAY.taken);
  });
  const wrong = made("p", { className: "fault" });
  const form = made("form", { id: "observation", noValidate: true }, field("observed", SAY.what, "", kind), about,
    made("h4", { textContent: SAY.saidName }), made("div", { className: "acts" }, now), fields, wrong,
    made("button", { type: "submit", className: "plain", textContent: SAY.add }));
  const inputs = new Map();
  const put = (name, label, help, input) => {
    inputs.set(name, draft(`${kind.value} ${name}`, input));
    return field(`of-${name}`, label, help, input);
  };
  const ask = () => {
    inputs.clear();
    about.replaceChildren(...(kind.value === "line" && !safe ? [safety(() => { safe = true; ask(); about.querySelector("input").focus(); })] : SHAPES[kind.value](put, units)));
  };
  kind.addEventListener("change", ask);
  ask();
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (inputs.size === 0) {
      wrong.textContent = SAY.stepsFirst;
      return;
    }
    const readings = readingsOf(said);
    const made_of = readings === null ? null : OBSERVED[kind.value](inputs);
    wrong.textContent = readings === null ? SAY.noReading : made_of === null ? SAY.notWhole : "";
    if (readings === null || made_of === null) return;
    add({ kind: kind.value, ...made_of, seen: { ...made_of.seen, readings } });
    for (const [,,,, input] of said.values()) emptied(input);
  });
  return form;
}

/** What every sensor said, null while one of the fields is no number. */
function readingsOf(said) {
  const found = {};
  for (const [name, i, count, unit, input] of said.values()) {
    const value = numberFrom(input.value);
    if (value === null) return null;
    if (count === 1) found[name] = { [unit]: value };
    else (found[name] ??= { [unit]: [] })[unit][i] = value;
  }
  return found;
}

const points = () => select(POINTS.map((each) => [each, SAY.points[each]]), "centre");

const SHAPES = {
  touch: (put) => [put("name", SAY.nail, SAY.nailHelp, textInput()), put("point", SAY.point, "", points())],
  staff: (put, units) => [
    put("name", SAY.staffName, SAY.staffHelp, textInput()), put("by", SAY.by, "", select(Object.entries(SAY.staffBy), "level")), put("point", SAY.point, "", points()),
    put("read", SAY.read(units), SAY.readHelp, textInput()),
  ],
  line: (put) => [
    put("name", SAY.lineName, "", textInput()), put("link", SAY.link, SAY.linkHelp, select(LINKS.map((each) => [each, SAY.links[each]]), "boom")),
    put("by", SAY.by, "", select(Object.entries(SAY.lineBy), "level")), put("axis", SAY.axis, SAY.axisHelp, select(Object.entries(SAY.axes), "")),
    put("inclination", SAY.inclination, SAY.inclinationHelp, textInput()), put("way", SAY.way, SAY.wayHelp, select(Object.entries(SAY.lineWays), "")),
    put("uncertainty", SAY.uncertaintyDeg, SAY.uncertaintyHelp, textInput()),
  ],
};

/** What the fields say, null while something is missing. What does not fit together the service says. */
const OBSERVED = {
  touch: (inputs) => named(inputs, { group: { edge_point: inputs.get("point").value }, seen: {} }),
  staff: (inputs) => {
    const read = inputs.get("read").value.trim();
    const by = inputs.get("by").value;
    if (read === "") return null;
    return named(inputs, { group: { by }, seen: { edge_point: inputs.get("point").value, [by === "level" ? "rod" : "elevation"]: numberFrom(read) ?? read } });
  },
  line: (inputs) => {
    const [link, by, axis, way] = ["link", "by", "axis", "way"].map((name) => inputs.get(name).value);
    const [inclination, uncertainty] = ["inclination", "uncertainty"].map((name) => inputs.get(name).value.trim());
    const seen = link === "bucket-edge" ? { link: "bucket", by, to_edge: true } : { link, by };
    if (axis !== "") seen.axis = axis;
    if (inclination !== "") seen.inclination_deg = numberFrom(inclination) ?? inclination;
    if (uncertainty !== "") seen.uncertainty_deg = numberFrom(uncertainty) ?? uncertainty;
    if (way !== "") seen[["ahead", "back"].includes(way) ? "ahead" : "below"] = ["ahead", "below"].includes(way);
    return named(inputs, { group: {}, seen });
  },
};

function named(inputs, told) {
  const name = inputs.get("name").value.trim();
  return name === "" ? null : { ...told, group: { name, ...told.group } };
}
