"""What one channel's change says of a move, if it came from a given sensor with a given trait.

A sensor that turns with the moved joint says how far that turned: spans of angles (rad), a point where it is linear, as
wide as the posture leaves open where a cylinder, a four-bar or a folded inclination stands between. One that does not
turn must have stood still. No mounting enters but to choose between the two branches of an inclination.
"""

import functools
import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from .assembly import Assembly
from .drives import cylinder_length, four_bar_from_bucket
from .errors import Refused
from .fitting_moves import BODY_MOVES, Moved
from .fitting_traits import Numbers, Trait
from .linkage import wrapped
from .machine import Point
from .sensing_gravity import (
    ARM_AXIS,
    across,
    felt,
    line_of,
    meeting,
    on_link,
    plumb_of,
    swung,
    turn_between,
    turned_by,
    turns_onto,
    whole,
)  # fmt: skip
from .sensor import ARM, Axes, Measure, Mounting, Sensor
from .sensor_set import LEAN, SensorSet, gives

SIGMAS = 4.0
"""A change that is off by more than this many standard deviations, beyond what is tolerated, does not fit. With the
floors below a body is believed to have stood still within 0.6 deg: tracks rock."""
CREEP_RAD, CREEP_SIGMA_RAD = math.radians(2.0), math.radians(0.5)
"""So far a joint that was held may sink in one move, oil leaks past, at no cost; the less the likelier."""
STEEP = 2.0  # so much further a tilt sensor turns with it, where the tilt axis is not level
FLOOR_RAD, BODY_FLOOR_RAD, FLOOR_M = math.radians(0.1), math.radians(0.15), 0.001
STUCK_SIGMAS, STUCK_FLOOR_RAD = 3.5, math.radians(0.02)
OF_TURN = 0.01
"""Of the turn, one standard deviation: scale of sensors, flex, a case somewhat askew."""
_UP = (0.0, 0.0, 1.0)
_STEEPEST = math.cos(math.radians(25.0))  # further over, no machine was fitted
_SLACK_RAD = math.radians(20.0)  # how far a mounting may be off and still choose an inclination's branch
_LEAST_RISE = 0.05
# A sine so little past 1 is noise at the vertical, further past it is no inclination.
PAST_ONE = 1.02
_SAMPLES = 61
_ASTRAY = math.radians(
    30.0
)  # beyond its joint, a tilt sensor shows an axis near plumb: then it shows no tilt
_LINKS = ("boom", "fore_boom", "stick", "bucket")
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Entry:
    """What one channel says of one move.

    `off`: by how many standard deviations it failed to stand still, beyond what is tolerated, 0 where it need not;
    `square`: of its whole misfit. `spans`: how far the joint turned (rad), any of them; None: nothing is said. `sigma`:
    of a span (rad). `creep`: how far off (rad) a span may be where a joint that was held has sunk.
    """

    off: float = 0.0
    square: float = 0.0
    spans: tuple[Span, ...] | None = None
    sigma: float = 1.0
    creep: float = 0.0


FREE = Entry()
IMPOSSIBLE = Entry(off=math.inf, square=math.inf)


