// The error budget of a zone: asked with few fields, the service's map, and what would help in its words.

import { ask, PATIENCE_MS } from "./ask.js";
import { at, button, made } from "./elements.js";
import { numberFrom } from "./numbers.js";
import { addPart, field, hear, profilesOnRecord, say, select, table, tell, textInput } from "./shop-bench.js";
import { SAY, UNITS } from "./shop-words.js";

const panel = at("budget");
const NUMBERS = ["reach_low", "reach_high", "depth_low", "depth_high", "touch_reach", "touch_depth", "tolerance", "pitch", "roll", "floor"];
const LEVEL = { pitch: "0", roll: "0", floor: "0" }; // a level machine and a flat floor; said in the fields
let asked = 0;

async function open() {
  if (panel.childElementCount > 0) return;
  const profiles = await profilesOnRecord();
  if (profiles === null) return;
  const [machine, attachment] = profiles.map((options) => select([["", SAY.choose], ...options]));
  const units = select(UNITS, "m");
  const by = select(Object.entries(SAY.budgetBy), "");
  const inputs = new Map(NUMBERS.map((name) => [name, textInput({ value: LEVEL[name] ?? "" })]));
  const form = made("form", { noValidate: true }, made("div", { className: "fields" }, field("b-machine", SAY.pair.machine, "", machine), field("b-attachment", SAY.pair.attachment, "", attachment),
    field("b-units", SAY.units, "", units), field("b-by", SAY.budgetSensors, SAY.budgetSensorsHelp, by), ...[...inputs].map(([name, input]) => field(`b-${name}`, SAY.budgetFields[name], SAY.budgetHelp[name] ?? "", input))),
  made("button", { type: "submit", className: "plain", textContent: SAY.budgetAsk }));
  const length = (name) => {
    const text = inputs.get(name).value.trim();
    return units.value === "ftin" ? text : numberFrom(text) ?? text;
  };
  const degrees = (name) => numberFrom(inputs.get(name).value) ?? inputs.get(name).value.trim();
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const body = {
      machine: machine.value, attachment: attachment.value, units: units.value, attitude_deg: { pitch: degrees("pitch"), roll: degrees("roll") }, floor_angle_deg: degrees("floor"),
      zone: { reach: { low: length("reach_low"), high: length("reach_high") }, depth: { low: length("depth_low"), high: length("depth_high") }, columns: 60, rows: 40 },
      touch: { reach: length("touch_reach"), depth: length("touch_depth") },
      ...(inputs.get("tolerance").value.trim() === "" ? {} : { tolerance: length("tolerance") }), ...(by.value === "" ? {} : { by: by.value }),
    };
    find(body);
  });
  panel.replaceChildren(made("h2", { id: "budget-name", tabIndex: -1, textContent: SAY.budget }), made("p", { className: "lead", textContent: SAY.budgetLead }), form, made("div", { id: "map" }));
}

async function find(body) {
  const mine = asked += 1;
  const host = at("map");
  host.replaceChildren(made("p", { className: "hint", textContent: SAY.reckoning }));
  const [answer, drawing] = await Promise.all([ask("POST", "/v1/error-budgets", body), drawn(body)]);
  if (mine !== asked) return;
  host.replaceChildren();
  if (answer === null || !answer.ok) {
    tell(answer);
    return;
  }
  const { tolerance, worst, best, assumed, without_number: without } = answer.told;
  say(drawing === null ? SAY.noMap : "");
  const place = (cell) => `${SAY.at(cell.reach.shown, cell.depth?.shown ?? cell.height.shown)}`;
  const lines = (words) => made("ul", { className: "words" }, ...words.map((each) => made("li", { textContent: each })));
  host.replaceChildren(...(drawing === null ? [] : [made("figure", { className: "map drawn" }, drawing), keeping(drawing)]), made("h3", { tabIndex: -1, textContent: SAY.whatHelps }),
    lines([...(tolerance?.words ?? [SAY.noTolerance]), SAY.worst(place(worst), worst.standard_mm.toFixed(1)), SAY.best(place(best), best.standard_mm.toFixed(1)),
      ...Object.entries(without).filter(([, count]) => count > 0).map(([code, count]) => SAY.without(count, code.replaceAll("-", " ")))]),
    ...madeOf(worst), figures(answer.told.sensors), choosing(body, answer.told), ...(assumed.length === 0 ? [] : [made("h3", { textContent: SAY.assumed }), lines(assumed)]), made("p", { className: "hint", textContent: answer.told.advisory }));
  host.querySelector("h3").focus();
  hear(SAY.mapThere);
}

