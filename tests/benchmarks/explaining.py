"""What an explanation and a drawing cost: two poses of the demo's machine between which everything changes."""

import math

from kinematics import Side, TargetPlane, explain, pose
from kinematics.units import LengthUnit
from service.api.pose_sheet import as_svg
from service.api.pose_words import Told
from service.book.state import Named
from tests.benchmarks.started import BenchmarkFailed
from tests.benchmarks.timed import median_ms
from tests.demo_machine import ATTACHMENT, MACHINE, arm_of_demo

RUNS = 21


def explaining() -> dict[str, float]:
    """Milliseconds, medians of runs after a first; drawings a second on one core."""
    arm = arm_of_demo()
    sides = [
        Side(
            pose(
                arm, pitch=0.01 * k, roll=-0.01 * k, boom=0.25 - 0.1 * k, stick=-1.22 - 0.2 * k, bucket=0.3 - 0.3 * k,
                tilt=0.05 * k,
            ),
            ("left", "right")[k], 101.8 + 0.01 * k, TargetPlane(99.6 - 0.02 * k),
        )
        for k in range(2)
    ]  # fmt: skip
    told = explain(*sides)
    cut = told.changes["above_target"]
    if len(told.changed) != 9 or abs(math.fsum(cut.shares.values()) - cut.total) > 1e-11:
        raise BenchmarkFailed(f"expected nine shares that add up, found {dict(cut.shares)} of {cut.total}")
    machine, attachment = (Named(name, "0" * 64) for name in (MACHINE, ATTACHMENT))
    sheet = Told(machine, attachment, tuple(sides), "side", LengthUnit.M, None, 900)
    drawn_ms = median_ms(lambda: as_svg(sheet), RUNS)
    return {
        "explain_9_ms": median_ms(lambda: explain(*sides), RUNS), "drawing_ms": drawn_ms,
        "drawings_a_second": 1e3 / drawn_ms,
    }  # fmt: skip