@dataclass(slots=True)
class Changes:
    """All entries of some moves, found as they are asked for."""

    sensors: SensorSet
    moves: tuple[Moved, ...]
    raw: tuple[tuple[Mapping[str, Numbers], Mapping[str, Numbers]], ...]
    body_zeroed: bool = False
    _known: dict[tuple[str, Trait, int, Point], Entry] = field(init=False, default_factory=dict)
    _plumbs: dict[tuple[object, ...], Point] = field(init=False, default_factory=dict)

    def plumb(self, seats: Mapping[str, tuple[str, Trait]], move: int) -> Point:
        """Plumb in the arm's plane as the body's sensors and that of a swing boom have it, if they arrive so; level where
        they say what no machine does."""
        names = [*body_names(self.sensors)]
        swing = self.sensors.by_joint.get("swing_boom")
        key = (*((seats[name][0], seats[name][1]) for name in names), swing and seats[swing[0]], move)
        if key not in self._plumbs:
            said = {name: seats[name][1].cured(self.raw[move][0][seats[name][0]]) for name in names}
            n = body_plumb([(self.sensors.all[name], self.sensors.axes[name], said[name]) for name in names])
            if n is None or n[2] < _STEEPEST:
                n = _UP
            elif swing is not None:
                name, sensor = swing
                (turn,) = seats[name][1].cured(self.raw[move][0][seats[name][0]])
                n = swung(n, sensor.sign * turn - self.sensors.zeros[name])
            self._plumbs[key] = n
        return self._plumbs[key]

    def entry(self, channel: str, trait: Trait, move: int, plumb: Point) -> Entry:
        """What this channel says of this move if it is a sensor with this trait."""
        key = channel, trait, move, plumb
        if key not in self._known:
            self._known[key] = self._entry(channel, trait, move, plumb)
        return self._known[key]

    def _entry(self, channel: str, trait: Trait, move: int, plumb: Point) -> Entry:
        sensor, what = trait.sensor, self.moves[move].what
        raw = self.raw[move][0][channel], self.raw[move][1][channel]
        if trait.stuck:
            return _stuck(sensor, *raw)
        before, after = trait.cured(raw[0]), trait.cured(raw[1])
        how = self._how(sensor, what)
        if how == "free":
            return FREE
        if how in ("still", "lean"):
            slack = 0.0
            if how == "lean":  # a swinging boom takes its plane into the lean
                slack = 2.0 * max(across(_UP, plumb), math.radians(1.0))
            return _still(sensor, before, after, slack, self._creep(sensor, what))
        if not sensor.by_gravity:
            return self._direct(sensor, what, before[0], after[0])
        if sensor.place == "tilt":
            one, other = (_across(sensor, _signed(sensor, said)) for said in (before, after))
            level, reach = (
                _across(sensor, felt(sensor, _axes(sensor), _UP)),
                self.sensors.assembly.ranges["tilt"],
            )
            beyond = [
                v
                for v in (one, other)
                if not reach.low - _ASTRAY <= wrapped(v - level, 0.0) <= reach.high + _ASTRAY
            ]
            if beyond and trait.factor == 1.0:
                return FREE
            step = wrapped(other - one, 0.0)
            return self._by_slope(sensor, what, step, sigma_of(sensor), STEEP * CREEP_RAD)
        return self._turned(sensor, what, before, after, _UP if what in BODY_MOVES else plumb)

    def _how(self, sensor: Sensor, what: str) -> str:
        place = sensor.place
        if what in BODY_MOVES:
            if not sensor.by_gravity:
                return "still"
            return "turns" if place in ARM else "free"
        if not sensor.by_gravity:
            (joint,) = gives(sensor)
            return "turns" if joint == what else "still"
        if place == "tilt":
            # In a rotation too: where its axis stands steep a joint that sinks a little turns it far.
            return "turns" if what == "tilt" else "free"
        if place == "body" or what in ("tilt", "rotate"):
            return "still"
        if what == "swing_boom":
            return "lean"
        (joint,) = gives(sensor)
        return "turns" if _LINKS.index(what) <= _LINKS.index(joint) else "still"

    def _creep(self, sensor: Sensor, what: str) -> float:
        """How far what a sensor measures (rad or m) may change because one joint that was held has sunk."""
        if sensor.place == "body":
            return 0.0
        if not sensor.by_gravity:
            if sensor.place == what:
                return 0.0
            if sensor.measures == Measure.ANGLE and sensor.place != "idler":
                return CREEP_RAD
            (joint,) = gives(sensor)
            return 0.0 if joint == what else CREEP_RAD * self._steepest(sensor, joint)
        (joint,) = gives(sensor)
        inner = _LINKS[: _LINKS.index(joint) + 1]
        held = [one for one in inner if one in self.sensors.assembly.ranges and one != what]
        if sensor.place in ("idler", "power_link") and "bucket" in held:
            return CREEP_RAD * max(1.0, self._steepest(sensor, "bucket"))
        return CREEP_RAD if held else 0.0

    def _steepest(self, sensor: Sensor, joint: str) -> float:
        low, high = slopes(self.sensors.assembly, sensor, joint)
        return max(-low, high)

    def _direct(self, sensor: Sensor, what: str, before: float, after: float) -> Entry:
        step = sensor.sign * _step(sensor, before, after)
        if sensor.place == what and sensor.measures == Measure.ANGLE:
            return Entry(spans=((step, step),), sigma=sigma_of(sensor))
        return self._by_slope(sensor, what, step, sigma_of(sensor))

    def _by_slope(self, sensor: Sensor, what: str, step: float, sigma: float, creep: float = 0.0) -> Entry:
        """A step of what the sensor measures as the turns that may have made it: a mean slope is one of the slopes."""
        low, high = slopes(self.sensors.assembly, sensor, what)
        if low <= 0.0 <= high:  # either way, and near where it stands still by any amount
            least = min(abs(step) / max(-low, high, 1e-9), math.pi)
            most = max(-low, high, 1e-9)
            return Entry(spans=((-math.pi, -least), (least, math.pi)), sigma=sigma / most, creep=creep / most)
        ends = sorted((step / low, step / high))
        least = min(abs(low), abs(high))
        return Entry(spans=((ends[0], ends[1]),), sigma=sigma / least, creep=creep / least)

    def _turned(self, sensor: Sensor, what: str, before: Numbers, after: Numbers, plumb: Point) -> Entry:
        axes = _axes(sensor)
        one, other = (turns(sensor, axes, plumb, said) for said in (before, after))
        if one is None or other is None:
            return IMPOSSIBLE
        if len(one) > 1 or len(other) > 1:
            reach = cumulated(self.sensors, sensor.place)
            one, other = _within(one, reach), _within(other, reach)
        sigma = sigma_of(sensor) / min(_rise(sensor, before), _rise(sensor, after))
        creep = self._creep(sensor, what)
        steps = sorted({wrapped(b - a, 0.0) for a in one for b in other})
        off = 0.0
        if sensor.measures == Measure.PITCH_ROLL and what not in BODY_MOVES:
            aside = [plumb_of(*_signed(sensor, said)) for said in (before, after)]
            y = axes[0][1], axes[1][1], axes[2][1]
            off = abs(sum(c * (b - a) for c, a, b in zip(y, *aside, strict=True))) / sigma_of(sensor)
        if what == "bucket" and sensor.place in ("idler", "power_link"):
            entries = [self._by_slope(sensor, what, step, sigma, creep) for step in steps]
            spans = tuple(span for entry in entries for span in entry.spans or ())
            return Entry(off, off * off, spans, *max((entry.sigma, entry.creep) for entry in entries))
        return Entry(off, off * off, tuple((step, step) for step in steps), sigma, creep)


