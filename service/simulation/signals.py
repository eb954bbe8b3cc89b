"""True course to what the sensors say: each at its rate, late, noisy, a little wrong, in steps; by seed.

A reading goes out as the readings door takes it ({"sensor": "boom", "deg": 31.02}), with the second at which it was got.
"""

import heapq
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from kinematics.errors import Refused
from kinematics.linkage import wrapped
from kinematics.sensing import Told, readings_of
from kinematics.sensor import TURN, Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet
from service.bus.reading import Reading

from .course import Course
from .dig import Dig
from .tables import Knock, Quiet, Sensing, SensorErrors

_DECIMALS = 6  # of a degree or mm: below every step a sensor has, and no tail of digits in a log


@dataclass(frozen=True, slots=True)
class Instrument:
    """One sensor as it is, in its own unit (rad or m): what it says is what is true `latency_s` ago, plus `bias` (of each
    number), plus noise of this standard deviation, to the nearest whole `step` (0: unrounded)."""

    name: str
    sensor: Sensor
    rate_hz: float
    latency_s: float
    noise: float
    bias: tuple[float, ...]
    step: float


def instruments(dig: Dig, seed: int) -> dict[str, Instrument]:
    """Every sensor of a dig with its errors; the seed draws those constant errors that the description leaves open."""
    default = SensorErrors()
    return {
        name: _instrument(name, sensor, dig.document.sensing, dig.document.sensors.get(name, default), seed)
        for name, sensor in dig.sensors.all.items()
    }


def _instrument(name: str, sensor: Sensor, every: Sensing, own: SensorErrors, seed: int) -> Instrument:
    wire = sensor.measures == Measure.LENGTH
    per = 1e-3 if wire else math.radians(1.0)
    numbers = 2 if sensor.measures == Measure.PITCH_ROLL else 1
    drawn = (
        _generator(seed, name, "bias").standard_normal(numbers) * every.bias_scale * sensor.noise
    ).tolist()
    given = (own.bias_mm,) if wire else (own.bias_deg, own.side_bias_deg)
    noise, step = (own.noise_mm, own.step_mm) if wire else (own.noise_deg, own.step_deg)
    usual = every.step_mm if wire else every.step_deg
    return Instrument(
        name, sensor, every.rate_hz if own.rate_hz is None else own.rate_hz,
        sensor.latency_s if own.latency_ms is None else own.latency_ms / 1e3,
        every.noise_scale * sensor.noise if noise is None else noise * per,
        tuple(b if g is None else g * per for b, g in zip(drawn, given, strict=False)),
        (usual if step is None else step) * per,
    )  # fmt: skip


def _generator(seed: int, *names: str) -> np.random.Generator:
    """One that hangs on seed and names alone, so that a further sensor changes nothing of the others."""
    return np.random.default_rng([seed, *(byte for name in names for byte in (*name.encode(), 0))])


def signals(dig: Dig, course: Course, seed: int) -> Iterator[Reading]:
    """Every reading of a course in order of time, from 0 to its end; deterministic by `seed`.

    A reading got at 5.00 s with a latency of 0.03 s is of the pose at 4.97 s. Before 0 the machine stood still.
    A sensor whose range does not hold what it would say has no value then, and says so. Raises `Refused` as
    `readings_of` and, for a knock that no sensor of its kind survives, as `SensorSet`.
    """
    truth = _Truth(dig, course)
    streams = [_told(each, truth, course, seed) for each in instruments(dig, seed).values()]
    if dig.document.laser is not None and dig.assembly.machine.receiver is not None:
        streams.append(_received(dig, course))
    return heapq.merge(*streams, key=lambda signal: signal.t_s)


class _Truth:
    """What every sensor would read at a time, as it is mounted then."""

    def __init__(self, dig: Dig, course: Course) -> None:
        self._course = course
        self._sets: list[tuple[float, SensorSet]] = [(-math.inf, dig.sensors)]
        for event in course.events:
            if isinstance(event.step, Knock):
                try:
                    self._sets.append((event.at_s, _knocked(self._sets[-1][1], event.step)))
                except Refused as refused:
                    at = f"steps.{event.number - 1}"
                    raise Refused(dig.places.put(fault, at) for fault in refused.faults) from None
        # Sensors share instants: as many as one may lie behind another.
        self.told: Callable[[float], dict[str, Told]] = lru_cache(maxsize=256)(self._told)

    def _told(self, t: float) -> dict[str, Told]:
        sensors = next(each for since, each in reversed(self._sets) if since <= t)
        return readings_of(sensors, self._course.at(t).pose)


