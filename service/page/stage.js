// The drawing, as the service draws it, and the rings on it that turn a joint. A ring is a slider for hands and keys alike.

import { ask, PATIENCE_MS } from "./ask.js";
import { at } from "./elements.js";
import { asked, room, shown } from "./state.js";
import { SAY } from "./words.js";

const NARROWEST = 360;
const WIDEST = 2400;
const STEP_DEG = 0.5;
const LEAP_DEG = 5;

/** What besides the poses is drawn: ground; `alone`: the first pose is left out; `asking`: the view of a question not yet answered. */
export const scene = { ground: null, alone: false, asking: null };
// Seen from the front, figures tell heights and slope of the first pose as it stands; that is what such questions ask.
const mute = () => scene.asking === "front" || (scene.asking !== null && room.view === "front");
const places = new Map(); // pin or edge -> [x, y] on the sheet of the second pose, its pixels
let sheetWidth = NARROWEST;
let turnJoint = () => {};

const same = (one, other) => JSON.stringify({ ...one, target: 0 }) === JSON.stringify({ ...other, target: 0 });

function widthOf(figure) {
  const wide = figure.querySelector(".drawn").clientWidth || NARROWEST;
  return Math.min(WIDEST, Math.max(NARROWEST, Math.round(wide)));
}

/** What is seen now, or null where a pose was refused. */
async function windowNow(poses) {
  const { windows } = room.stance;
  if (room.view === "side" && room.look !== "bucket") return windows[room.look];
  const told = await Promise.all(poses.map((pose) => {
    const { sides: [side], ...pair } = asked(pose);
    return ask("POST", "/v1/poses", { ...pair, angles_deg: side.angles_deg, attitude_deg: side.attitude_deg });
  }));
  if (told.some((answer) => answer === null || !answer.ok)) return null;
  const front = room.view === "front";
  const middles = told.map(({ told: pose }) => {
    const [x, y, z] = front ? pose.points[room.second.point].level_m : pose.pins_body_m.bucket_pin;
    return front ? [-y, z] : [x, z];
  });
  const { left_m: left, right_m: right, bottom_m: bottom, top_m: top } = windows[front ? "front" : "bucket"];
  const [xs, zs] = [0, 1].map((axis) => middles.map((middle) => middle[axis]));
  return {
    left_m: Math.min(...xs) + left, right_m: Math.max(...xs) + right, bottom_m: Math.min(...zs) + bottom, top_m: Math.max(...zs) + top,
  };
}

/** Draw the room once; resolves to whether it could be drawn. */
export async function drawRoom() {
  const [first, second] = [at("first-sheet"), at("second-sheet")];
  const now = shown();
  const two = !scene.alone && !same(room.first, now);
  const beside = !scene.alone && room.drawn === "beside";
  first.hidden = !beside;
  const window = await windowNow(scene.alone ? [now] : [room.first, now]);
  if (window === null) return false;
  const body = (poses, figure) => ({
    ...asked(...poses), view: room.view, window: { ...window, words: !mute() }, width_px: widthOf(figure),
    ...(scene.ground !== null && room.view === "side" ? { ground: scene.ground } : {}),
  });
  const over = two && !beside ? [room.first, now] : [now];
  const [drawing, other] = await Promise.all([
    askDrawing(body(over, second)), beside ? askDrawing(body([room.first], first)) : null,
  ]);
  if (drawing === null || (beside && other === null)) return false;
  put(second, drawing);
  if (beside) put(first, other);
  readPlaces(drawing, over.length - 1);
  placeRings();
  at("outside").hidden = room.view !== "side" || room.look !== "usual" || [...places.values()].every(([x, y]) => inside(drawing, x, y));
  at("sheets").dataset.drawn = String(Number(at("sheets").dataset.drawn || "0") + 1);
  return true;
}

function put(figure, drawing) {
  // Two drawings stand on one page: what names each must be its own.
  const ids = ["pose-title", "pose-desc"];
  for (const id of ids) drawing.querySelector(`#${id}`).id = `${figure.id}-${id}`;
  drawing.setAttribute("aria-labelledby", ids.map((id) => `${figure.id}-${id}`).join(" "));
  figure.querySelector(".drawn").replaceChildren(drawing);
}

function inside(drawing, x, y) {
  const { width, height } = drawing.viewBox.baseVal;
  return x >= 0 && y >= 0 && x <= width && y <= height;
}