def sigma_of(sensor: Sensor) -> float:
    """One standard deviation (rad or m) of a change that a sensor reads."""
    if sensor.unit == "m":
        return math.hypot(math.sqrt(2.0) * sensor.noise, FLOOR_M)
    return math.hypot(math.sqrt(2.0) * sensor.noise, BODY_FLOOR_RAD if sensor.place == "body" else FLOOR_RAD)


def _step(sensor: Sensor, before: float, after: float) -> float:
    return after - before if sensor.unit == "m" else wrapped(after - before, 0.0)


def _still(sensor: Sensor, before: Numbers, after: Numbers, slack: float, creep: float) -> Entry:
    """Of a sensor whose link should have stood still; of a pair on the arm plumb itself, whose roll runs about where the
    pitch comes to a right angle."""
    if len(before) > 1 and sensor.place != "body":
        one, other = (plumb_of(*_signed(sensor, said)) for said in (before, after))
        worst = 2.0 * math.asin(min(0.5 * math.dist(one, other), 1.0))
    else:
        worst = max(abs(_step(sensor, a, b)) for a, b in zip(before, after, strict=True))
    worst, sigma = max(worst - slack, 0.0), sigma_of(sensor)
    soft = math.hypot(sigma, creep * CREEP_SIGMA_RAD / CREEP_RAD)
    return Entry(max(worst - creep, 0.0) / sigma, (worst / soft) ** 2)


def _stuck(sensor: Sensor, before: Numbers, after: Numbers) -> Entry:
    """Stuck is stiller than still: its noise alone may show. Scaled so that `SIGMAS` is the limit here too."""
    floor = STUCK_FLOOR_RAD if sensor.unit == "rad" else 0.0
    sigma = math.hypot(math.sqrt(2.0) * sensor.noise, floor) * STUCK_SIGMAS / SIGMAS
    off = max(abs(_step(sensor, a, b)) for a, b in zip(before, after, strict=True)) / sigma
    return Entry(off, off * off)


def _signed(sensor: Sensor, said: Numbers) -> Numbers:
    if sensor.side_sign is None:
        return (sensor.sign * said[0],)
    return sensor.sign * said[0], sensor.side_sign * said[1]


@functools.lru_cache(maxsize=256)
def _axes(sensor: Sensor) -> Axes:
    assert isinstance(sensor.mounting, Mounting)  # noqa: S101  of a sensor of gravity: proven by Sensor
    return sensor.mounting.axes()


def turns(sensor: Sensor, axes: Axes, plumb: Point, said: Numbers) -> tuple[float, ...] | None:
    """In-plane angles (rad) that a link of the arm may have by what its sensor of gravity says; None: no angle has it."""
    signed = _signed(sensor, said)
    if sensor.measures == Measure.PITCH_ROLL:
        return (turn_between(ARM_AXIS, whole(axes, *signed), plumb),)
    w, c, half = line_of(sensor, axes, signed[0])
    if abs(signed[0]) > 0.5 * math.pi and sensor.measures == Measure.INCLINATION:
        return None
    sine, found = turns_onto(ARM_AXIS, plumb, (w, c, half))
    if not found:
        if not abs(sine) <= PAST_ONE:
            return None
        # At the vertical, but for noise: both branches meet there.
        _, found = turns_onto(ARM_AXIS, plumb, (w, c / abs(sine) * (1.0 - 1e-12), half))
    if sensor.branch is not None and len(found) > 1:
        return (found[0] if sensor.branch > 0 else found[1],)
    return found or None


