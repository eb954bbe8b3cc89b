"""What one sensor is: where it sits, what it measures, how it is mounted, how far it can be believed.

Radians, metres, seconds. A sensor of gravity feels +1 g up at rest: on the level, x ahead, z up, it feels (0, 0, 1).
Its case has axes of its own, x ahead, y left, z up, turned from its link's by a `Mounting`.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from .errors import Fault, refuse
from .machine import Point, Range

Axes = tuple[Point, Point, Point]
TURN = 2.0 * math.pi
# A sensor set further across than this reads another axis than the one it is meant for.
MOST_SKEW_RAD = math.radians(10.0)
# What it reads must turn with its joint at least as sin 45 deg.
LEAST_SQUARE = math.sin(math.radians(45.0))
# Further out, the number was given in another unit: degrees for rad, mm for m, ms for s.
MOST_NOISE_RAD, MOST_NOISE_M = math.radians(5.0), 0.1
MOST_LENGTH_M, MOST_LATENCY_S, MOST_AGE_S = 20.0, 10.0, 60.0
_ANGLE_DIGITS = 1e-6  # what six digits leave of a right angle or a turn


class Measure(StrEnum):
    """What a sensor measures; g is plumb in its case, of length 1.

    GRAVITY_ANGLE: atan2(g along, g z), "along" its x, or its y where it looks left. INCLINATION: asin(g along), what a
    single-axis inclinometer gives. PITCH_ROLL: two numbers, asin(g x) and atan2(g y, g z): the Euler angles of ISO 8855
    and of most dual-axis units, with pitch positive nose up as everywhere here (ISO 8855 has it nose down: sign -1).
    ANGLE: a joint's angle, by an encoder. LENGTH: a cylinder's, pin to pin, by a draw-wire.
    """

    GRAVITY_ANGLE = "gravity-angle"
    INCLINATION = "inclination"
    PITCH_ROLL = "pitch-roll"
    ANGLE = "angle"
    LENGTH = "length"


BY_GRAVITY = frozenset({Measure.GRAVITY_ANGLE, Measure.INCLINATION, Measure.PITCH_ROLL})
ARM = ("boom", "fore_boom", "stick", "idler", "power_link", "bucket", "coupler")
PLACES = ("body", "swing_boom", *ARM, "tilt", "rotate")
"""Where a sensor may sit. "coupler": on it, seen from its pins on the stick; "bucket": on a bucket without tilt or
rotation, seen from its own pins; "idler", "power_link": seen along their pins; "tilt": below the tilt axis, above a
rotator."""
AHEAD, LEFT = "ahead", "left"

_PLUMB_AXIS = "an encoder: gravity cannot see a turn about an axis that stands near plumb"
_ELSEWHERE = {
    (Measure.ANGLE, "body"): "a sensor of gravity: nothing else knows how the body leans",
    (Measure.ANGLE, "coupler"): "an encoder on the bucket pin (bucket): a coupler has no joint of its own",
    (Measure.ANGLE, "power_link"): "an encoder on the idler's pivot (idler) or on the bucket pin (bucket)",
    **{(measure, place): _PLUMB_AXIS for measure in BY_GRAVITY for place in ("swing_boom", "rotate")},
    **{
        (Measure.LENGTH, place): "a cylinder of boom, fore_boom, stick or bucket"
        for place in PLACES
        if place not in ("boom", "fore_boom", "stick", "bucket")
    },
}


@dataclass(frozen=True, slots=True)
class Mounting:
    """How the case of a sensor of gravity sits on its link (rad): three turns, one after another, each about an axis of
    the case: nose up in the arm's plane (the mounting offset), nose to the left (skew), left side up (cant).

    A boom sensor with `nose_up` 0.02 reads 0.02 more than the boom's own in-plane angle. One turned over onto its back
    has `left_up` pi. On the body x is ahead; beyond a tilt axis the axes are the attachment's, tilt at zero.
    """

    nose_up: float
    left_up: float = 0.0
    to_left: float = 0.0

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it: not finite, beyond a turn, or skewed into another axis."""
        for name, most in (("nose_up", TURN), ("left_up", TURN), ("to_left", MOST_SKEW_RAD)):
            yield from _within(f"{where}.{name}", getattr(self, name), -most, most, "rad")

    def axes(self) -> Axes:
        """Unit x, y and z of the case in the axes of its link."""
        so, co = math.sin(self.nose_up), math.cos(self.nose_up)
        sk, ck = math.sin(self.to_left), math.cos(self.to_left)
        sc, cc = math.sin(self.left_up), math.cos(self.left_up)

        def raised(x: float, y: float, z: float) -> Point:
            return x * co - z * so, y, x * so + z * co

        return raised(ck, sk, 0.0), raised(-sk * cc, ck * cc, sc), raised(sk * sc, -ck * sc, cc)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """One sensor. What it says counts as `sign` times its reading.

    `mounting`: of a sensor of gravity its `Mounting`; of an encoder (rad) or a draw-wire (m) how much it reads over the
    true value: 0.02 on a boom encoder makes a reading of 0.5 a joint of 0.48. `range`: lowest and highest reading,
    of both numbers where it gives two. `noise`: standard deviation of one reading, temperature and linearity
    included. `latency_s`: how old a reading is when it arrives; `age_limit_s`: how old it may be, latency included.
    `axis`: "ahead", or "left" for one that reads the case's y (body and tilt only). `side_sign`: of the roll of a
    PITCH_ROLL. `branch`: of an INCLINATION, where its link comes near the vertical: +1 what it says grows as the link is
    raised (its x leads ahead, not back), -1 it falls.
    Standard uncertainties, None where nobody gave them: `zero_uncertainty` of its mounting's zero (rad or m, of both
    numbers where it gives two, or a pair: pitch's, roll's), `skew_uncertainty` of how its case is turned out of the
    arm's plane (rad, gravity only),
    `per_kelvin` of its drift with temperature (rad/K or m/K): 3.5e-5 leaves 0.02 deg open after 10 K.
    Raises `Refused` with every fault.
    """

    place: str
    measures: Measure
    sign: int
    mounting: Mounting | float
    range: Range
    noise: float
    latency_s: float
    age_limit_s: float
    axis: str = AHEAD
    side_sign: int | None = None
    branch: int | None = None
    zero_uncertainty: float | tuple[float, float] | None = None
    skew_uncertainty: float | None = None
    per_kelvin: float | None = None

    def __post_init__(self) -> None:
        refuse(self.faults())

    @property
    def by_gravity(self) -> bool:
        """True of one that feels plumb, False of an encoder or draw-wire."""
        return self.measures in BY_GRAVITY

    @property
    def unit(self) -> str:
        """Of its reading: "m" or "rad"."""
        return "m" if self.measures == Measure.LENGTH else "rad"

    @property
    def zero_uncertainties(self) -> tuple[float, ...]:
        """Of each number that it gives (rad or m); empty where nobody gave it. 0.001 of a pitch-roll: (0.001, 0.001)."""
        if self.zero_uncertainty is None:
            return ()
        if isinstance(self.zero_uncertainty, tuple):
            return self.zero_uncertainty
        return (self.zero_uncertainty,) * (2 if self.measures == Measure.PITCH_ROLL else 1)

    def faults(self) -> Iterator[Fault]:
        """Everything that is wrong with it, as far as it can be seen without a machine."""
        known = True
        for name, choices in (("place", PLACES), ("measures", tuple(Measure)), ("axis", (AHEAD, LEFT))):
            if getattr(self, name) not in choices:
                known = False
                yield Fault("not-a-choice", name, repr(getattr(self, name)), "one of " + ", ".join(choices))
        yield from _side("sign", self.sign)
        if known:
            yield from self._kind_faults()
            yield from self._mounting_faults()
            yield from self._range_faults()
            most = MOST_NOISE_M if self.measures == Measure.LENGTH else MOST_NOISE_RAD
            yield from _within("noise", self.noise, 0.0, most, self.unit, above=True)
            yield from self._uncertainty_faults(most)
        times = [
            *_within("latency_s", self.latency_s, 0.0, MOST_LATENCY_S, "s"),
            *_within("age_limit_s", self.age_limit_s, 0.0, MOST_AGE_S, "s", above=True),
        ]
        yield from times
        if not times and self.latency_s >= self.age_limit_s:
            yield Fault(
                "out-of-range", "age_limit_s", f"{self.age_limit_s:g} s with a latency of {self.latency_s:g} s",
                "a limit beyond the latency", "else every reading is too old when it arrives",
            )  # fmt: skip

    def _kind_faults(self) -> Iterator[Fault]:
        need = _ELSEWHERE.get((self.measures, self.place))
        if need is not None:
            yield Fault("not-sensed-so", "measures", f"{self.measures} on {self.place}", need)
        if self.axis == LEFT and (
            self.place not in ("body", "tilt")
            or self.measures not in (Measure.GRAVITY_ANGLE, Measure.INCLINATION)
        ):
            yield Fault(
                "not-sensed-so", "axis", f"left, {self.measures} on {self.place}",
                "left only for one axis of gravity on body or tilt", "leave axis out",
            )  # fmt: skip
        if (self.measures == Measure.PITCH_ROLL) != (self.side_sign is not None):
            yield Fault(
                "half-described",
                "side_sign",
                str(self.side_sign),
                "the roll's sign with pitch-roll, else None",
            )
        if self.side_sign is not None:
            yield from _side("side_sign", self.side_sign)
        if self.branch is not None:
            yield from _side("branch", self.branch)
            if self.measures != Measure.INCLINATION or self.place == "body":
                yield Fault(
                    "not-sensed-so", "branch", f"{self.measures} on {self.place}",
                    "a branch only for an inclination of a link", "leave it out: nothing else has two",
                )  # fmt: skip

    def _uncertainty_faults(self, most: float) -> Iterator[Fault]:
        zero = self.zero_uncertainty
        if isinstance(zero, tuple):
            if self.measures != Measure.PITCH_ROLL or len(zero) != 2:
                yield Fault(
                    "wrong-kind", "zero_uncertainty", f"{len(zero)} numbers of a sensor that measures {self.measures}",
                    "one number, or two of a pitch-roll: pitch's and roll's",
                )  # fmt: skip
            for part, value in zip(("pitch", "roll"), zero, strict=False):
                yield from _within(f"zero_uncertainty.{part}", value, 0.0, most, self.unit)
        elif zero is not None:
            yield from _within("zero_uncertainty", zero, 0.0, most, self.unit)
        if self.skew_uncertainty is not None:
            if not self.by_gravity:
                yield Fault(
                    "not-sensed-so", "skew_uncertainty", f"{self.measures}",
                    "a skew only of a sensor of gravity", "leave it out",
                )  # fmt: skip
            yield from _within("skew_uncertainty", self.skew_uncertainty, 0.0, MOST_SKEW_RAD, "rad")
        if self.per_kelvin is not None:
            yield from _within("per_kelvin", self.per_kelvin, 0.0, most / 10.0, f"{self.unit}/K")

    def _mounting_faults(self) -> Iterator[Fault]:
        if isinstance(self.mounting, Mounting) != self.by_gravity:
            want = "a Mounting" if self.by_gravity else "one number: what it reads over the true value"
            yield Fault("wrong-kind", "mounting", type(self.mounting).__name__, want)
        elif isinstance(self.mounting, Mounting):
            found = tuple(self.mounting.faults("mounting"))
            yield from found
            if not found and self.place in ("body", *ARM):
                left = (1.0, 0.0, 0.0) if self.axis == LEFT else (0.0, 1.0, 0.0)
                yield from blind_to(self, self.mounting.axes(), left)
        else:
            most = MOST_LENGTH_M if self.measures == Measure.LENGTH else 2.0 * TURN
            yield from _within("mounting", self.mounting, -most, most, self.unit)

    def _range_faults(self) -> Iterator[Fault]:
        found = tuple(self.range.faults("range"))
        yield from found
        if not found:
            most = {
                Measure.GRAVITY_ANGLE: TURN, Measure.INCLINATION: 0.25 * TURN, Measure.PITCH_ROLL: 0.5 * TURN,
                Measure.ANGLE: 2.0 * TURN, Measure.LENGTH: MOST_LENGTH_M,
            }[self.measures] + _ANGLE_DIGITS  # fmt: skip
            for end in ("low", "high"):
                yield from _within(f"range.{end}", getattr(self.range, end), -most, most, self.unit)


