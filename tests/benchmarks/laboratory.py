"""How long one machine takes in the laboratory: its exact envelope, a map of forces, and the envelope as an answer."""

import math
import time
from collections.abc import Callable

import numpy as np

from kinematics import Assembly, Attachment, Hydraulics, Machine, assemble, digging_envelope, force_map
from kinematics.envelope import DIMENSIONS
from machine_profiles import shipped
from tests.benchmarks.started import BenchmarkFailed

_RUNS = 25


def laboratory() -> dict[str, float]:
    """Milliseconds, the median of some: envelope with all dimensions, one-piece and two-piece boom; a force map."""
    one, rams = _fitted("crawler-14t")
    two, _ = _fitted("wheeled-16t")
    for fitted in (one, two):
        found = digging_envelope(fitted)
        if set(found.dimensions) != set(DIMENSIONS):
            raise BenchmarkFailed(f"expected every dimension, found {sorted(found.dimensions)}")
    grid = np.arange(-7.0, 9.0, 0.5)
    return {
        "envelope_ms": _median(lambda: digging_envelope(one)),
        "envelope_two_piece_ms": _median(lambda: digging_envelope(two)),
        "force_map_1024_ms": _median(
            lambda: force_map(one, rams, "bucket", reaches=grid, heights=grid, step=math.radians(2.0))
        ),
    }


def _fitted(machine: str) -> tuple[Assembly, Hydraulics]:
    carrier, tool = shipped()["machine", machine], shipped()["attachment", "digging-1500"]
    if not (isinstance(carrier.geometry, Machine) and isinstance(tool.geometry, Attachment)):
        raise BenchmarkFailed(f"expected a machine and a bucket, found {machine}")
    if carrier.hydraulics is None:
        raise BenchmarkFailed(f"expected bores and pressures of {machine}, found none")
    return assemble(carrier.geometry, tool.geometry), carrier.hydraulics


def _median(work: Callable[[], object]) -> float:
    work()
    times = []
    for _ in range(_RUNS):
        begun = time.perf_counter()
        work()
        times.append(1e3 * (time.perf_counter() - begun))
    return sorted(times)[_RUNS // 2]
