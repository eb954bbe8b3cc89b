"""What may be wrong with one sensor, each as the way back from what arrives to what should have arrived."""

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass

from .errors import Refused
from .linkage import wrapped
from .machine import Range
from .sensor import ARM, BY_GRAVITY, Measure, Mounting, Sensor
from .sensor_set import SensorSet, gives

Numbers = tuple[float, ...]
DEGREES = math.degrees(1.0)
MILLIMETRES = 1000.0
_WIDE = {
    Measure.GRAVITY_ANGLE: Range(-math.pi, math.pi), Measure.ANGLE: Range(-2.0 * math.pi, 2.0 * math.pi),
    Measure.INCLINATION: Range(-0.5 * math.pi, 0.5 * math.pi),
}  # fmt: skip

# A sensor whose kind is another than described: told only by lean, by the vertical or by the joints before it.
KINDS = frozenset({"joint-angle", "link-angle", "inclination", "gravity-angle"})


@dataclass(frozen=True, slots=True, eq=False)
class Trait:
    """One thing wrong with a sensor, or nothing ("plain").

    What it should have said is what arrives times `factor`, a pair exchanged where it is, times `signs`, plus `shift`;
    `sensor` is what it then behaves as. `stuck`: it never changes. `cost`: how many faults this is.
    """

    code: str
    sensor: Sensor
    cost: float = 1.0
    factor: float = 1.0
    signs: tuple[float, float] = (1.0, 1.0)
    exchanged: bool = False
    shift: tuple[float, float] = (0.0, 0.0)
    stuck: bool = False

    def cured(self, raw: Numbers) -> Numbers:
        """What should have arrived."""
        said = raw[::-1] if self.exchanged else raw
        return tuple(
            v * self.factor * s + h
            for v, s, h in zip(said, self.signs[: len(said)], self.shift, strict=False)
        )

    def arrives(self, said: Numbers) -> Numbers:
        """What arrives of what should: undoes `cured`."""
        raw = tuple(
            (v - h) / (self.factor * s)
            for v, s, h in zip(said, self.signs[: len(said)], self.shift, strict=False)
        )
        return raw[::-1] if self.exchanged else raw


def plain(sensor: Sensor) -> Trait:
    """Nothing wrong."""
    return Trait("plain", sensor, 0.0)


def traits_of(sensors: SensorSet, name: str) -> Iterator[Trait]:
    """Everything that may be wrong with this sensor alone, by itself or with its sign turned besides."""
    sensor = sensors.all[name]
    yield Trait("stuck", sensor, stuck=True)
    if sensor.measures == Measure.PITCH_ROLL:
        yield from _pair(sensor)
        return
    yield Trait("sign", sensor, signs=(-1.0, 1.0))
    singles = [*_units(sensor)]
    if sensor.measures == Measure.LENGTH:
        pass
    elif sensor.by_gravity and sensor.place in ARM:
        other = Measure.INCLINATION if sensor.measures == Measure.GRAVITY_ANGLE else Measure.GRAVITY_ANGLE
        singles += _as(other.value, sensor, measures=other, branch=None, range=_WIDE[other])
        singles += _joint(sensor)
        singles += _elsewhere(sensors, sensor)
    elif sensor.measures == Measure.ANGLE and sensor.place in ARM:
        singles += _as(
            "link-angle", sensor, measures=Measure.GRAVITY_ANGLE, range=_WIDE[Measure.GRAVITY_ANGLE],
            mounting=Mounting(wrapped(sensors.zeros[name], 0.0)),
        )  # fmt: skip
    yield from singles
    for one in singles:
        yield dataclasses.replace(one, cost=2.0, signs=(-1.0, 1.0), code=f"{one.code}+sign")


def half_turned(sensor: Sensor) -> Iterator[Trait]:
    """A sensor of gravity whose specific force has the other sign; of an inclination that is its sign."""
    if sensor.measures == Measure.GRAVITY_ANGLE:
        yield Trait("half-turn", sensor, shift=(math.pi, 0.0))
    elif sensor.measures == Measure.PITCH_ROLL:
        yield Trait("half-turn", sensor, signs=(-1.0, 1.0), shift=(0.0, math.pi))


def _units(sensor: Sensor) -> Iterator[Trait]:
    of = MILLIMETRES if sensor.unit == "m" else DEGREES
    yield Trait("unit-small", sensor, factor=of)
    yield Trait("unit-large", sensor, factor=1.0 / of)


def _pair(sensor: Sensor) -> Iterator[Trait]:
    named = {
        (-1.0, 1.0): "sign-pitch",
        (1.0, -1.0): "sign-roll",
        (-1.0, -1.0): "sign-both",
        (1.0, 1.0): "exchanged",
    }
    for signs, code in named.items():
        if code != "exchanged":
            yield Trait(code, sensor, signs=signs)
        suffix = "" if code == "exchanged" else "+" + code
        yield Trait("exchanged" + suffix, sensor, 1.0 if not suffix else 2.0, signs=signs, exchanged=True)
    yield from _units(sensor)
    yield from half_turned(sensor)


def _as(code: str, sensor: Sensor, **changes: object) -> list[Trait]:
    """The sensor as another, where there can be such a one."""
    if changes.get("measures", sensor.measures) not in BY_GRAVITY:
        changes["skew_uncertainty"] = None  # no case that could stand askew
    try:
        return [Trait(code, dataclasses.replace(sensor, **changes))]  # type: ignore[arg-type]
    except Refused:
        return []


def _joint(sensor: Sensor) -> list[Trait]:
    mounting = sensor.mounting
    if sensor.place == "power_link" or not isinstance(mounting, Mounting):
        return []
    # On its back it reads the other way round.
    way = 1 if mounting.axes()[1][1] > 0.0 else -1
    place = "bucket" if sensor.place == "coupler" else sensor.place
    return _as(
        "joint-angle", sensor, place=place, measures=Measure.ANGLE, mounting=mounting.nose_up, branch=None,
        sign=way * sensor.sign, range=_WIDE[Measure.ANGLE],
    )  # fmt: skip


def _elsewhere(sensors: SensorSet, sensor: Sensor) -> list[Trait]:
    """The sensor on another link of the arm than described."""
    found = []
    (own,) = gives(sensor)
    for place in ("boom", "fore_boom", "stick", "bucket"):
        if place in sensors.assembly.ranges and place not in (own, "bucket"):
            found += _as(f"elsewhere-{place}", sensor, place=place)
    return found
