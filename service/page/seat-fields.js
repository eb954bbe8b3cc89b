// Fields of a slip: each is an element with a value that is read, and what is wrong with it, in words.

import { button, made } from "./elements.js";
import { numberFrom } from "./numbers.js";
import { book } from "./seat-book.js";
import { leaf } from "./seat-leaf.js";
import { following } from "./seat-stream.js";
import { WORDS } from "./seat-words.js";

let made_ = 0;

/** One of several, as buttons to touch; `choices`: [value, words]. */
export function choice(label, choices, value) {
  made_ += 1;
  const name = `choice-${made_}`;
  const root = made("fieldset", { className: "choices" }, made("legend", { textContent: label }));
  for (const [each, words] of choices) {
    const input = made("input", { type: "radio", name, value: each, checked: each === value });
    root.append(made("label", {}, input, made("span", { textContent: words })));
  }
  const read = () => root.querySelector("input:checked")?.value ?? "";
  return { root, label, read, fault: () => (read() === "" ? WORDS.empty(label) : ""), mark() {} };
}

/** Text to be typed; `needed`: it may not be left empty. */
export function typed(label, { value = "", needed = true, mode = "text" } = {}) {
  const input = made("input", { type: "text", value, inputMode: mode, autocomplete: "off" });
  const root = made("label", { textContent: label }, input);
  const read = () => input.value.trim();
  const fault = () => {
    const wrong = needed && read() === "";
    mark(wrong);
    return wrong ? WORDS.empty(label) : "";
  };
  const mark = (wrong) => input.setAttribute("aria-invalid", String(wrong));
  return { root, label, read, fault, mark };
}

/** A length or number as the service takes it: a number where it is one, else the text, which the service judges. */
export function measured(text) {
  return numberFrom(text) ?? text;
}

/** A length of the job: feet and inches are text, whatever they look like. */
export const lengthOf = (text) => (book.job.units === "ftin" ? text : measured(text));

/** A known point of the job. */
export const pointField = (label) => choice(label, book.job.points.map((each) => [each.name, `${each.name}, ${each.elevation.shown}`]), book.job.points[0]?.name);

// Which point of the bucket rests there, by the service's own name: of the line that is read when the slip is opened, whatever is
// chosen under it afterwards.
export const line = () => following()?.line ?? "edge";
const edgePoint = (edge, of) => (of === "teeth" ? `tooth_${edge}` : edge);
const edgesOf = (of) => Object.entries(WORDS.edges(of)).map(([edge, words]) => [edgePoint(edge, of), words]);
export const EDGES = Object.fromEntries([...edgesOf("edge"), ...edgesOf("teeth")]);
export const edgeField = () => choice(WORDS.fields.edge, edgesOf(line()), edgePoint(leaf.point, line()));

// By the service's name of what a field says, where that is another than the field's own.
const NAMES = {
  edge_point: "edge", revolutions_per_s: "turns", fall_percent: "fall", along_percent: "along", across_percent: "across",
  floor_limit_below: "floor", plane_reading: "plane", seq: "entry",
};

/** The field of `fields` that a refusal's pointer into the request means; undefined for none of them. */
export function fieldOf(fields, pointer) {
  const [first, second, third] = pointer.split("/").slice(1);
  if (first === "place_mm") return fields["xyz"[second]];
  const found = fields[first === "level" ? second : NAMES[first] ?? first];
  return found?.part === undefined ? found : found.part(Number(second), third);
}

/** Layers of a depth, one row each. */
export function layers() {
  const rows = [];
  const root = made("div", { className: "layers" });
  const add = () => {
    const row = [typed(`${WORDS.fields.layer} ${rows.length + 1}`), typed(WORDS.fields.thickness, { mode: "decimal" })];
    rows.push(row);
    root.insertBefore(made("div", { className: "layer" }, ...row.map((each) => each.root)), more);
  };
  const more = button(WORDS.fields.another, () => {
    add();
    root.dispatchEvent(new Event("input", { bubbles: true }));
  });
  root.append(more);
  add();
  return {
    root,
    read: () => rows.map(([name, thickness]) => ({ name: name.read(), thickness: thickness.read() })),
    part: (row, key) => rows[row]?.[key === "name" ? 0 : 1],
    fault: () => rows.flat().map((each) => each.fault()).filter((each) => each !== "").join(" "),
  };
}