def _rise(sensor: Sensor, said: Numbers) -> float:
    return max(math.cos(said[0]), _LEAST_RISE) if sensor.measures == Measure.INCLINATION else 1.0


def cumulated(sensors: SensorSet, place: str) -> Span:
    """In-plane angles (rad) that a link can have on level ground."""
    ranges = sensors.assembly.ranges
    inner = _LINKS[: _LINKS.index(place) + 1] if place in _LINKS else _LINKS[:3]
    low = sum(ranges[joint].low for joint in inner if joint in ranges)
    high = sum(ranges[joint].high for joint in inner if joint in ranges)
    if place == "coupler":
        low, high = low + ranges["bucket"].low, high + ranges["bucket"].high
    elif place in ("idler", "power_link"):
        idler = sensors.assembly.idler
        turn = (idler.low, idler.high) if place == "idler" and idler is not None else (-math.pi, math.pi)
        low, high = low + turn[0], high + turn[1]
    return low - _SLACK_RAD, high + _SLACK_RAD


def _within(angles: tuple[float, ...], reach: Span) -> tuple[float, ...]:
    """Those that the link can have; all where it can have none, as of a mounting that is not yet set."""
    middle = 0.5 * (reach[0] + reach[1])
    fits = tuple(angle for angle in angles if reach[0] <= wrapped(angle, middle) <= reach[1])
    return fits or angles


@functools.lru_cache(maxsize=256)
def slopes(assembly: Assembly, sensor: Sensor, what: str) -> Span:
    """Least and greatest change of what a sensor measures for a change of the joint it gives, sign of the reading left
    out."""
    reach = assembly.ranges[what]
    angles = np.linspace(reach.low, reach.high, _SAMPLES).tolist()
    found: list[float] = []
    if sensor.place == "tilt":
        axis = assembly.attachment.tilt
        assert axis is not None  # noqa: S101  a set with a tilt sensor has one
        for total in np.linspace(-math.pi, math.pi, _SAMPLES).tolist():
            held = on_link(_UP, total)
            if across(axis.direction, held) < 0.5:
                continue
            said = [
                _across(sensor, felt(sensor, _axes(sensor), turned_by(axis.direction, -tilt, held)))
                for tilt in angles[::6]
            ]
            found += [wrapped(b - a, 0.0) / (angles[6] - angles[0]) for a, b in itertools.pairwise(said)]
        return _trimmed(found)
    told: list[tuple[float, float]] = []
    for angle in angles:
        try:
            if sensor.measures == Measure.LENGTH:
                told.append((angle, cylinder_length(assembly, what, angle)))
            else:
                bar = four_bar_from_bucket(assembly, angle)
                told.append((angle, bar.power_link if sensor.place == "power_link" else bar.idler))
        except Refused:  # an end of the stroke by rounding
            continue
    by_length = sensor.measures == Measure.LENGTH
    for (q0, v0), (q1, v1) in itertools.pairwise(told):
        found.append((v1 - v0 if by_length else wrapped(v1 - v0, 0.0)) / (q1 - q0))
    return min(found), max(found)


def _across(sensor: Sensor, counted: Numbers) -> float:
    """Of what a tilt sensor says, the number that turns with the tilt."""
    return counted[1] if sensor.measures == Measure.PITCH_ROLL else counted[0]


def _trimmed(found: list[float]) -> Span:
    """Without the tenth at either end, where the tilt is nearly over: there a tilt sensor shows little."""
    low, high = np.quantile(found, [0.1, 0.9]).tolist()
    return low, high


def body_names(sensors: SensorSet) -> tuple[str, ...]:
    """The sensors that give pitch and roll, one or two."""
    return tuple(dict.fromkeys(sensors.by_joint[lean][0] for lean in LEAN))


def body_plumb(parts: list[tuple[Sensor, Axes, Numbers]]) -> Point | None:
    """Plumb in the body by its one sensor of two numbers or its two of one; None where no lean has what they say."""
    lines = []
    for sensor, axes, said in parts:
        signed = _signed(sensor, said)
        if sensor.measures == Measure.PITCH_ROLL:
            return whole(axes, *signed)
        lines.append(line_of(sensor, axes, signed[0]))
    return meeting(lines[0], lines[1])
