"""Shares of a change: against Shapley's definition by all orders in SymPy, and against geometry."""

import math
from dataclasses import replace
from fractions import Fraction
from itertools import permutations

import numpy as np
import pytest
import sympy
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.correction_block import ADVISED, desk, levers, write_axes
from kinematics.errors import Refused
from kinematics.explain import (
    FACTORS,
    LEAN,
    Side,
    TargetPlane,
    explain,
    explain_series,
    other_start,
    shapley,
)
from kinematics.machine import Range, Receiver
from tests.amounts import several

from .machines import DIGGING, LEVEL, plain_bucket, plain_machine, random_angles, seeded, tiltrotator_bucket

Floats = NDArray[np.float64]
SUM = 1e-11  # m, ratio: rounding of a thousand mixtures of some ten metres
PLAIN = assemble(plain_machine(), plain_bucket())


def digging(**changes: float) -> Pose:
    return pose(PLAIN, **(LEVEL | DIGGING | changes))


def by_all_orders(values: list[sympy.Expr], players: int) -> list[sympy.Expr]:
    """The definition: what each player adds when it comes, over all orders of coming."""
    total = [sympy.Integer(0)] * players
    for order in permutations(range(players)):
        there = 0
        for player in order:
            total[player] += values[there | 1 << player] - values[there]
            there |= 1 << player
    return [sympy.simplify(each / math.factorial(players)) for each in total]


@pytest.mark.parametrize("players", [1, 2, 3, 4])
def test_shapley_by_all_orders_in_sympy(players: int) -> None:
    rng = np.random.default_rng(players)
    values = [Fraction(int(each), 64) for each in rng.integers(-640, 640, 1 << players)]
    wanted = by_all_orders([sympy.Rational(each.numerator, each.denominator) for each in values], players)
    found = shapley(np.array([float(each) for each in values]))
    for mine, theirs in zip(found, wanted, strict=True):
        assert math.isfinite(mine)
        assert abs(mine - float(theirs)) <= 1e-13  # rounding of 16 numbers below ten


def test_a_plane_arm_in_sympy() -> None:
    """Three links in a plane by the textbook, all orders of three joints."""
    joints = sympy.symbols("boom stick bucket", real=True)
    boom, stick, bucket = joints
    machine, (ahead, across, up) = PLAIN.machine, PLAIN.attachment.edge[1]
    assert across == 0.0
    floor = boom + stick + bucket
    height = (
        machine.boom_length * sympy.sin(boom) + machine.stick_length * sympy.sin(boom + stick)
        + ahead * sympy.sin(floor) + up * sympy.cos(floor)
    )  # fmt: skip
    first, second = {"boom": 0.6, "stick": -1.6, "bucket": 1.0}, {"boom": 0.45, "stick": -1.1, "bucket": 0.4}
    values = [
        height.subs({
            joint: (second if mask >> i & 1 else first)[str(joint)] for i, joint in enumerate(joints)
        })
        for mask in range(8)
    ]  # fmt: skip
    told = explain(Side(digging(**first)), Side(digging(**second))).changes["height"]
    assert list(told.shares) == ["boom", "stick", "bucket"]
    for mine, theirs in zip(told.shares.values(), by_all_orders(values, 3), strict=True):
        assert abs(mine - float(theirs)) <= SUM