function readPlaces(drawing, which) {
  sheetWidth = drawing.viewBox.baseVal.width;
  places.clear();
  for (const mark of drawing.querySelectorAll(`circle[data-side="${which}"]`)) {
    const place = [Number(mark.getAttribute("cx")), Number(mark.getAttribute("cy"))];
    if (mark.dataset.pin !== undefined) places.set(mark.dataset.pin, place);
    else if (mark.dataset.point === room.second.point) places.set("edge", place);
  }
}

/** Make a ring for each joint that a side view shows turning; `turn(joint, degrees)` puts it so and tells where it stopped. */
export function makeRings(turn) {
  turnJoint = turn;
  at("handles").replaceChildren(...room.stance.joints.filter((joint) => joint.pin !== null).map(ringOf));
}

function ringOf(joint) {
  const ring = document.createElement("button");
  ring.type = "button";
  ring.className = "handle";
  ring.dataset.joint = joint.name;
  ring.setAttribute("role", "slider");
  ring.setAttribute("aria-label", SAY.ring(joint.words));
  ring.setAttribute("aria-valuemin", String(joint.low_deg));
  ring.setAttribute("aria-valuemax", String(joint.high_deg));
  const name = document.createElement("span");
  name.textContent = joint.words;
  name.setAttribute("aria-hidden", "true");
  ring.append(name);
  ring.addEventListener("pointerdown", (event) => startTurn(event, ring, joint));
  ring.addEventListener("keydown", (event) => {
    const angle = shown().angles[joint.name];
    const step = event.shiftKey ? LEAP_DEG : STEP_DEG;
    const to = {
      ArrowUp: angle + step, ArrowRight: angle + step, ArrowDown: angle - step, ArrowLeft: angle - step,
      PageUp: angle + LEAP_DEG, PageDown: angle - LEAP_DEG, Home: joint.low_deg, End: joint.high_deg,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    turnJoint(joint.name, to);
  });
  return ring;
}

/** Put every ring where its pin or edge is drawn; gone where the view does not show it. */
export function placeRings() {
  const scale = at("second-sheet").querySelector(".drawn").clientWidth / sheetWidth;
  for (const ring of at("handles").children) {
    const joint = room.stance.joints.find((each) => each.name === ring.dataset.joint);
    const place = room.view === "side" ? places.get(joint.taken_by) : undefined;
    ring.hidden = place === undefined || !places.has(joint.pin);
    if (ring.hidden) continue;
    ring.style.left = `${place[0] * scale}px`;
    ring.style.top = `${place[1] * scale}px`;
    const angle = shown().angles[joint.name];
    ring.setAttribute("aria-valuenow", angle.toFixed(1));
    ring.setAttribute("aria-valuetext", SAY.angle(angle));
  }
}

/** The pointer takes a ring: the joint turns as the pointer goes round its pin. */
function startTurn(event, ring, joint) {
  if (event.button !== 0) return;
  event.preventDefault();
  ring.focus();
  ring.setPointerCapture(event.pointerId);
  ring.classList.add("held");
  const box = at("second-sheet").querySelector(".drawn").getBoundingClientRect();
  const scale = box.width / sheetWidth;
  const [x, y] = places.get(joint.pin);
  const bearing = (moved) => Math.atan2(y - (moved.clientY - box.top) / scale, (moved.clientX - box.left) / scale - x);
  let last = bearing(event);
  let angle = shown().angles[joint.name];
  const follow = (moved) => {
    const now = bearing(moved);
    const turned = (((now - last) * 180) / Math.PI + 540) % 360 - 180;
    last = now;
    angle += turned;
    turnJoint(joint.name, angle);
  };
  const letGo = () => {
    ring.classList.remove("held");
    ring.removeEventListener("pointermove", follow);
    ring.removeEventListener("pointerup", letGo);
    ring.removeEventListener("pointercancel", letGo);
  };
  ring.addEventListener("pointermove", follow);
  ring.addEventListener("pointerup", letGo);
  ring.addEventListener("pointercancel", letGo);
}

/** The element of a drawing, or null. A request of its own kind, since it alone makes a document without any markup sink. */
function askDrawing(body) {
  return new Promise((done) => {
    const request = new XMLHttpRequest();
    request.open("POST", "/v1/drawings?format=svg");
    request.responseType = "document";
    request.overrideMimeType("image/svg+xml");
    request.timeout = PATIENCE_MS;
    request.setRequestHeader("content-type", "application/json");
    request.onload = () => {
      const root = request.status === 200 && request.responseXML ? request.responseXML.documentElement : null;
      done(root !== null && root.localName === "svg" ? document.importNode(root, true) : null);
    };
    request.onerror = request.ontimeout = request.onabort = () => done(null);
    request.send(JSON.stringify(body));
  });
}
