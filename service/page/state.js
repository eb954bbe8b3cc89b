// What the classroom shows, and the link that brings it back. A link that is not understood is told, never half used.

import { numberFrom } from "./numbers.js";
import { SAY, UNITS } from "./words.js";

/** Everything on screen; `kept`: the two poses while an exercise shows others. A pose: {angles (deg by joint), pitch, roll, point, origin, target}; lengths as typed, in `units`. */
export const room = {
  machine: "crawler-14t", attachment: "digging-1500", units: "m", stance: null,
  view: "side", look: "usual", drawn: "over", quantity: "elevation", mode: "free", lesson: "", step: 0,
  first: null, second: null, share: 100, kept: null,
};

const CHOICES = {
  view: ["side", "front"], look: ["usual", "whole", "bucket"], drawn: ["over", "beside"],
  quantity: ["elevation", "above_target", "reach", "lateral", "cross_slope"], units: UNITS.map(([name]) => name), mode: ["free", "lessons", "exercise"],
};
const ID = /^[a-z0-9][a-z0-9-]{0,63}$/;
const LEAN = ["pitch", "roll"];
export const MOST_LEAN = 10;
const MOST_LENGTH = 20;

/** The usual pose of a stance. */
export function usualPose(stance) {
  const angles = Object.fromEntries(stance.joints.map((joint) => [joint.name, joint.start_deg]));
  return {
    angles, pitch: 0, roll: 0, point: "centre", origin: stance.origin_elevation, target: stance.target_elevation,
  };
}

export const copyOf = (pose) => ({ ...pose, angles: { ...pose.angles } });

/** A pose as the service takes it. */
function sideOf(pose) {
  const side = {
    angles_deg: pose.angles, attitude_deg: { pitch: pose.pitch, roll: pose.roll }, edge_point: pose.point,
    origin_elevation: pose.origin,
  };
  return pose.target === null ? side : { ...side, target_elevation: pose.target };
}

/** A pose as a lesson gives it. */
export function poseOf(side) {
  const { pitch, roll } = side.attitude_deg;
  return {
    angles: { ...side.angles_deg }, pitch, roll, point: side.edge_point,
    origin: side.origin_elevation,
    target: side.target_elevation ?? null,
  };
}

/** Both angles and lean, so far along the way from one pose to another (0 to 1); what cannot be in between is the other's. */
export function between(one, other, share) {
  if (share >= 1) return other;
  const mixed = (a, b) => Number((a + share * (b - a)).toFixed(3));
  const angles = Object.fromEntries(Object.entries(other.angles).map(([joint, angle]) => [joint, mixed(one.angles[joint], angle)]));
  return { ...other, angles, pitch: mixed(one.pitch, other.pitch), roll: mixed(one.roll, other.roll) };
}

export const shown = () => between(room.first, room.second, room.share / 100);

/** The pair, units and poses for a request about both. */
export const asked = (...poses) => ({
  machine: room.machine, attachment: room.attachment, units: room.units, sides: poses.map(sideOf),
});

function poseText(pose) {
  const parts = Object.entries({ ...pose.angles, pitch: pose.pitch, roll: pose.roll }).map(([name, value]) => `${name}:${value}`);
  return [...parts, `point:${pose.point}`, `origin:${pose.origin}`, ...(pose.target === null ? [] : [`target:${pose.target}`])].join(",");
}

/** The fragment that brings back what is shown. */
export function linkOf() {
  const told = new URLSearchParams({ machine: room.machine, attachment: room.attachment, units: room.units });
  for (const [name, usual] of [["view", "side"], ["look", "usual"], ["drawn", "over"], ["quantity", "elevation"], ["mode", "free"]]) {
    if (room[name] !== usual) told.set(name, room[name]);
  }
  if (room.mode === "lessons" && room.lesson !== "") {
    told.set("lesson", room.lesson);
    told.set("step", String(room.step + 1));
  }
  const [first, second] = room.kept ?? [room.first, room.second];
  told.set("first", poseText(first));
  told.set("second", poseText(second));
  return `#${told}`;
}

/** {fields} of a fragment, or {fault} in words; null where there is none. Poses are read later, by `poseFrom`. */
export function readLink(fragment) {
  if (fragment.length < 2) return null;
  const fields = {};
  for (const [name, value] of new URLSearchParams(fragment.slice(1))) {
    if (name in fields) return { fault: `"${name}" stands twice` };
    const known = name in CHOICES ? CHOICES[name].includes(value)
      : ["machine", "attachment", "lesson"].includes(name) ? ID.test(value)
        : name === "step" ? /^[1-9][0-9]?$/.test(value)
          : ["first", "second"].includes(name);
    if (!known) return { fault: `"${name}" cannot be "${value.slice(0, 40)}"` };
    fields[name] = value;
  }
  for (const name of ["machine", "attachment", "units", "first", "second"]) {
    if (!(name in fields)) return { fault: `"${name}" is missing` };
  }
  return { fields };
}

/** {pose} that a link's text tells for a stance, or {fault}. */
export function poseFrom(text, stance) {
  const told = new Map();
  for (const part of text.split(",")) {
    const [name, value] = [part.slice(0, part.indexOf(":")), part.slice(part.indexOf(":") + 1)];
    if (told.has(name)) return { fault: `"${name}" of a pose stands twice` };
    told.set(name, value);
  }
  const pose = { angles: {}, point: told.get("point"), origin: lengthFrom(told.get("origin")), target: null };
  for (const { name, low_deg: low, high_deg: high } of stance.joints) {
    const angle = numberFrom(told.get(name));
    if (angle === null || angle < low || angle > high) return { fault: `"${name}" must be degrees from ${low} to ${high}` };
    pose.angles[name] = angle;
  }
  for (const name of LEAN) {
    const angle = numberFrom(told.get(name));
    if (angle === null || Math.abs(angle) > MOST_LEAN) return { fault: `"${name}" must be degrees, at most ${MOST_LEAN} either way` };
    pose[name] = angle;
  }
  if (!stance.edge_points.some((each) => each.name === pose.point)) return { fault: `"point" cannot be "${pose.point}"` };
  if (pose.origin === null) return { fault: '"origin" must be an elevation' };
  if (told.has("target")) {
    pose.target = lengthFrom(told.get("target"));
    if (pose.target === null) return { fault: '"target" must be an elevation' };
  }
  const known = [...stance.joints.map((each) => each.name), ...LEAN, "point", "origin", "target"];
  const strange = [...told.keys()].find((name) => !known.includes(name));
  return strange === undefined ? { pose } : { fault: `a pose of this machine has no "${strange}"` };
}

/** A length as the service reads it in the units of the room: a number, or text in feet and inches; else null. */
export function lengthFrom(text) {
  const trimmed = (text ?? "").trim();
  if (room.units !== "ftin") return numberFrom(trimmed);
  return trimmed !== "" && trimmed.length <= MOST_LENGTH ? trimmed : null;
}

export const linkFault = (what) => SAY.linkFaulty(what);