/** What one place's uncertainty is made of: by kind, and the largest single sources. */
function madeOf(cell) {
  const at_it = SAY.at(cell.reach.shown, cell.depth?.shown ?? cell.height.shown);
  const rows = (parts) => parts.map((each) => [each.part, `${each.standard_mm.toFixed(1)} mm`]);
  return [made("div", { className: "cells" }, table(SAY.partsOf(at_it), SAY.partColumns, rows(cell.parts)), table(SAY.sourcesOf(at_it), SAY.sourceColumns, rows(cell.sources)))];
}

/** Every sensor's figures as reckoned with, and as they would have to be. */
function figures(sensors) {
  const rows = Object.entries(sensors).flatMap(([name, own]) => own.map(({ figure, now, needed }) => [`${name}: ${figure.replaceAll("_", " ")}`, String(Number(now.toPrecision(3))), needed === null ? SAY.none : String(Number(needed.toPrecision(3)))]));
  return made("details", {}, made("summary", { textContent: SAY.figures }), table(SAY.figures, SAY.figureColumns, rows));
}

/** Any place of the map, by its own reaches and depths, told in full. */
function choosing(body, told) {
  const [reach, down] = [told.reach_shown, told.down_shown].map((list) => select(list.map((words, i) => [String(i), words])));
  const shown = made("div", { id: "one-place" });
  const ask_it = button(SAY.placeAsk, async () => {
    const mine = asked;
    const answer = await ask("POST", "/v1/error-budgets", { ...body, cell: { row: Number(down.value), column: Number(reach.value) } });
    if (mine !== asked) return;
    if (answer === null || !answer.ok) {
      shown.replaceChildren();
      tell(answer);
      return;
    }
    say("");
    const { cell } = answer.told;
    shown.replaceChildren(made("p", { className: "verdict", tabIndex: -1, textContent: SAY.thisPlace(SAY.at(cell.reach.shown, cell.depth?.shown ?? cell.height.shown), cell.standard_mm.toFixed(1), cell.within_95_mm.toFixed(1)) }), ...madeOf(cell));
    shown.querySelector(".verdict").focus();
  });
  return made("fieldset", { className: "group" }, made("legend", { textContent: SAY.onePlace }), made("div", { className: "fields" }, field("b-at-reach", SAY.atReach, "", reach), field("b-at-down", told.depth_m === null ? SAY.atHeight : SAY.atDepth, "", down)), ask_it, shown);
}

/** The map as a file: on a phone its figures are small. */
const keeping = (drawing) => made("a", { className: "alone", download: "error-budget.svg", textContent: SAY.downloadMap, href: URL.createObjectURL(new Blob([new XMLSerializer().serializeToString(drawing)], { type: "image/svg+xml" })) });

/** The map as an element, or null. A request of its own kind, since it alone makes a document without any markup sink. */
function drawn(body) {
  return new Promise((done) => {
    const request = new XMLHttpRequest();
    request.open("POST", "/v1/error-budgets");
    request.responseType = "document";
    request.timeout = PATIENCE_MS;
    request.setRequestHeader("content-type", "application/json");
    request.setRequestHeader("accept", "image/svg+xml");
    request.onload = () => {
      const root = request.status === 200 && request.responseXML ? request.responseXML.documentElement : null;
      done(root !== null && root.localName === "svg" ? document.importNode(root, true) : null);
    };
    request.onerror = request.ontimeout = request.onabort = () => done(null);
    request.send(JSON.stringify(body));
  });
}

addPart("budget", { open });
