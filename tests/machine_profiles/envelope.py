"""How deep, how far and how high an assembly works, in terms of ISO 7135, as extremes over its whole joint ranges.

The standard's terms are known to us, its text was not to hand; what is computed here is said at each name.
"""

import cmath
import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly

Unit = NDArray[np.float64]
"""Each joint's place in its own range, 0 at the low stop, 1 at the high."""

_GRID = 6
_STARTS = 8
# A constraint is met to a micrometre.
_MET_M = 1e-6
_PENALTY = 50.0
_PLANAR = ("boom", "fore_boom", "stick", "bucket")


@dataclass(frozen=True, slots=True)
class Extreme:
    """A dimension (m) and the pose that has it."""

    metres: float
    found: Pose


@dataclass(frozen=True, slots=True)
class Envelope:
    """Of one assembly on level ground, swing boom ahead, tilt and rotation at 0.

    `depth`: of the cutting edge's lowest point under the ground. `reach`: from the swing axis to the edge's centre
    with the edge's lowest point on the ground. `dump`: the bucket's lowest point over the ground, with its tip
    (tooth or edge centre) hanging plumb below the bucket pin.
    """

    depth: Extreme
    reach: Extreme
    dump: Extreme


def tip_of(assembly: Assembly) -> str:
    """The point that hangs below the pin when the bucket is dumped."""
    return "centre" if assembly.attachment.teeth is None else "tooth_centre"


def envelope_of(assembly: Assembly) -> Envelope:
    """The three extremes; the machine's `boom_foot_height` must be known."""
    ground = assembly.machine.boom_foot_height
    assert ground is not None
    names = [name for name in _PLANAR if name in assembly.ranges]
    still = {name: 0.0 for name in ("swing_boom", "tilt", "rotate") if name in assembly.ranges}
    spans = [assembly.ranges[name] for name in names]
    tip = tip_of(assembly)

    def at(u: Unit) -> Pose:
        # SLSQP may stand a rounding beyond a bound; the slack of the stops takes that.
        angles = (span.low + t * (span.high - span.low) for span, t in zip(spans, u.tolist(), strict=True))
        return pose(assembly, pitch=0.0, roll=0.0, **dict(zip(names, angles, strict=True)), **still)

    def edge_low(u: Unit) -> float:
        return float(at(u).edge_line()[:, 2].min())

    def aside(u: Unit) -> float:
        found = at(u)
        return found.level(tip)[0] - found.pins()["bucket_pin"][0]

    size = len(names)
    depth = at(_least(edge_low, [], size))
    reach = at(_least(lambda u: -at(u).reach, [lambda u: edge_low(u) + ground], size))
    dump = at(_least(lambda u: -at(u).lowest()[1], [aside], size))
    assert dump.height(tip) < dump.pins()["bucket_pin"][2]
    return Envelope(
        Extreme(-ground - float(depth.edge_line()[:, 2].min()), depth),
        Extreme(reach.reach, reach),
        Extreme(ground + dump.lowest()[1], dump),
    )


def _least(cost: Callable[[Unit], float], zeros: list[Callable[[Unit], float]], size: int) -> Unit:
    """Where `cost` is least over the unit cube while every one of `zeros` is 0: the best of several grid starts."""

    def ranked(u: Unit) -> float:
        return cost(u) + _PENALTY * sum(abs(zero(u)) for zero in zeros)

    grid = [np.array(u) for u in itertools.product(np.linspace(0.0, 1.0, _GRID), repeat=size)]
    best: tuple[float, Unit] | None = None
    for start in sorted(grid, key=ranked)[:_STARTS]:
        found = minimize(
            cost, start, method="SLSQP", bounds=[(0.0, 1.0)] * size,
            constraints=[{"type": "eq", "fun": zero} for zero in zeros],
            options={"ftol": 1e-13, "maxiter": 500},
        )  # fmt: skip
        met = all(abs(zero(found.x)) <= _MET_M for zero in zeros)
        if met and math.isfinite(found.fun) and (best is None or found.fun < best[0]):
            best = float(found.fun), found.x
    assert best is not None, "no start led to a posture that meets the constraints"
    return best[1]


def by_hand(assembly: Assembly) -> tuple[float, float]:
    """(depth, reach) in m by two sentences of plane geometry, true where no other stop is met before.

    Deepest: boom at its low stop, below it fore boom and stick run out, bucket pin and edge plumb below. Farthest: all
    run out, the edge on the line from boom foot through bucket pin. A straight edge straight on the machine's pins.
    """
    machine, ranges = assembly.machine, assembly.ranges
    ground = machine.boom_foot_height
    assert ground is not None
    assert assembly.attachment.coupler is None
    x, _, z = assembly.attachment.edge[assembly.attachment.centre]
    bucket = math.hypot(x, z)
    below = (machine.fore_boom_length or 0.0) + cmath.rect(machine.stick_length, ranges["stick"].high)
    if "fore_boom" in ranges:
        deep, bent = abs(below), cmath.rect(1.0, ranges["fore_boom"].high) * below
    else:
        deep, bent = machine.stick_length, below
    depth = -machine.boom_length * math.sin(ranges["boom"].low) + deep + bucket - ground
    far = math.sqrt((abs(machine.boom_length + bent) + bucket) ** 2 - ground**2)
    return depth, machine.swing_post_x + machine.boom_foot_x + far