@settings(max_examples=several(30), deadline=None)
@given(st.integers(0, 11), st.integers(0, 10_000))
def test_shares_add_up_and_turn_round(seed: int, draw: int) -> None:
    """All that can change does; told the other way round every share has the other sign."""
    assembly = seeded(seed, linkage=seed % 2 == 1)
    rng = np.random.default_rng([90, seed, draw])
    sides = []
    for point in ("left", "right"):
        found = pose(assembly, **random_angles(rng, assembly))
        level = TargetPlane(*rng.uniform(-2.0, 0.5, 1), *rng.uniform(-0.1, 0.1, 2))
        sides.append(Side(found, point, float(rng.uniform(95, 105)), level))
    try:
        there, back = explain(*sides), explain(*reversed(sides))
    except Refused:  # a mixture with its edge on end
        reject()
    assert there.changed == tuple(
        name for name in FACTORS if name in (*LEAN, *assembly.ranges, "edge_point", "reference", "target")
    )
    assert there.turn is None
    for quantity, change in there.changes.items():
        assert all(math.isfinite(each) for each in change.shares.values())
        assert abs(math.fsum(change.shares.values()) - change.total) <= SUM
        for name, share in change.shares.items():
            assert abs(share + back.changes[quantity].shares[name]) <= SUM
    before, after = (side.pose.height(side.point) + (side.origin or 0.0) - sloping(side) for side in sides)
    change = there.changes["above_target"]
    assert abs(change.before - before) <= SUM
    assert abs(change.after - after) <= SUM
    # What is only added has the share that it adds.
    assert abs(there.changes["elevation"].shares["reference"] - (sides[1].origin - sides[0].origin)) <= SUM  # type: ignore[operator]
    assert there.changes["elevation"].shares["target"] == 0.0
    assert there.changes["reach"].shares["reference"] == 0.0


def sloping(side: Side) -> float:
    assert side.target is not None
    x, y, _ = side.pose.level(side.point)
    return side.target.elevation + side.target.ahead * x + side.target.left * y


def test_the_bucket_alone() -> None:
    """Curled 0.3 about its pin: the whole change is the bucket's, and the pin stays."""
    before, after = digging(), digging(bucket=0.7)
    told = explain(Side(before), Side(after))
    assert told.changed == ("bucket",)
    change = told.changes["height"]
    assert change.shares == {"bucket": pytest.approx(change.total, abs=SUM)}
    assert "elevation" not in told.changes
    turn = told.turn
    assert turn is not None
    assert abs(turn.angle - 0.3) <= 1e-12
    x, _, z = before.pins()["bucket_pin"]  # level body: body places are level ones
    assert abs(turn.at[0] - x) <= 1e-9
    assert abs(turn.at[2] - z) <= 1e-9
    radius = math.dist(before.level("centre")[::2], (x, z))
    assert abs(turn.radius - radius) <= 1e-9
    assert abs(turn.arc - 0.3 * radius) <= 1e-9
    assert abs(turn.axis[1] - 1.0) <= 1e-12, "curling in turns from z to x"


@pytest.mark.parametrize("seed", range(12))
def test_what_one_joint_turns_about(seed: int) -> None:
    """Its axis as `correction_block` has it; and the turn carries the point where it then stands."""
    assembly = seeded(seed, linkage=seed % 2 == 1)
    rng = np.random.default_rng([91, seed])
    angles = random_angles(rng, assembly)
    before = pose(assembly, **angles)
    for name, span in assembly.ranges.items():
        to = angles[name] + (0.05 if angles[name] + 0.05 <= span.high else -0.05)
        assert span.low <= to
        after = pose(assembly, **(angles | {name: to}))
        turn = explain(Side(before), Side(after)).turn
        assert turn is not None
        start, end = (np.array(each.level("centre")) for each in (before, after))
        k, p = np.array(turn.axis), np.array(turn.at)
        lever = start - p
        turned = (
            p + lever * math.cos(turn.angle) + np.cross(k, lever) * math.sin(turn.angle)
            + k * float(k @ lever) * (1 - math.cos(turn.angle))
        )  # fmt: skip
        assert np.max(np.abs(turned - end)) <= 1e-9
        assert abs(turn.angle - 0.05) <= 1e-12
        if name in ADVISED:
            axes = desk(levers(assembly))[1]
            write_axes(assembly.parameters, before.q, axes)
            there = axes[ADVISED.index(name)]
            way = 1.0 if to > angles[name] else -1.0
            assert np.max(np.abs(way * there[3:] - k)) <= 1e-9
            off = there[:3] - p
            assert (
                np.max(np.abs(off - k * float(k @ off))) <= 1e-7
            )  # a small turn says less of where than of which way


def test_no_turn_but_of_one_joint_alone() -> None:
    """The lean turns the level frame as well; another reference, or tracks that moved, is another change."""
    here, curled = digging(), digging(bucket=0.7)
    assert explain(Side(here), Side(digging(pitch=0.05))).turn is None
    assert explain(Side(here, origin=100.0), Side(curled, origin=100.1)).turn is None
    assert explain(Side(here, stood=(1,)), Side(curled, stood=(2,))).turn is None
    assert (
        explain(Side(here, origin=100.0, stood=(1,)), Side(curled, origin=100.0, stood=(1,))).turn is not None
    )


