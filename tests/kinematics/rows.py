"""Columns of random poses and what the one-pose door makes of them, row by row."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.chain import OUTPUTS
from kinematics.columns import STATUS, Columns
from kinematics.errors import Refused

from .machines import Rng, seeded

Floats = NDArray[np.float64]
Row = dict[str, float]
Found = TypeVar("Found")
Given = TypeVar("Given")

# Sums of some ten lengths up to 6 m, turned with sines good to an ulp; compiled code may fuse a multiply and an add.
SAME_M = 1e-12
# A slope and a floor angle divide by the edge's run in plan: a steep edge magnifies by the square of its slope.
SHAPES = {"cross_slope": 100.0, "floor_angle": 100.0, "mast_angle": 1.0}


def columns_of(rng: Rng, assembly: Assembly, count: int, stray: float = 0.0) -> dict[str, Floats]:
    """Random columns over the joints' ranges; about `stray` of all rows lie beyond a stop or lean too far."""
    given = {name: rng.uniform(-0.4, 0.4, size=count) for name in ("pitch", "roll")}
    given |= {name: rng.uniform(span.low, span.high, size=count) for name, span in assembly.ranges.items()}
    for column in given.values():
        lost = rng.random(count) < stray / len(given)
        column[lost] += rng.choice([-1.0, 1.0], size=count)[lost] * rng.uniform(1.0, 9.0, size=count)[lost]
    return given


def row_of(columns: Mapping[str, Floats], i: int) -> Row:
    return {name: float(column[i]) for name, column in columns.items()}


def outputs_of(assembly: Assembly) -> list[str]:
    """Every output that this machine has, in the kernel's order."""
    missing = () if assembly.attachment.teeth is not None else ("tooth_left", "tooth_centre", "tooth_right")
    if assembly.machine.receiver is None:
        missing = (*missing, "receiver", "mast")
    return [name for name in OUTPUTS if name.rpartition("_")[0] not in missing]


def expected_code(refused: Refused) -> str:
    """The status of a row with several faults: a joint beyond its stops goes before a lean."""
    codes = [fault.code for fault in refused.faults]
    return "beyond-joint" if "beyond-joint" in codes else codes[0]


def tried(door: Callable[[Given], Found], given: Given) -> tuple[Found | None, Refused | None]:
    """What a door gives, or what it refuses with."""
    try:
        return door(given), None
    except Refused as refused:
        return None, refused


def refusal(call: Callable[[], object]) -> Refused:
    """What a call that must fail refuses with."""
    with pytest.raises(Refused) as caught:
        call()
    return caught.value


def assert_rows(
    found: Columns, outputs: Sequence[str], one: Callable[[int], Pose], rows: Sequence[int] | None = None
) -> list[str]:
    """Every row is what `one` gives for it: the same numbers, or NaN throughout with the same refusal. The codes."""
    codes = []
    assert set(found.values) == set(outputs)
    for i in range(found.status.size) if rows is None else rows:
        code = STATUS[int(found.status[i])]
        codes.append(code)
        expected, refused = tried(one, i)
        if refused is not None:
            assert code == expected_code(refused), (i, code, refused)
            assert not found.ok[i]
            for name in outputs:
                assert math.isnan(found.values[name][i]), (i, name)
            continue
        assert expected is not None
        assert code == "ok", (i, code)
        assert found.ok[i]
        slope = 1.0 + expected.cross_slope**2
        for name in outputs:
            ours, theirs = float(found.values[name][i]), expected.output(name)
            assert math.isfinite(ours), (i, name)
            off = abs(ours - theirs)
            off = min(off, abs(off - 2.0 * math.pi)) if name == "floor_angle" else off
            allowed = SAME_M * SHAPES[name] * slope if name in SHAPES else SAME_M
            assert off <= allowed, (i, name, ours, theirs)
    return codes


def at(assembly: Assembly, columns: Mapping[str, Floats]) -> Callable[[int], Pose]:
    """The one-pose door for a row of columns."""
    return lambda i: pose(assembly, **row_of(columns, i))


def alike(
    count: int, *, linkage: bool, driven: bool = False, least: Callable[[Assembly], bool] | None = None
) -> list[Assembly]:
    """Random machines with the same joints: the first such group among the seeds."""
    groups: dict[tuple[str, ...], list[Assembly]] = {}
    for seed in range(200):
        found = seeded(seed, linkage=linkage, driven=driven)
        if least is None or least(found):
            group = groups.setdefault(tuple(sorted(found.ranges)), [])
            group.append(found)
            if len(group) == count:
                return group
    raise AssertionError("no such group among 200 seeds")
