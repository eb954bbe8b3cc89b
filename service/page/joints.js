// Joints and lean without the drawing: a slider, two buttons and a field each.

import { at, made } from "./elements.js";
import { numberFrom } from "./numbers.js";
import { MOST_LEAN, room, shown } from "./state.js";
import { SAY } from "./words.js";

const STEP_DEG = 0.5;
const BODY = [
  { name: "pitch", words: "body pitch", low_deg: -MOST_LEAN, high_deg: MOST_LEAN },
  { name: "roll", words: "body roll", low_deg: -MOST_LEAN, high_deg: MOST_LEAN },
];

export const axes = () => [...room.stance.joints, ...BODY];

/** A row for each joint of the stance, and for the lean; `turn(name, degrees)` as for the rings, `refuse(text)` of a field. */
export function makeJoints(turn, refuse) {
  at("joints").replaceChildren(...axes().map((axis) => {
    const row = made("div", { className: "joint" });
    row.dataset.axis = axis.name;
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", axis.words);
    const slider = made("input", {
      type: "range", id: `slide-${axis.name}`, step: "0.1", // in whole tenths; what lies beyond them can be typed
      min: (Math.ceil(10 * axis.low_deg) / 10).toFixed(1), max: (Math.floor(10 * axis.high_deg) / 10).toFixed(1),
    });
    const field = made("input", { type: "text", inputMode: "decimal", autocomplete: "off", className: "degrees" });
    field.setAttribute("aria-label", SAY.degrees(axis.words));
    const step = (sign, glyph, name) => {
      const button = made("button", { type: "button", className: "plain", textContent: glyph });
      button.setAttribute("aria-label", name(axis.words));
      button.addEventListener("click", () => turn(axis.name, valueOf(axis.name) + sign * STEP_DEG));
      return button;
    };
    slider.addEventListener("input", () => turn(axis.name, Number(slider.value)));
    field.addEventListener("change", () => {
      field.dataset.shown = field.value; // typed to its end: it may be written over again
      const degrees = numberFrom(field.value);
      const good = degrees !== null && degrees >= axis.low_deg && degrees <= axis.high_deg;
      field.setAttribute("aria-invalid", String(!good));
      if (good) turn(axis.name, degrees);
      else refuse(SAY.noNumber(field.value, axis.low_deg, axis.high_deg));
    });
    const label = made("label", { htmlFor: slider.id, textContent: axis.words });
    row.append(label, step(-1, "\u2212", SAY.less), slider, step(1, "+", SAY.more), field);
    return row;
  }));
}

const valueOf = (name) => shown().angles[name] ?? shown()[name];

/** Put the pose on screen into every row; a field that is being typed into is left alone. */
export function showJoints() {
  for (const row of at("joints").children) {
    const value = valueOf(row.dataset.axis);
    row.querySelector("input[type=range]").value = String(value);
    row.querySelector("input[type=range]").setAttribute("aria-valuetext", SAY.angle(value));
    const field = row.querySelector(".degrees");
    if (document.activeElement === field && field.value !== field.dataset.shown) continue; // somebody is typing
    if (document.activeElement === field && field.getAttribute("aria-invalid") === "true") continue;
    field.value = field.dataset.shown = String(Number(value.toFixed(2)));
    field.setAttribute("aria-invalid", "false");
  }
}

/** [what it can be, whether it stopped at an end] for degrees asked of an axis. */
export function withinRange(name, degrees) {
  const { low_deg: low, high_deg: high } = axes().find((axis) => axis.name === name);
  const held = Math.min(high, Math.max(low, Number(degrees.toFixed(2))));
  return [held, held !== Number(degrees.toFixed(2))];
}