def test_a_rounding_is_no_change() -> None:
    one = Side(digging(), origin=100.0, target=TargetPlane(98.0, 0.02, 0.01))
    other = Side(
        digging(bucket=0.7, boom=0.6 + 1e-12),
        origin=100.0 + 1e-13,
        target=TargetPlane(98.0 + 1e-14, 0.02, 0.01),
    )
    told = explain(one, other)
    assert told.changed == ("bucket",)
    assert told.turn is not None
    for change in told.changes.values():
        assert abs(math.fsum(change.shares.values()) - change.total) <= SUM


def test_a_receiver_clamped_elsewhere_is_no_other_machine() -> None:
    held = Receiver((1.0, 0.0, 0.3), (0.0, 0.0, 1.0))
    first, second = (
        pose(assemble(plain_machine(receiver=each), plain_bucket()), **(LEVEL | DIGGING))
        for each in (held, replace(held, place=(1.2, 0.0, 0.3)))
    )
    assert explain(Side(first), Side(second)).changed == ()


def test_limits_of_a_later_revision() -> None:
    """The same geometry with more room for one joint: told either way round."""
    tools = [replace(tiltrotator_bucket().tilt, range=Range(-most, most)) for most in (0.5, 0.9)]  # type: ignore[type-var]
    poses = [
        pose(assemble(plain_machine(), plain_bucket(tilt=tool)), pitch=0.0, roll=0.0, tilt=tilt, **DIGGING)
        for tool, tilt in zip(tools, (0.0, 0.8), strict=True)
    ]
    there, back = explain(*map(Side, poses)), explain(*map(Side, reversed(poses)))
    assert there.changed == back.changed == ("tilt",)
    assert abs(there.changes["cross_slope"].total + back.changes["cross_slope"].total) <= SUM


@pytest.mark.parametrize(
    ("low", "high", "told"), [(-1.5, 1.5, 3.0), (0.0, math.pi, math.pi), (-math.pi, math.pi, None)]
)
def test_half_round_and_all_round(low: float, high: float, told: float | None) -> None:
    both = assemble(plain_machine(), tiltrotator_bucket())
    before, after = (pose(both, **LEVEL, **DIGGING, tilt=0.0, rotate=angle) for angle in (low, high))
    found = explain(Side(before, "left"), Side(after, "left"))
    assert found.changed == ("rotate",)
    if told is None:
        assert found.turn is None
        return
    assert found.turn is not None
    assert abs(found.turn.angle - told) <= 1e-12
    assert abs(abs(found.turn.axis[2]) - 1.0) <= 1e-9
    far = math.dist(before.level("left"), after.level("left"))
    assert abs(far - 2.0 * found.turn.radius * math.sin(0.5 * told)) <= 1e-9


def test_games_that_are_none() -> None:
    for values in ([], [1.0, 2.0, 3.0], [math.nan, 1.0], [math.inf, 1.0]):
        with pytest.raises(ValueError, match="finite values"):
            shapley(np.array(values))


def test_a_rotator_more_than_half_round() -> None:
    """From -2 to 2 rad anticlockwise: 4 rad about an upright axis, not 2.28 the other way."""
    both = assemble(plain_machine(), tiltrotator_bucket())
    before, after = (pose(both, **LEVEL, **DIGGING, tilt=0.0, rotate=angle) for angle in (-2.0, 2.0))
    turn = explain(Side(before, "left"), Side(after, "left")).turn
    assert turn is not None
    assert abs(turn.angle - 4.0) <= 1e-12
    assert abs(turn.axis[2] - 1.0) <= 1e-9
    assert abs(turn.arc - 4.0 * turn.radius) <= 1e-9
    middle = 0.5 * (np.array(before.level("left")) + np.array(after.level("left")))
    start = np.array(before.level("left")) - turn.at
    assert abs(np.linalg.norm(middle - turn.at) - np.linalg.norm(start) * abs(math.cos(2.0))) <= 1e-9


