"""The bucket four-bar against MuJoCo's closed loop (package `mujoco`): power link and bucket are two open chains that
an equality constraint joins at the link pin; its residual is brought to zero by SciPy, idler by idler."""

import itertools
import math
from collections.abc import Iterator
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import root

from kinematics.assembly import Assembly
from kinematics.drives import four_bar_from_bucket, four_bar_from_idler, four_bar_from_power_link
from kinematics.machine import BucketLinkage
from tests.need import need

from .machines import seeded
from .test_against_mujoco import body, hinge, site

LINKAGES = 40
IDLERS = 15
# Both solve to the last bits; links stand 20 deg off a line at the least, which multiplies by 3, and a power
# link near the fold of its own angle by some thousands.
ANGLE_RAD = 1e-9
RESIDUAL_M = 1e-12


@pytest.fixture(scope="module")
def mujoco() -> ModuleType:
    return need("mujoco")


def description(assembly: Assembly, bar: BucketLinkage) -> str:
    """MJCF text of stick, idler with power link, and bucket lug, tied at the link pin."""
    link = body(
        "power_link",
        hinge("power_link", "0 -1 0") + site("link_end", (bar.power_link, 0, 0)),
        bar.idler_length,
    )
    idler = body("idler", hinge("idler", "0 -1 0") + link, bar.pivot_x, 0.0, bar.pivot_z)
    lug = hinge("bucket", "0 -1 0") + site("lug", (assembly.attachment.pin_spacing, 0, 0))
    return (
        '<mujoco><compiler angle="radian" boundmass="1" boundinertia="1"/><worldbody>'
        + idler
        + body("bucket", lug, assembly.machine.stick_length)
        + '</worldbody><equality><connect site1="link_end" site2="lug"/></equality></mujoco>'
    )


class Loop:
    """A closed loop that is walked along: each position is found from the one before it."""

    def __init__(self, mujoco: ModuleType, assembly: Assembly, bar: BucketLinkage) -> None:
        self.mujoco = mujoco
        self.model = mujoco.MjModel.from_xml_string(description(assembly, bar))
        self.data: Any = mujoco.MjData(self.model)
        self.assembly, self.bar = assembly, bar

    def residual(self, free: NDArray[np.float64], idler: float) -> NDArray[np.float64]:
        """(x, z) by which power link and lug miss each other, as MuJoCo's constraint has it."""
        self.data.joint("idler").qpos[0] = idler
        self.data.joint("power_link").qpos[0] = free[0] - idler
        self.data.joint("bucket").qpos[0] = free[1]
        self.mujoco.mj_fwdPosition(self.model, self.data)
        assert self.data.ne == 3, "the equality constraint is not in the model"
        missed: NDArray[np.float64] = np.array(self.data.efc_pos[:3])[[0, 2]]
        return missed

    def side(self) -> float:
        """Positive where the link pin stands left of the way from idler pin to bucket pin, by MuJoCo's places."""
        idler_pin = self.data.body("power_link").xpos
        way = self.data.body("bucket").xpos - idler_pin
        link = self.data.site("lug").xpos - idler_pin
        return float(way[0] * link[2] - way[2] * link[0])

    def start(self, idler: float) -> NDArray[np.float64]:
        """A position on the linkage's branch, from seeds around the circle until one lands there."""
        for seed in np.linspace(-math.pi, math.pi, 12, endpoint=False):
            found = self.solve(np.array([seed, seed + self.bar.branch * 1.2]), idler)
            if found is not None and self.side() * self.bar.branch > 0.0:
                return found
        raise AssertionError("no seed closed the loop on this branch")

    def walk(self, idlers: list[float]) -> dict[float, NDArray[np.float64]]:
        """Idler to (power link angle, bucket angle), from the middle outwards, in small steps."""
        middle = len(idlers) // 2
        positions = {idlers[middle]: self.start(idlers[middle])}
        for way in (idlers[middle:], idlers[middle::-1]):
            for last, idler in itertools.pairwise(way):
                free: NDArray[np.float64] | None = positions[last]
                for step in np.linspace(last, idler, 4)[1:].tolist():
                    assert free is not None
                    free = self.solve(free, step)
                assert free is not None, "the loop came apart"
                assert self.side() * self.bar.branch > 0.0, "the walk slipped to the other branch"
                positions[idler] = free
        return positions

    def solve(self, seed: NDArray[np.float64], idler: float) -> NDArray[np.float64] | None:
        """(power link angle, bucket angle) in rad in the stick's frame; None where the seed led nowhere."""
        found = root(self.residual, seed, args=(idler,), method="hybr", options={"xtol": 1e-14})
        answer: NDArray[np.float64] = found.x
        closed = float(np.max(np.abs(self.residual(answer, idler)))) <= RESIDUAL_M
        return answer if closed else None


def turned_apart(a: float, b: float) -> float:
    """Difference of two directions (rad), whole turns aside."""
    return abs(math.remainder(a - b, math.tau))


def loops(mujoco: ModuleType) -> Iterator[tuple[Assembly, Loop, list[float]]]:
    """Random linkages with their loop and some idler angles over the whole range."""
    for seed in range(7000, 7000 + LINKAGES):
        assembly = seeded(seed, linkage=True)
        bar, span = assembly.machine.bucket, assembly.idler
        assert isinstance(bar, BucketLinkage)
        assert span is not None
        yield assembly, Loop(mujoco, assembly, bar), np.linspace(span.low, span.high, IDLERS).tolist()


def test_closed_loop_over_the_idlers_range(mujoco: ModuleType) -> None:
    branches = set()
    for assembly, loop, idlers in loops(mujoco):
        branches.add(loop.bar.branch)
        for idler, (power_link, bucket) in loop.walk(idlers).items():
            found = four_bar_from_idler(assembly, idler)
            assert turned_apart(found.power_link, power_link) <= ANGLE_RAD
            assert turned_apart(found.bucket, bucket) <= ANGLE_RAD
            assert abs(four_bar_from_bucket(assembly, found.bucket).idler - idler) <= ANGLE_RAD
    assert branches == {-1, 1}


def test_power_link_of_the_closed_loop_leads_back(mujoco: ModuleType) -> None:
    compared = 0
    for assembly, loop, idlers in loops(mujoco):
        positions = loop.walk(idlers)
        angles = np.unwrap([positions[idler][0] for idler in idlers])
        if np.any(np.diff(angles) <= 0.0) and np.any(np.diff(angles) >= 0.0):
            continue  # the angle turns back within the stroke: two positions share it (test_assembly)
        for idler in idlers[1:-1]:
            power_link, bucket = positions[idler].tolist()
            back = four_bar_from_power_link(assembly, power_link)
            slope = abs(float(np.interp(idler, idlers, np.gradient(angles, idlers))))
            assert abs(back.idler - idler) <= ANGLE_RAD / min(1.0, slope)
            assert turned_apart(back.bucket, bucket) <= ANGLE_RAD * (1.0 + abs(back.ratio)) / min(1.0, slope)
            compared += 1
    assert compared >= 100


def test_velocity_ratio_against_the_closed_loop(mujoco: ModuleType) -> None:
    step = 1e-4
    for assembly, loop, idlers in loops(mujoco):
        middle = idlers[IDLERS // 2]
        ends = loop.walk([middle - step, middle, middle + step])
        ratio = float(ends[middle + step][1] - ends[middle - step][1]) / (2 * step)
        # A central difference over 1e-4 rad is good to some 1e-8 of the third derivative.
        assert abs(four_bar_from_idler(assembly, middle).ratio - ratio) <= 1e-6 * (1.0 + abs(ratio))
