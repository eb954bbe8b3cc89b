// One sensor's zero by a level, a plumb line, half a turn: asked, shown with the profile's text, and put on record.

import { at, button, made } from "./elements.js";
import { numberFrom } from "./numbers.js";
import { addPart, bench, confirmed, draft, field, had, hear, jobField, safety, say, select, table, textInput } from "./shop-bench.js";
import { SAY } from "./shop-words.js";

const panel = at("zeros");
let postures = {}; // of half a turn: before, after
let safe = false;
let shown = 0;

async function open() {
  safe = false;
  const jobs = await had("GET", "/v1/jobs?limit=500");
  if (jobs === null) return;
  panel.replaceChildren(made("h2", { id: "zeros-name", tabIndex: -1, textContent: SAY.zeros }), made("p", { className: "lead", textContent: SAY.zerosLead }),
    jobField("z-job", jobs.jobs, chosen), made("div", { id: "zeroing" }));
  await chosen();
}

async function chosen() {
  const mine = shown += 1;
  const host = at("zeroing");
  host.replaceChildren();
  if (bench.job === "") return;
  const told = await had("GET", `/v1/jobs/${bench.job}/sensors`);
  if (told === null || mine !== shown) return;
  if (told.sensors.length === 0) {
    host.replaceChildren(made("p", { className: "said", textContent: told.no_sensors_because.join(" ") }));
    return;
  }
  const sensor = select(told.sensors.map((each) => [each.name, SAY.sensorAt(each.name, each.place, each.measures)]));
  const check = made("div", { id: "zero-check" });
  const now = () => checks(told.sensors.find((each) => each.name === sensor.value), check);
  sensor.addEventListener("change", now);
  host.replaceChildren(field("z-sensor", SAY.sensor, "", sensor), check, made("div", { id: "zeroed" }));
  now();
}

/** The checks that set the zero of such a sensor. */
function waysOf({ place, measures }) {
  if (measures === "angle") return ["joint"];
  if (measures === "length") return ["tape"];
  if (place === "body") return ["half-turn", "lean"];
  return place === "tilt" ? ["edge"] : ["level", "plumb-line"];
}

function checks(sensor, host) {
  const by = select(waysOf(sensor).map((each) => [each, SAY.zeroBy[each]]));
  const fields = made("div", { className: "fields" });
  const inputs = new Map();
  const put = (name, input, label = SAY.zeroFields[name]) => {
    inputs.set(name, draft(`${bench.job} ${sensor.name} ${by.value} ${name}`, input));
    return field(`z-${name}`, label, SAY.zeroHelp[name] ?? "", input);
  };
  const acts = made("div", {});
  const shape = () => {
    inputs.clear();
    postures = {};
    at("zeroed").replaceChildren();
    if (by.value !== "half-turn" && !safe) {
      acts.replaceChildren();
      fields.replaceChildren(safety(() => { safe = true; shape(); fields.querySelector("select,input").focus(); }));
      return;
    }
    const edge = sensor.place === "bucket" ? [put("to_edge", select(Object.entries(SAY.ofBucket), "false"))] : [];
    const uncertainty = () => put(by.value === "tape" ? "uncertainty_mm" : "uncertainty_deg", textInput());
    fields.replaceChildren(...{
      level: () => [put("inclination_deg", textInput()), put("ahead", select(Object.entries(SAY.aheads), "")), ...edge, uncertainty()],
      "plumb-line": () => [put("below", select(Object.entries(SAY.belows), "")), ...edge, uncertainty()],
      lean: () => [put("pitch_deg", textInput()), put("roll_deg", textInput()), uncertainty()],
      "half-turn": () => [...["before", "after"].map(posture), uncertainty()],
      edge: () => [put("inclination_deg", textInput(), SAY.edgeInclination), uncertainty()],
      joint: () => [put("angle_deg", textInput()), uncertainty()],
      tape: () => [put("length_mm", textInput()), uncertainty()],
    }[by.value]());
    acts.replaceChildren(button(SAY.findZero, () => find(sensor, by.value, inputs)));
  };
  by.addEventListener("change", shape);
  host.replaceChildren(field("z-by", SAY.by, "", by), fields, acts);
  shape();
}

/** A button that takes what all sensors say at rest, before or after the half turn. */
function posture(which) {
  const said = made("p", { className: "hint" });
  return made("div", { className: "field" }, button(SAY.turnTake[which], async () => {
    const told = await had("GET", `/v1/jobs/${bench.job}/fitting/posture`);
    if (told === null) return;
    postures[which] = told.said;
    said.textContent = SAY.turnTaken[which];
    hear(said.textContent);
  }), said);
}

async function find(sensor, by, inputs) {
  const check = { by };
  for (const [name, input] of inputs) {
    const text = input.value.trim();
    if (["ahead", "below", "to_edge"].includes(name)) {
      if (text !== "") check[name] = text === "true";
    } else if (text !== "") check[name] = numberFrom(text) ?? text;
  }
  if (by === "half-turn") {
    if (postures.before === undefined || postures.after === undefined) {
      say(SAY.bothPostures);
      return;
    }
    Object.assign(check, postures);
  }
  const told = await had("POST", `/v1/jobs/${bench.job}/fitting/zeros`, by === "half-turn" ? { check } : { sensor: sensor.name, check });
  if (told === null) {
    at("zeroed").replaceChildren();
    return;
  }
  const angle = (values, unit) => Object.entries(values).map(([name, value]) => `${name.replaceAll("_", " ")} ${value.toFixed(4)} ${unit}`).join(", ");
  const rows = told.zeros.map((each) => [each.sensor, angle(each.before, each.unit), angle(each.after, each.unit), `${each.uncertainty.toPrecision(2)} ${each.unit}`, each.doubts.join(" ")]);
  const texts = told.profiles.map((each) => made("details", {}, made("summary", { textContent: SAY.textOf(each.kind, each.id) }), made("pre", { tabIndex: 0, textContent: each.toml })));
  const save = async () => {
    const done = [];
    for (const each of told.profiles) {
      const kept = await had("POST", `/v1/${each.kind}s`, { toml: each.toml });
      if (kept === null) break; // what was put on record before is told all the same
      done.push(SAY.saved(kept.name, kept.id, kept.revision.slice(0, 12), kept.actor));
    }
    if (done.length === 0) return;
    const said = made("p", { className: "said", id: "zero-saved", tabIndex: -1, textContent: `${done.join(" ")} ${told.then}` });
    at("zeroed").append(said);
    said.focus();
  };
  at("zeroed").replaceChildren(made("h3", { tabIndex: -1, textContent: SAY.zeroFound }), table(SAY.zeroFound, SAY.zeroColumns, rows), ...texts, made("p", { className: "hint", textContent: told.caution }),
    confirmed(SAY.saveZero, SAY.saveZeroAsked, "measure", save));
  at("zeroed").querySelector("h3").focus();
}

addPart("zeros", { open });
