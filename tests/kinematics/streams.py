"""Streams of readings and of a laser receiver's samples, made of known motions of a shipped machine."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache

import numpy as np

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.machine import Attachment, Machine
from kinematics.reading_series import Told
from kinematics.sensing import readings_of
from kinematics.sensor_set import SensorSet
from kinematics.striking import Striking
from kinematics.track import Track
from machine_profiles import sensor_set, shipped

from .machines import Rng

Motion = Callable[[float], Mapping[str, float]]

# Stick hanging, so that the mast stands within a degree of plumb; on a lean that is not even.
UPRIGHT = {"pitch": 0.02, "roll": -0.015, "boom": 0.4, "stick": -1.99, "bucket": 0.8, "tilt": 0.05}
# The edge 8 m ahead of the swing axis, its tilt axis off plumb, so that gravity sees the tilt.
FAR = {"pitch": 0.02, "roll": -0.015, "boom": 0.1, "stick": -0.53, "bucket": 1.6, "tilt": 0.05}


@cache
def crawler() -> SensorSet:
    """The sensors of the 14 t crawler with its tilting bucket."""
    profiles = {name: profile for (_, name), profile in shipped().items()}
    machine, tool = profiles["crawler-14t"], profiles["tilting-1800"]
    assert isinstance(machine.geometry, Machine)
    assert isinstance(tool.geometry, Attachment)
    found = sensor_set(machine, tool, assemble(machine.geometry, tool.geometry))
    assert found is not None
    return found


def noisy_as(sensors: SensorSet, noise_rad: float) -> SensorSet:
    """The same where every profile gives this noise."""
    return SensorSet(
        sensors.assembly, {name: replace(each, noise=noise_rad) for name, each in sensors.sensors.items()}
    )


def assembly() -> Assembly:
    return crawler().assembly


def boom_at(point: str, height: float, start: Mapping[str, float]) -> dict[str, float]:
    """The angles `start` with the boom turned so that a point stands at a height (m over the origin), by Newton."""
    angles = dict(start)
    for _ in range(8):
        here = pose(assembly(), **angles).height(point)
        if abs(height - here) < 1e-12:
            return angles
        step = pose(assembly(), **(angles | {"boom": angles["boom"] + 1e-6})).height(point)
        angles["boom"] += (height - here) * 1e-6 / (step - here)
    assert abs(pose(assembly(), **angles).height(point) - height) < 1e-9, "out of the boom's reach"
    return angles


class Course:
    """A motion whose height of a point is told: the boom moves it there."""

    def __init__(self, point: str, start: Mapping[str, float], height: Callable[[float], float]) -> None:
        self.point, self.start, self.height = point, start, height

    def __call__(self, t: float) -> dict[str, float]:
        return boom_at(self.point, self.height(t), self.start)

    def pose(self, t: float) -> Pose:
        return pose(assembly(), **self(t))


def feed(
    track: Track,
    motion: Motion,
    times: tuple[float, float],
    hz: float,
    *,
    noise_rad: float = 0.0,
    rng: Rng | None = None,
    without: str = "",
) -> None:
    """Every sensor of the track read at this rate from one time to another, but for one of them."""
    rng = np.random.default_rng(0) if rng is None else rng
    for t in ticks(times, hz):
        for name, said in readings_of(track.sensors, pose(track.sensors.assembly, **motion(t))).items():
            if name != without:
                track.add(name, t, noisy(said, noise_rad, rng))


def ticks(times: tuple[float, float], hz: float) -> list[float]:
    """Half a step off the start, so that no tick falls on a moment of a test by chance."""
    return [times[0] + (k + 0.5) / hz for k in range(math.floor((times[1] - times[0]) * hz))]


def noisy(said: Told, noise_rad: float, rng: Rng) -> Told:
    if isinstance(said, tuple):
        return said[0] + noise_rad * float(rng.normal()), said[1] + noise_rad * float(rng.normal())
    return said + noise_rad * float(rng.normal())


def above(course: Course, plane: float, t: float) -> float:
    """The beam's height (m) over the receiver's centre along the mast."""
    here = course.pose(t)
    return (plane - here.height("receiver")) / math.cos(here.mast_angle)


def hear(
    striking: Striking,
    course: Course,
    plane: float,
    times: tuple[float, float],
    *,
    hz: float = 10.0,
    lag_s: float = 0.0,
    band: float = 0.006,
    bits: bool = True,
) -> None:
    """The receiver's samples: each tells what was so `lag_s` before; its bit is true within half the dead band `band`."""
    for t in ticks(times, hz):
        along = above(course, plane, t - lag_s)
        fault = striking.add_hit(t, abs(along) <= 0.5 * band) if bits else striking.add_above(t, along)
        assert fault is None
