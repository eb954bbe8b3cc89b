"""A simulated truth: a machine that is not quite its profile, with sensors that are not quite as mounted, does a job; the
profile is believed. From parts, `readings_of`, `angles_from`, `pose` and `Book` alone: no rates, none of our draws."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.levelbook import curvature_and_refraction_m
from kinematics.observed import chained
from kinematics.parameters import NAMES
from kinematics.sensing import readings_of
from kinematics.sensing_block import program
from kinematics.sensor_set import LEAN, SensorSet
from kinematics.trust import Trust
from kinematics.trust_block import NUMBERS
from kinematics.trust_desk import said_in

from .trust_chains import ELEVATION, Angles, Job, booked, observed_of, postures
from .trust_rig import added, believed, changed, skewed, worn


@dataclass
class Truth:
    """One machine as it truly is, on one job."""

    job: Job
    kind: str
    rng: np.random.Generator
    off: dict[str, float] = field(init=False)
    sizes: dict[str, float] = field(init=False)
    really: Assembly = field(init=False)
    drifts: dict[int, dict[str, float]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        of = self.job.sources
        drawn = self.rng.standard_normal(len(of.names)) * of.standard
        self.off = dict(zip(of.names, drawn.tolist(), strict=True))
        self.sizes = dict(zip(of.names, of.standard.tolist(), strict=True))
        longer = {name: -self.off[name] for name in NAMES if self.sizes[name] > 0.0}
        self.really = worn(changed(self.job.sensors.assembly, longer), -self.off["edge_wear"])

    def within(self, name: str, count: int = 1) -> float:
        """A sum of so many rectangular errors."""
        return self.sizes[name] * float(self.rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), count).sum())

    def here(self, angles: Angles, stand: int) -> tuple[Pose, Pose, dict[str, Any]]:
        """(true, believed pose, readings) with the joints at these angles, in a stand that drifts by a draw of its own; 0
        does not drift."""
        gives = {}
        if self.sizes["coupler_play"] > 0.0:
            gives["coupler_angle"] = -self.within("coupler_play")
        if self.really.links is not None:
            gives["power_link_length"] = -self.within("pin_slop", 2)
        true = changed(self.really, gives)
        sensors = self.job.sensors
        cases = {
            name: self.off.get(f"{name}.skew", math.nan)
            for name, one in sensors.sensors.items() if one.by_gravity
        }  # fmt: skip
        mounted = SensorSet(true, skewed(sensors.sensors, cases))
        found = pose(true, **angles)
        if stand not in self.drifts:
            self.drifts[stand] = {
                name: float(self.rng.normal(0.0, size)) if stand else 0.0
                for name, size in self.sizes.items() if ".drift" in name
            }  # fmt: skip
        errors = {}
        for name, part in numbers_of(sensors):
            behind = f".{LEAN[part]}" if f"{name}.zero.pitch" in self.off else ""
            noise = float(self.rng.normal(0.0, self.sizes[f"{name}.noise{behind}"]))
            errors[name, part] = (
                self.off[f"{name}.zero{behind}"] + self.drifts[stand][f"{name}.drift{behind}"] + noise
            )
        readings = added(readings_of(mounted, found), errors)
        return found, believed(sensors, readings), readings

    def height(self, found: Pose, point: str) -> float:
        """True height of a point, with pins in their clearance, the edge under its load."""
        pins = (2 if point == "receiver" else 3) + (found.assembly.machine.fore_boom is not None)
        load = 0.0 if point == "receiver" else float(self.rng.normal(0.0, self.sizes["flex"]))
        return found.height(point) + self.within("pin_slop", pins) + load

    def mean_height(self, found: Sequence[Pose], point: str, each: float) -> float:
        """Of what was met, with an error of its own each time."""
        met = [self.height(one, point) + float(self.rng.normal(0.0, each)) for one in found]
        return sum(met) / len(met)

    def run(self) -> tuple[float, float]:
        """(believed less true elevation of the edge's centre, the standard uncertainty told)."""
        job, of, at = self.job, self.job.estimates, postures(self.job.sensors.assembly)
        rng = self.rng
        touch, touch_seen, _ = self.here(at.touch, 0)
        slab = self.mean_height([touch], "centre", of.contact)  # the true origin of the first stand is 0
        origin, before, after = 0.0, [], []
        if self.kind != "touch":
            few, point, each = (
                (2, "receiver", of.receiver) if self.kind == "laser" else (1, "centre", of.contact)
            )
            first = [self.here(angles, 0) for angles in at.before[:few]]
            second = [self.here(angles, 2) for angles in at.after[:few]]
            met = self.mean_height([one for one, *_ in first], point, each)
            if self.kind == "laser":
                off = curvature_and_refraction_m(of.laser_distance)
                met += float(rng.normal(0.0, of.laser_level * of.places_apart) + off * rng.uniform(-1.0, 1.0))
            origin = met - self.mean_height([one for one, *_ in second], point, each)
            before, after = [seen for _, seen, _ in first], [seen for _, seen, _ in second]
        dig, dig_seen, readings = self.here(at.dig, 3)
        declared = slab + float(rng.normal(0.0, of.benchmark))
        book = booked(self.kind, touch_seen, before, after, ELEVATION + declared)
        assert book.height is not None
        told = book.height.elevation + dig_seen.height("centre") - ELEVATION
        seen = observed_of(self.kind, job.sensors, job.sources, touch_seen, before, after)
        owed = chained(book.height.terms, seen, {}, of, job.sensors, job.sources)
        trust = Trust(job.sensors, job.sources, of, owed, None)
        assert trust.judge(said_in(program(job.sensors).numbers, readings), dig_seen.q)
        standard = float(trust.numbers[NUMBERS.index("centre_elevation_u")])
        return told - origin - self.height(dig, "centre"), standard


def numbers_of(sensors: SensorSet) -> list[tuple[str, int]]:
    """(sensor, which of its numbers)."""
    told = program(sensors).numbers
    return [(name, told[:i].count(name)) for i, name in enumerate(told)]
