"""What the uncertainty of a readout costs: the live benchmark's machine and aim, with a `Trust` and without."""

import math
import os
import statistics
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from kinematics import pose
from kinematics.estimates import Estimates
from kinematics.grade import Layer, Target
from kinematics.leaf import Leaf
from kinematics.levelling import Book, Enters, Known, Terms
from kinematics.machine import Range
from kinematics.observed import Observed, chained
from kinematics.readout import Aim
from kinematics.sensor_set import SensorSet
from kinematics.sources import sources_of
from kinematics.trials import trials
from kinematics.trust import Trust
from kinematics.zone import Zone
from kinematics.zone_budget import zone_budget
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set
from tests.benchmarks.live import poses
from tests.demo_machine import ATTACHMENT, MACHINE, arm_of_demo

READS, BLOCKS = 2000, 41
TRIALS, SIDE = 1_000_000, 200
_BENCHMARK, _TOUCH = 2, 3  # entries of the log
_HEIGHT: Terms = {(_BENCHMARK, Enters.BENCHMARK): 1.0, (_TOUCH, Enters.EDGE): -1.0}
_CUT: Terms = {(_TOUCH, Enters.EDGE): -1.0}  # the target hangs on the same benchmark


def trust() -> dict[str, float]:
    """Median of the ratios of neighbouring blocks of readouts; seconds of trials and of a map are reported."""
    arm, profiles = arm_of_demo(), shipped()
    sensors = sensor_set(profiles["machine", MACHINE], profiles["attachment", ATTACHMENT], arm)
    assert sensors is not None
    estimates = Estimates()
    sources = sources_of(sensors, estimates)
    touched = pose(
        arm, pitch=math.radians(0.6), roll=math.radians(-0.4), boom=math.radians(14.0), stick=math.radians(-70.0),
        bucket=math.radians(17.4), tilt=0.0,
    )  # fmt: skip
    observed = {_TOUCH: Observed(sensors, sources, [touched], "centre", 1)}
    height, cut = (chained(terms, observed, {}, estimates, sensors, sources) for terms in (_HEIGHT, _CUT))
    book = Book(setup=1, height=Known(101.8, frozenset({_TOUCH})))
    target = Target("footing", "slab", (Layer("floor", 0.4),), 0.0, 0.03, None, 0, 0)
    aim, lean = Aim(target, Known(100.0, frozenset({_BENCHMARK}))), math.radians(0.72)
    without = Leaf(sensors, book, aim, lean=lean)
    with_it = Leaf(sensors, book, aim, lean=lean, trust=Trust(sensors, sources, estimates, height, cut))
    said = _said(sensors)
    assert without.read(said)
    assert with_it.read(said)
    assert with_it.numbers[len(without.numbers)] > 0.0  # it was judged
    times = [(_block(without, said), _block(with_it, said)) for _ in range(BLOCKS)]

    zone, touch = (
        Zone(Range(3.0, 8.0), Range(-4.0, 1.0), SIDE, SIDE),
        (touched.reach, touched.height("centre")),
    )
    parts = os.cpu_count() or 1
    with ThreadPoolExecutor(parts) as pool:
        map_s = _seconds(
            lambda: zone_budget(sensors, sources, estimates, zone, touch, executor=pool, parts=parts)
        )
    trials_s = _seconds(
        lambda: trials(
            sensors, sources, estimates, _HEIGHT, observed, {}, touched, count=TRIALS, cut_terms=_CUT
        )
    )
    return {
        "readout_with_uncertainty_over_without": statistics.median(b / a for a, b in times),
        "trust_us": statistics.median(b - a for a, b in times) * 1e6,
        "leaf_us": statistics.median(a for a, _ in times) * 1e6,
        "trials_1e6_s": trials_s,
        "zone_200x200_s": map_s,
    }


def _said(sensors: SensorSet) -> NDArray[np.float64]:
    """What the sensors say in a pose of the live benchmark (rad), as a leaf reads it."""
    degrees = poses()[0]
    each = ([v] if isinstance(v := degrees[name], float) else v for name in sensors.sensors)
    return np.radians([part for parts in each for part in parts])


def _block(leaf: Leaf, said: NDArray[np.float64]) -> float:
    """Seconds a readout."""
    start = time.perf_counter()
    for _ in range(READS):
        leaf.read(said)
    return (time.perf_counter() - start) / READS


def _seconds(call: Callable[[], object]) -> float:
    """Of the second call: the first may compile."""
    call()
    start = time.perf_counter()
    call()
    return time.perf_counter() - start
