"""Which posture to touch in next: of those that the joints allow the one after which the least known direction is known
best."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arm import Pose, pose
from .arm_plane import HELD, floor_roots, hold
from .calibration_checks import checked, unknown_faults
from .calibration_fit import Fitter
from .calibration_model import Model
from .calibration_separable import spectrum
from .calibration_words import proposed
from .errors import Fault, Refused, refuse
from .parameters import BUCKET_POINTS
from .reach import candidates, past_range
from .sensing import angles_from, readings_of
from .sensor_set import LEAN, SensorSet
from .sources import Sources
from .touched import POINTS_TOUCHED, HeightSeen, Seen

Floats = NDArray[np.float64]
Angles = Mapping[str, float]
APART_RAD = math.radians(8.0)
"""Postures that differ by less in every angle tell much the same."""
FAINT = 0.1
"""What the profile knows counts as if it knew each value ten times worse: enough that nothing is unknown without end."""
_ROOM_RAD = math.radians(2.0)  # off the ends of the joints' ranges
_REACHES, _STICKS, _FLOORS_DEG = 14, 15, (-50.0, -25.0, 0.0, 25.0, 50.0, 75.0)
_RECEIVERS = 11
_DEEP_M, _HIGH_M, _LEVELS = -3.0, 2.5, 6  # from the ground, for a rod
_USUAL_GROUND_M = -1.5  # where the profile does not say how high the boom foot stands
_ALIKE_M = 0.002
_BURIED_M = 0.02
_MOST = 240
_CONTACT_M = 0.003
_WORTH, _NOTHING = 0.999, 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Proposed:
    """A posture that would help. `angles` (rad) as `arm.pose` takes them; `height`, `reach` (m) of `point` in the level
    frame there. `weakest`: the unknown that most belongs to the least known direction; `before`, `after`: its standard
    uncertainty (rad or m) by what was seen, and with this touch and those before it besides (and a `FAINT` profile: an
    unknown that nothing shows has ten times the profile's).
    """

    angles: Angles
    point: str
    group: str
    height: float
    reach: float
    weakest: str
    before: float
    after: float
    words: str


def next_posture(
    sensors: SensorSet, sources: Sources, unknowns: Sequence[str], seen: Sequence[Seen], *, group: str | None = None,
    point: str = "centre", free: bool = False, count: int = 3, lean: tuple[float, float] = (0.0, 0.0),
) -> tuple[Proposed, ...]:  # fmt: skip
    """Up to `count` postures, best first, each for when those before it are touched too; none where none would help.

    `group`: whose height it will be compared with, the last one's where None, or a new one. `free`: True where the height
    may be any, as under a rod; else the point is where that group's is, and at first on the ground. Lean, swing, tilt and
    rotation stay as in the last observation, before it `lean` (pitch, roll rad), no swing, and square. Best: the largest
    eigenvalue of the covariance in the profile's own standard uncertainties becomes least (E-optimal design). Every joint
    stays 2 deg off its ends, and the heel above the edge on a point. With nothing seen, the first is one to begin with.
    Raises `Refused` as `calibration_separable.separable`, "no-such-point", "out-of-range" of a count.
    """
    faults = unknown_faults(sensors, unknowns)
    if point not in POINTS_TOUCHED or math.isnan(float(sensors.assembly.parameters[f"{point}_x"][0])):
        faults.append(Fault("no-such-point", "point", repr(str(point)[:60]), "a point that this machine has"))
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= len(_FLOORS_DEG):
        faults.append(Fault("out-of-range", "count", repr(count), f"1 to {len(_FLOORS_DEG)}"))
    refuse(faults)
    plain = SensorSet(sensors.assembly, sensors.sensors, correlations=sensors.correlations)
    model = checked(sensors, sources, unknowns, seen, enough=False) if seen else None
    last = next((one.group for one in reversed(seen) if isinstance(one, HeightSeen)), "new")
    of = last if group is None else group
    held = _held(plain, model, lean)
    heights = _heights(plain, model, of, free=free)
    found = [each for each in _postures(plain, held, point, heights) if _far_enough(model, each)]
    found = [found[i] for i in np.unique(np.linspace(0, len(found) - 1, min(_MOST, len(found))).astype(int))]
    if not found:
        return ()
    kept = () if model is None else model.seen
    standard = next((one.standard for one in reversed(kept) if isinstance(one, HeightSeen)), _CONTACT_M)
    touches = [
        HeightSeen(f"next {i}", of, readings_of(plain, each), point, 0.0, standard)
        for i, each in enumerate(found)
    ]
    return _best(Model(plain, sources, unknowns, [*kept, *touches]), found, point, of, count)


def _held(plain: SensorSet, model: Model | None, lean: tuple[float, float]) -> dict[str, float]:
    """What stays as it is: lean, and the joints that are neither boom, stick nor bucket."""
    ranges = plain.assembly.ranges
    if model is not None:
        angles = model.angles(len(model.seen) - 1)
    else:
        middle = {name: min(max(0.0, span.low), span.high) for name, span in ranges.items()}
        angles = {"pitch": lean[0], "roll": lean[1]} | middle
    return {name: angle for name, angle in angles.items() if name not in ("boom", "stick", "bucket")}


def _heights(plain: SensorSet, model: Model | None, group: str, *, free: bool) -> Floats:
    """The heights (m over the body origin) at which the point may be."""
    foot = plain.assembly.machine.boom_foot_height
    ground = _USUAL_GROUND_M if foot is None else -foot
    if model is not None and not free:
        of = np.array([isinstance(one, HeightSeen) and one.group == group for one in model.seen])
        if of.any():
            return np.array([float((model.start.told - model.observed)[of].mean() + model.observed[of][-1])])
    return ground + np.linspace(_DEEP_M, _HIGH_M, _LEVELS) if free else np.array([ground])


def _postures(plain: SensorSet, held: Mapping[str, float], point: str, heights: Floats) -> Iterator[Pose]:
    fore = plain.assembly.ranges.get("fore_boom")
    spread = [None] if fore is None else np.linspace(fore.low + _ROOM_RAD, fore.high - _ROOM_RAD, 3).tolist()
    for angle in spread:
        here = dict(held) if angle is None else dict(held) | {"fore_boom": angle}
        joints = _on_bucket if point in BUCKET_POINTS else _on_stick
        for triple in joints(plain, here, point, heights):
            try:
                there = pose(plain.assembly, **here, **triple)
                angles_from(plain, readings_of(plain, there))
            except Refused:  # beyond what a sensor or a linkage can do
                continue
            if point == "receiver" or len(heights) > 1 or there.heel_clearance >= -_BURIED_M:
                yield there


def _on_bucket(
    plain: SensorSet, here: dict[str, float], point: str, heights: Floats
) -> Iterator[dict[str, float]]:
    swing, fore, tilt, rotate = (here.get(name) for name in HELD)
    pitch, roll = (here[name] for name in LEAN)
    held = hold(
        plain.assembly, pitch=pitch, roll=roll, swing_boom=swing, fore_boom=fore, tilt=tilt, rotate=rotate
    )
    at = held.on_hitch(point)
    bound = held.bound(at)
    reaches = np.linspace(0.2 * bound, bound, _REACHES)
    for floor in np.radians(_FLOORS_DEG).tolist():
        try:
            roots = floor_roots(held, floor)
        except Refused:
            continue
        for height in heights.tolist():
            joints, margin = candidates(held, at, roots, reaches, height)
            good = (margin >= 0.0) & (past_range(plain.assembly, joints) <= -_ROOM_RAD)
            for boom, stick, bucket in joints[:, good].T.tolist():
                yield {"boom": boom, "stick": stick, "bucket": bucket}


def _on_stick(
    plain: SensorSet, here: dict[str, float], point: str, heights: Floats
) -> Iterator[dict[str, float]]:
    """With the receiver at these heights: the boom by bisection for each stick."""
    ranges = plain.assembly.ranges
    bucket = 0.5 * (ranges["bucket"].low + ranges["bucket"].high)
    sticks = np.linspace(ranges["stick"].low + _ROOM_RAD, ranges["stick"].high - _ROOM_RAD, _STICKS)
    booms = np.linspace(ranges["boom"].low + _ROOM_RAD, ranges["boom"].high - _ROOM_RAD, _RECEIVERS)
    for stick in sticks.tolist():

        def off(boom: float, height: float, stick: float = stick) -> float:
            there = pose(plain.assembly, **here, boom=boom, stick=stick, bucket=bucket)
            return there.height(point) - height

        for height in heights.tolist():
            offs = [off(boom, height) for boom in booms.tolist()]
            for i in range(len(offs) - 1):
                if offs[i] * offs[i + 1] <= 0.0:
                    low, high = float(booms[i]), float(booms[i + 1])
                    while high - low > 1e-6:
                        middle = 0.5 * (low + high)
                        low, high = (middle, high) if off(middle, height) * offs[i] > 0.0 else (low, middle)
                    yield {"boom": low, "stick": stick, "bucket": bucket}


def _far_enough(model: Model | None, there: Pose) -> bool:
    return model is None or all(_unlike(there.q, q) for q in model.start.angles)


def _unlike(a: Floats, b: Floats) -> bool:
    return bool(np.abs(a - b).max() > APART_RAD)


def _best(model: Model, found: Sequence[Pose], point: str, group: str, count: int) -> tuple[Proposed, ...]:
    fitter, seen = Fitter(model), len(model.seen) - len(found)
    taken = [*range(seen)]
    told: list[Proposed] = []
    begun = any(isinstance(one, HeightSeen) and one.group == group for one in model.seen[:seen])
    open_to = {*range(len(found))}
    now = _covariance(fitter, taken)
    while open_to and len(told) < count:
        if not begun:  # the first of a group only says where it counts from
            reaches = np.array([there.level(point)[0] for there in found])
            best = int(np.argmin(np.abs(reaches - np.median(reaches))))
            begun, after = True, now
        else:
            each = {i: _covariance(fitter, [*taken, seen + i]) for i in sorted(open_to)}
            best = min(each, key=lambda i: (round(_largest(each[i]), 6), float(np.trace(each[i]))))
            after = each[best]
            if not np.trace(after) < _WORTH * np.trace(now):
                break
        told.append(_told(model, found[best], point, group, now, after))
        taken.append(seen + best)
        now = after
        open_to = {i for i in open_to if _unlike(found[i].q, found[best].q)}
    return tuple(told)


def _covariance(fitter: Fitter, taken: Sequence[int]) -> Floats:
    """(k, k), of the unknowns in their own standard uncertainties, by these observations and a `FAINT` profile."""
    k = len(fitter.model.unknowns)
    if not taken:
        return np.eye(k) / FAINT**2
    s, directions = spectrum(fitter, fitter.model.start.jacobian, np.array(taken))
    covariance: Floats = (directions.T / (FAINT**2 + s * s)) @ directions
    return covariance


def _largest(covariance: Floats) -> float:
    return float(np.linalg.eigvalsh(covariance)[-1])


def _told(model: Model, there: Pose, point: str, group: str, now: Floats, after: Floats) -> Proposed:
    _, directions = np.linalg.eigh(now)
    weakest = int(np.argmax(np.abs(directions[:, -1])))
    gained = np.diagonal(now) - np.diagonal(after)
    if gained[weakest] <= _NOTHING:  # out of reach of any touch: what is gained most instead
        weakest = int(np.argmax(gained))
    before, then = (float(model.own[weakest] * math.sqrt(each[weakest, weakest])) for each in (now, after))
    reach, _, height = there.level(point)
    name, length = model.unknowns[weakest], bool(model.lengths[weakest])
    joints = {
        joint: there.joint(joint) for joint in there.assembly.ranges if joint not in HELD[:1] + HELD[2:]
    }
    words = proposed(point, reach, height, there.floor_angle, joints, name, before, then, length=length)
    return Proposed(model.angles_of(there.q), point, group, height, reach, name, before, then, words)