def blind_to(sensor: Sensor, axes: Axes, axis: Point) -> Iterator[Fault]:
    """The fault of a sensor of gravity, its case standing so (`Mounting.axes`), whose reading hardly changes with a turn
    about `axis`, a direction of its link."""
    x, y, _ = axes
    along, normal = (y, x) if sensor.axis == LEFT else (x, y)
    seen = {
        # It turns in the plane of along and z; an inclination, with what of "along" lies across the axis.
        Measure.GRAVITY_ANGLE: abs(_dot(normal, axis)),
        Measure.INCLINATION: math.sqrt(max(1.0 - _dot(along, axis) ** 2, 0.0)),
    }.get(sensor.measures, 1.0)  # two numbers hold all of plumb
    if sensor.measures == Measure.INCLINATION and sensor.place == "body":
        seen = abs(along[1 if sensor.axis == LEFT else 0])
    if seen < LEAST_SQUARE:
        yield Fault(
            "not-sensed-so", "mounting", f"a sensitivity of {seen:.2f}",
            f"a case whose reading turns with {sensor.place}, sensitivity at least {LEAST_SQUARE:.2f}",
            "check axis and mounting, or mount it square to the joint",
        )  # fmt: skip


def _dot(a: Point, b: Point) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _side(where: str, value: int) -> Iterator[Fault]:
    if value not in (-1, 1):
        yield Fault("not-a-side", where, str(value), "+1 or -1")


def _within(
    where: str, value: float, low: float, high: float, unit: str, *, above: bool = False
) -> Iterator[Fault]:
    """Not a finite number from `low` to `high`; `above`: low itself is out too."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        yield Fault("not-a-number", where, repr(value), "a number")
    elif not math.isfinite(value):
        yield Fault("not-finite", where, str(value), "a finite number")
    elif not low <= value <= high or (above and value == low):
        yield Fault(
            "out-of-range", where, f"{value:g} {unit}", f"{'above ' if above else ''}{low:g} to {high:g} {unit}",
            "check the unit", {"value": value, "low": low, "high": high},
        )  # fmt: skip