def test_another_point_has_a_share() -> None:
    found = pose(
        assemble(plain_machine(), tiltrotator_bucket()), pitch=0.0, roll=0.1, tilt=0.0, rotate=0.0, **DIGGING
    )
    told = explain(Side(found, "left"), Side(found, "right"))
    assert told.changed == ("edge_point",)
    rise = found.height("right") - found.height("left")
    assert told.changes["height"].shares == {"edge_point": pytest.approx(rise, abs=SUM)}
    assert told.changes["cross_slope"].total == 0.0


def test_nothing_changed() -> None:
    told = explain(Side(digging()), Side(digging()))
    assert told.changed == ()
    assert told.changes["height"].shares == {}
    assert told.changes["height"].total == 0.0


def test_step_by_step_adds_up_to_the_way() -> None:
    way = [Side(digging(boom=0.6 - 0.02 * k, bucket=1.0 - 0.05 * k), origin=100.0) for k in range(6)]
    steps = explain_series(way)
    assert len(steps) == 5
    moved = sum(math.fsum(each.changes["elevation"].shares.values()) for each in steps)
    whole = explain(way[0], way[-1]).changes["elevation"]
    assert abs(moved - whole.total) <= SUM


def test_the_same_turn_elsewhere() -> None:
    """Height follows r sin about the pin: nowhere in the range does the turn differ more than where it is told to."""
    found = digging()
    told = other_start(found, "bucket", -0.3)
    assert told is not None
    start, rise = told
    span = PLAIN.ranges["bucket"]
    assert span.low <= start - 0.3 <= start <= span.high
    again = digging(bucket=start - 0.3).height("centre") - digging(bucket=start).height("centre")
    assert abs(rise - again) <= SUM
    own = digging(bucket=0.7).height("centre") - found.height("centre")
    for other in np.linspace(span.low + 0.3, span.high, 50):
        there = digging(bucket=other - 0.3).height("centre") - digging(bucket=other).height("centre")
        assert (
            abs(there - own) <= abs(rise - own) + 1e-3
        )  # the starts that are tried stand a degree or so apart
    assert other_start(found, "bucket", 10.0) is None
    with pytest.raises(Refused) as refused:
        other_start(found, "tilt", 0.1)
    assert [each.code for each in refused.value.faults] == ["no-such-joint"]


def test_what_cannot_be_compared() -> None:
    here, other = (
        digging(),
        pose(assemble(plain_machine(boom_length=5.1), plain_bucket()), **(LEVEL | DIGGING)),
    )
    with pytest.raises(Refused) as told:
        explain(Side(here, "tip", math.nan), Side(other, "tooth_left", target=TargetPlane(math.inf)))
    assert sorted((each.code, each.where) for each in told.value.faults) == [
        ("another-machine", "after"), ("no-such-point", "after.point"), ("no-such-point", "before.point"),
        ("not-finite", "after.target"), ("not-finite", "before.origin"), ("one-sided", "after.origin"),
        ("one-sided", "before.target"),
    ]  # fmt: skip
    with pytest.raises(Refused) as told:
        explain_series([Side(here)])
    assert [each.code for each in told.value.faults] == ["too-few"]


def test_a_mixture_that_cannot_be_read() -> None:
    """Each pose is well, but with the first's tilt and the second's roll the edge stands plumb."""
    on_end = tiltrotator_bucket().tilt
    assert on_end is not None
    tool = plain_bucket(tilt=replace(on_end, range=Range(-2.0, 2.0)))
    both = assemble(plain_machine(), tool)
    before, after = (
        pose(both, pitch=0.0, roll=roll, tilt=tilt, **DIGGING)
        for roll, tilt in ((0.0, 0.5 * math.pi - 0.2), (0.2, 0.0))
    )
    with pytest.raises(Refused) as told:
        explain_series([Side(before), Side(after)])
    [fault] = told.value.faults
    assert (fault.code, fault.where) == ("no-share", "1.after")
    assert "edge-plumb" in fault.found
    assert "roll moved and the rest not" in fault.found
    assert fault.numbers == {"mixtures": 4.0, "unread": 1.0}
