"""Corrections to a target: a plane that slopes forward and to the left, and what then stands where."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kinematics.arm import Pose, pose
from kinematics.assembly import assemble
from kinematics.corrections import corrections, cross_slope_correction
from kinematics.errors import Refused
from kinematics.grade import Layer, Target
from kinematics.levelling import Book
from kinematics.reach import Line
from kinematics.readout import Aim, Readout, readout
from kinematics.stations import anchor, level_slopes, station
from tests.amounts import several

from .machines import plain_bucket, plain_machine, random_angles, seeded
from .poses import LEAST_RUN_M

ON_PLANE_M = 1e-9  # rounding over some twenty metres
RIG = assemble(plain_machine(), plain_bucket())
LEVEL_RIG = pose(RIG, pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=1.0)


def started(seed: int) -> Pose:
    assembly = seeded(seed, linkage=False, driven=False)
    found = pose(assembly, **random_angles(np.random.default_rng([71, seed]), assembly))
    left, right = found.level("left"), found.level("right")
    assume(math.dist(left[:2], right[:2]) > LEAST_RUN_M)
    return found


def moved(found: Pose, joint: str, angle: float) -> Pose:
    joints = {name: found.joint(name) for name in found.assembly.ranges} | {joint: angle}
    return pose(found.assembly, pitch=float(found.q[0]), roll=float(found.q[1]), **joints)


@given(
    seed=st.integers(0, 2000), rise=st.floats(-1.0, 1.0), slope=st.floats(-0.3, 0.3), left=st.floats(-0.3, 0.3)
)  # fmt: skip
@settings(deadline=None, max_examples=several(60))
def test_a_move_comes_to_the_plane_and_its_places_are_those_of_the_moved_pose(
    seed: int, rise: float, slope: float, left: float
) -> None:
    start = started(seed)
    x0, y0, z0 = start.level("right")
    for one in corrections(start, Line(z0 + rise, slope, x0), point="right", left_slope=left):
        there = moved(start, one.joint, one.angle)
        x, y, z = there.level("right")
        off = z - (z0 + rise + slope * (x - x0) + left * (y - y0))
        assert abs(off - one.off_by_m) <= ON_PLANE_M
        if (
            abs(abs(off) - ON_PLANE_M) > 1e-3 * ON_PLANE_M
        ):  # on the border itself the last bit of either decides
            assert one.reaches == (abs(off) <= ON_PLANE_M)
        for name, place in one.places.items():
            if not name.startswith("edge_"):
                assert math.dist(place, there.level(name)) <= ON_PLANE_M
        what, lowest = there.lowest()
        assert abs(min(z for _, _, z in one.places.values()) - lowest) <= ON_PLANE_M
        assert abs(one.places[what][2] - lowest) <= ON_PLANE_M
    tilt = cross_slope_correction(start, start.cross_slope + 0.02)
    if tilt is not None:
        there = moved(start, "tilt", tilt.angle)
        assert math.dist(tilt.places["left"], there.level("left")) <= ON_PLANE_M


def test_left_slope_must_be_finite() -> None:
    with pytest.raises(Refused) as refused:
        corrections(LEVEL_RIG, Line(0.0), left_slope=math.nan)
    assert refused.value.code == "not-finite"


def on_a_slope(swing: float, steep: float, **joints: float) -> Pose:
    """A body that swings on a stand of which the left track lies higher: its lean follows."""
    x, y = steep * math.sin(swing), steep * math.cos(swing)
    z = math.sqrt(1.0 - x * x - y * y)
    return pose(RIG, pitch=math.asin(x), roll=math.atan2(y, z), **joints)


@given(
    before=st.floats(-3.0, 3.0), swung=st.floats(-3.0, 3.0), steep=st.floats(0.0, 0.2), along=st.floats(-0.2, 0.2),
    across=st.floats(-0.2, 0.2),
)  # fmt: skip
@settings(deadline=None)
def test_level_slopes_are_those_of_the_stations(
    before: float, swung: float, steep: float, along: float, across: float
) -> None:
    """Between any two points of the bucket the target rises by the slopes times their way in the level frame."""
    known = anchor(on_a_slope(before, steep, boom=0.6, stick=-1.6, bucket=1.0), "centre", 3.0, before, 1)
    found = on_a_slope(swung, steep, boom=0.4, stick=-1.3, bucket=0.9)
    forward, left = level_slopes(known, found, swung, along, across)
    for one, other in (("left", "right"), ("heel_left", "centre")):
        (s1, r1), (s2, r2) = (station(known, found, name, swung, 1, swung=True) for name in (one, other))
        (x1, y1, _), (x2, y2, _) = found.level(one), found.level(other)
        wanted = along * (s2 - s1) + across * (r2 - r1)
        assert abs(forward * (x2 - x1) + left * (y2 - y1) - wanted) <= ON_PLANE_M


def test_a_quarter_turn() -> None:
    """Boom along the line: (along, -across). Swung 90 deg to the left, level ground: (-across, -along)."""
    level = LEVEL_RIG
    known = anchor(level, "centre", 0.0, 0.0, 1)
    for swing, wanted in ((0.0, (0.02, 0.05)), (0.5 * math.pi, (0.05, -0.02)), (math.pi, (-0.02, -0.05))):
        assert math.dist(level_slopes(known, level, swing, 0.02, -0.05), wanted) <= 1e-12


# --- in a readout ---

TARGET = Target("footing", "slab", (Layer("all", 1.42),), 0.0, 0.03, floor_limit_below_m=1.46)


def told(
    found: Pose, over: float, target: Target = TARGET, line: str = "edge", point: str = "centre"
) -> Readout:  # fmt: skip
    """A readout with the middle of the line `over` (m) a target at 98.58."""
    middle = "centre" if line == "edge" else "tooth_centre"
    book, _ = (
        Book()
        .placed()
        .declared(1, "slab", 100.0)
        .touched(2, "slab", 1.42 - over + found.height(middle), check=False)
    )
    return readout(found, book, Aim(target, book.points["slab"]), line=line, point=point)


def test_teeth_that_then_stand_too_deep_are_told() -> None:
    """Teeth 80 mm below the edge: the edge on the target has them 80 mm under it, 40 mm under the floor limit."""
    teeth = ((-0.2, 0.7, -1.28), (-0.2, 0.0, -1.28), (-0.2, -0.7, -1.28))
    rig = assemble(plain_machine(), plain_bucket(teeth=teeth))
    found = pose(rig, pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=1.0)
    boom = told(found, 0.10).corrections[0]
    turned = boom.move.move_rad
    deep = 0.08 * math.cos(turned)
    assert boom.move.reaches
    assert boom.deepest.startswith("tooth_")
    assert boom.below_target == pytest.approx(deep, abs=1e-9)
    assert [fault.code for fault in boom.then] == ["past-target", "below-floor-limit"]
    assert boom.then[0].numbers["below_target_m"] == pytest.approx(deep, abs=1e-9)
    assert boom.then[1].numbers["below_floor_limit_m"] == pytest.approx(deep - 0.04, abs=1e-9)
    by_teeth = told(found, 0.10, line="teeth").corrections[0]
    assert by_teeth.then == ()
    assert by_teeth.below_target == pytest.approx(0.0, abs=1e-6)


def test_each_point_has_corrections_of_its_own() -> None:
    """Leaning by 2 deg a corner stands some 25 mm off the centre: each is brought to the target itself."""
    found = pose(RIG, pitch=0.0, roll=math.radians(2.0), boom=0.6, stick=-1.6, bucket=1.0)
    moves = {}
    for point in ("left", "centre", "right"):
        readout_of = told(found, 0.1, point=point)
        over = readout_of.points[point].cut_fill
        assert over is not None
        boom = readout_of.corrections[0].move
        moves[point] = boom.move_rad
        assert boom.reaches
        assert abs(boom.places[point][2] - (found.height(point) - over.value_m)) <= ON_PLANE_M
    assert moves["left"] != moves["right"]
    assert min(moves["left"], moves["right"]) < moves["centre"] < max(moves["left"], moves["right"])


def test_within_the_tolerance_nothing_is_told() -> None:
    found = LEVEL_RIG
    for one in told(found, 0.02, replace(TARGET, floor_limit_below_m=None)).corrections:
        assert (one.then != ()) == (one.below_target > 0.03)
    assert told(found, 0.02).tilt is None, "no tilt axis"


def test_no_advice_without_cut_or_fill() -> None:
    found = LEVEL_RIG
    book = Book().placed().declared(1, "slab", 100.0)
    without = readout(found, book, Aim(TARGET, book.points["slab"]))
    assert (without.corrections, without.tilt) == ((), None)
    assert [fault.code for fault in without.why_not] == ["height-unknown"]
    sloping = replace(TARGET, along_percent=2.0, floor_limit_below_m=None)
    assert told(found, 0.1, sloping).corrections == ()
