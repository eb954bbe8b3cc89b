// The drawing beside the sheet: parts and pins by letters, and the one dimension that the field with the focus asks for.

import { made } from "./elements.js";
import { dimensionOf, SCENES } from "./shop-sketch-plan.js";
import { PINS, SAY } from "./shop-words.js";

const SVG = "http://www.w3.org/2000/svg";
const TICK = 7;

function drawn(tag, set, ...inside) {
  const found = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(set)) found.setAttribute(name, value);
  found.append(...inside);
  return found;
}

const less = ([a, b], [c, d]) => [a - c, b - d];
const more = ([a, b], [c, d], by = 1) => [a + by * c, b + by * d];
const unit = ([a, b]) => [a / Math.hypot(a, b), b / Math.hypot(a, b)];
const line = (kind, points) => drawn("polyline", { class: kind, points: points.map((each) => each.map((n) => n.toFixed(1)).join(",")).join(" ") });

/** A dimension line with a tick at each end. */
function measured(from, to) {
  const [a, b] = unit(less(to, from));
  const tick = (at) => line("dimension", [more(at, [-b, a], TICK), more(at, [-b, a], -TICK)]);
  return [line("dimension", [from, to]), tick(from), tick(to)];
}

/** Where a direction of the plan points: "+level" ahead, "+FS" on along the line from F to S, else to a pin. */
function towards(pins, at, name) {
  if (name === "+level") return [1, 0];
  return name.startsWith("+") ? unit(less(pins[name[2]], pins[name[1]])) : unit(less(pins[name], at));
}

function turned(pins, [pin, from, to]) {
  const at = pins[pin];
  const [one, other] = [from, to].map((name) => towards(pins, at, name));
  const [first, second] = [one, other].map((way) => more(at, way, 44));
  const left = one[0] * other[1] - one[1] * other[0] > 0 ? 1 : 0;
  const arc = drawn("path", { class: "dimension", d: `M${first.map((n) => n.toFixed(1)).join(" ")}A44 44 0 0 ${left} ${second.map((n) => n.toFixed(1)).join(" ")}` });
  return [line("help", [at, more(at, one, 60)]), line("help", [at, more(at, other, 60)]), arc];
}

/** The marks of a dimension: where it is to be taped. */
function dimension(pins, kind, named) {
  if (kind === "turn") return turned(pins, named);
  const at = named.map((name) => pins[name]);
  if (kind === "line") return measured(...at);
  if (kind === "level") return [line("help", [at[1], [at[1][0], at[0][1]]]), ...measured(at[0], [at[1][0], at[0][1]])];
  if (kind === "plumb") return [line("help", [at[0], [at[1][0], at[0][1]]]), ...measured([at[1][0], at[0][1]], at[1])];
  const [inner, outer, pin] = at;
  const along = unit(less(outer, inner));
  const far = along[0] * (pin[0] - inner[0]) + along[1] * (pin[1] - inner[1]);
  const foot = more(inner, along, far);
  const own = kind === "x" ? [inner, foot] : [foot, pin];
  const rest = kind === "x" ? [foot, pin] : [inner, foot];
  return [line("help", [inner, outer]), line("help", rest), ...measured(...own)];
}

/** A figure that shows one dimension after the other: `mark(kind, path, name, help, piece, where)`; `where`: of the plan. */
export function sketch() {
  const host = made("div", { className: "sketch" });
  const caption = made("figcaption", {});
  const legend = made("ul", { className: "pins" });
  const figure = made("figure", { id: "sketch" }, host, caption, legend, made("p", { className: "hint", textContent: SAY.notToScale }));
  const mark = (kind, path, name, help, piece, where = path) => {
    const found = path === "" ? null : dimensionOf(kind, where, piece);
    const [scene, how, ...named] = found ?? [kind === "machine" ? "side" : "bucket", ""];
    const { pins, lines } = SCENES[scene];
    const shape = found === null ? [] : dimension(pins, how, named);
    const own = new Set(named.flatMap((each) => each.startsWith("+") ? (each === "+level" ? [] : [each[1], each[2]]) : [each]));
    const words = Object.entries(PINS[scene]);
    const dots = words.map(([pin]) => drawn("circle", { class: own.has(pin) ? "pin own" : "pin", cx: pins[pin][0], cy: pins[pin][1], r: own.has(pin) ? 6 : 4, "data-pin": pin }));
    const letters = words.map(([pin]) => drawn("text", { class: own.has(pin) ? "own" : "", x: pins[pin][0] + 8, y: pins[pin][1] - 8 }, pin));
    const ground = scene === "side" ? [line("ground", [[20, 322], [470, 322]])] : [];
    const picture = drawn("svg", { viewBox: "0 0 480 360", role: "img", "aria-label": found === null ? SAY.sketchOf[scene] : SAY.marked(name) },
      ...ground, ...lines.map(([part, ...through]) => line(part, through.map((pin) => pins[pin]))), drawn("g", { class: "marked", "data-path": path }, ...shape), ...dots, ...letters);
    host.replaceChildren(picture);
    caption.replaceChildren(made("strong", { textContent: found === null ? SAY.sketchOf[scene] : name }), found === null ? "" : ` ${help}`);
    legend.replaceChildren(...words.map(([pin, what]) => made("li", { className: own.has(pin) ? "own" : "" }, made("b", { textContent: pin }), ` ${what}`)));
  };
  return { figure, mark };
}