def _knocked(before: SensorSet, knock: Knock) -> SensorSet:
    sensor = before.all[knock.sensor]
    mounting = sensor.mounting
    if isinstance(mounting, Mounting):
        nose, left = (math.radians(by or 0.0) for by in (knock.nose_up_deg, knock.left_up_deg))
        moved: Mounting | float = replace(
            mounting, nose_up=mounting.nose_up + nose, left_up=mounting.left_up + left
        )
    else:
        moved = mounting + math.radians(knock.more_deg or 0.0) + (knock.more_mm or 0.0) / 1e3
    now = replace(sensor, mounting=moved)

    def among(each: Mapping[str, Sensor]) -> dict[str, Sensor]:
        return {name: now if name == knock.sensor else old for name, old in each.items()}

    return SensorSet(before.assembly, among(before.sensors), among(before.checks))


def _told(one: Instrument, truth: _Truth, course: Course, seed: int) -> Iterator[Reading]:
    noise = _generator(seed, one.name, "noise")
    silent = [
        (event.at_s, event.until_s)
        for event in course.events
        if isinstance(event.step, Quiet) and event.step.sensor == one.name
    ]
    for tick in range(1 + math.floor(course.seconds * one.rate_hz)):
        t = tick / one.rate_hz
        drawn = noise.standard_normal(len(one.bias)).tolist()
        if any(since <= t < until for since, until in silent):
            continue
        # To a nanosecond, so that sensors of one latency share their instants.
        told = truth.told(round(t - one.latency_s, 9))[one.name]
        true = told if isinstance(told, tuple) else (told,)
        said = [
            _said(one, value + bias + one.noise * draw, first=not i)
            for i, (value, bias, draw) in enumerate(zip(true, one.bias, drawn, strict=True))
        ]
        yield Reading(t, _words(one, said))


def _said(one: Instrument, value: float, *, first: bool) -> float | None:
    """The number in deg or mm, None where the sensor's range does not hold it."""
    sensor = one.sensor
    if one.step > 0.0:
        value = round(value / one.step) * one.step
    low, high = sensor.range.low, sensor.range.high
    if sensor.measures == Measure.PITCH_ROLL and first:
        low, high = max(low, -0.25 * TURN), min(high, 0.25 * TURN)  # an arcsine goes no further
    elif sensor.measures != Measure.LENGTH and not low <= value <= high:
        value = wrapped(value, 0.5 * (low + high))
    if not low <= value <= high:
        return None
    return round(value * 1e3 if sensor.measures == Measure.LENGTH else math.degrees(value), _DECIMALS)


def _words(one: Instrument, said: list[float | None]) -> dict[str, Any]:
    numbers = [number for number in said if number is not None]
    if len(numbers) < len(said):
        return {"sensor": one.name, "error": "out of range"}
    unit = "mm" if one.sensor.measures == Measure.LENGTH else "deg"
    return {"sensor": one.name, unit: numbers if len(numbers) > 1 else numbers[0]}


def _received(dig: Dig, course: Course) -> Iterator[Reading]:
    """The receiver, once a turn of the laser head: its bit, or the beam's height over its centre while it sees it."""
    laser = dig.document.laser
    assert laser is not None  # noqa: S101 - looked at by the caller
    for turn in range(1 + math.floor(course.seconds * laser.revolutions_per_s)):
        t = turn / laser.revolutions_per_s
        moment = course.at(t - laser.latency_s)
        above = 1e3 * (laser.plane_over_slab_m - moment.over_slab("receiver"))
        along = above / math.cos(moment.pose.mast_angle)
        if laser.tells == "hit":
            yield Reading(t, {"receiver_hit": abs(along) <= 0.5 * laser.dead_band_mm})
        elif abs(along) <= 0.5 * laser.window_mm:
            yield Reading(t, {"receiver_above_mm": round(along, 1)})
