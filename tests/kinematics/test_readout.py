"""The readout says what it can, and why the rest cannot be said."""

import math
from dataclasses import replace

import pytest

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.errors import Refused
from kinematics.grade import Layer, Target
from kinematics.levelling import Book, Laser
from kinematics.readout import Aim, readout
from kinematics.stations import anchor
from tests.kinematics.machines import plain_bucket, plain_machine
from tests.tolerances import NOISE_M

RIG = assemble(plain_machine(), plain_bucket())
FOUND = pose(RIG, pitch=0.02, roll=0.035, boom=0.6, stick=-1.6, bucket=1.0)
Z = FOUND.height("centre")
TARGET = Target("footing", "slab", (Layer("all", 1.42),), 0.0, 0.03, floor_limit_below_m=1.60)


def book() -> Book:
    fresh = Book().placed().declared(1, "slab", 100.0).laser_set_up(Laser(10.0, 0.0))
    touched, _ = fresh.touched(2, "slab", -1.85, check=False)
    return touched


def aim(target: Target = TARGET) -> Aim:
    return Aim(target, book().points["slab"], frozenset({7}))


def test_cut_at_three_points() -> None:
    told = readout(FOUND, book(), aim())
    for name, point in told.points.items():
        assert point.elevation == pytest.approx(101.85 + FOUND.height(name), abs=NOISE_M)
        assert point.target == pytest.approx(98.58, abs=NOISE_M)
        assert point.cut_fill is not None
        assert point.cut_fill.value_m == pytest.approx(101.85 + FOUND.height(name) - 98.58, abs=NOISE_M)
    assert told.hangs_on == {1, 2, 7}
    assert told.why_not == ()
    assert told.target_cross_slope == pytest.approx(0.0, abs=NOISE_M)


def test_left_side_up_lifts_the_left_corner() -> None:
    """Roll +2 deg: the left corner is higher, the right corner must go down less."""
    told = readout(FOUND, book(), aim())
    left, right = told.points["left"].cut_fill, told.points["right"].cut_fill
    assert left is not None
    assert right is not None
    assert left.value_m > right.value_m
    assert FOUND.cross_slope < 0.0


def test_no_height_says_why_and_what_to_do() -> None:
    told = readout(FOUND, book().moved(), aim())
    assert [f.code for f in told.why_not] == ["height-unknown"]
    assert "touch a benchmark" in told.why_not[0].advice
    assert told.points["centre"].elevation is None
    assert told.points["centre"].cut_fill is None
    assert told.points["centre"].target == pytest.approx(98.58, abs=NOISE_M)
    assert told.lowest[1] is None


def test_no_setup_says_so() -> None:
    assert [f.code for f in readout(FOUND, Book(), None).why_not] == ["no-setup"]


def test_depth_below_a_struck_plane_needs_no_benchmark() -> None:
    struck, _ = Book().placed().laser_set_up(Laser(10.0, 0.01)).struck_by_laser(3, 1.1, None)
    told = readout(FOUND, struck, None)
    assert told.points["centre"].below_plane == pytest.approx(1.1 - Z, abs=NOISE_M)
    assert told.hangs_on == {3}
    assert told.points["centre"].elevation is None


def test_sloping_target_follows_the_edge() -> None:
    """2 % along, -1 % across: the target under each point is the formula's, its slope along the edge -1 %."""
    sloping = replace(TARGET, along_percent=2.0, across_percent=-1.0, floor_limit_below_m=None)
    zero = pose(RIG, pitch=0.02, roll=0.035, boom=0.6, stick=-1.4, bucket=1.0)
    known = anchor(zero, "centre", 3.0, None, 1)
    told = readout(FOUND, book(), replace(aim(sloping), anchor=known))
    for name, point in told.points.items():
        x, y, _ = FOUND.level(name)
        x0, y0, _ = zero.level("centre")
        expected = 98.58 + 0.02 * (3.0 + x - x0) - 0.01 * -(y - y0)
        assert point.target == pytest.approx(expected, abs=NOISE_M)
        assert point.station == pytest.approx(3.0 + x - x0, abs=NOISE_M)
    assert told.target_cross_slope == pytest.approx(
        -0.01, abs=1e-3
    )  # the edge stands nearly square to the boom


def test_sloping_target_without_a_zero_point_gives_elevation_only() -> None:
    sloping = replace(TARGET, along_percent=2.0, floor_limit_below_m=None)
    told = readout(FOUND, book(), aim(sloping))
    assert [f.code for f in told.why_not] == ["station-unknown"]
    assert told.points["centre"].elevation is not None
    assert told.points["centre"].cut_fill is None


def test_lapsed_zero_point_gives_way_to_an_entered_distance() -> None:
    sloping = replace(TARGET, along_percent=2.0, floor_limit_below_m=None)
    known = anchor(FOUND, "centre", 0.0, None, 1)
    lapsed = replace(aim(sloping), anchor=known, swung=True)
    assert [f.code for f in readout(FOUND, book(), lapsed).why_not] == ["station-lapsed"]
    entered = readout(FOUND, book(), replace(lapsed, entered_station=-4.0))
    assert entered.why_not == ()
    assert entered.points["centre"].target == pytest.approx(98.58 - 0.08, abs=NOISE_M)


def test_entered_station_is_the_edge_centres_in_either_line() -> None:
    """Teeth 0.1 m nearer the machine stand at a station 0.1 m lower, whichever line is read."""
    teeth = ((-0.3, 0.7, -1.25), (-0.3, 0.0, -1.25), (-0.3, -0.7, -1.25))
    found = pose(
        assemble(plain_machine(), plain_bucket(teeth=teeth)),
        pitch=0.0,
        roll=0.0,
        boom=0.6,
        stick=-1.6,
        bucket=1.0,
    )
    sloping = replace(TARGET, along_percent=10.0, floor_limit_below_m=None)
    entered = replace(aim(sloping), entered_station=5.0)
    edge, by_teeth = (
        readout(found, book(), entered, line=line).points["centre"] for line in ("edge", "teeth")
    )
    assert edge.station == pytest.approx(5.0, abs=NOISE_M)
    apart = found.level("tooth_centre")[0] - found.level("centre")[0]
    assert by_teeth.station == pytest.approx(5.0 + apart, abs=NOISE_M)
    assert apart == pytest.approx(-0.1, abs=0.01)


def test_rounding_decides_no_flag() -> None:
    """A floor flat to the last bit rubs nowhere; an edge on the floor limit is not below it."""
    flat = pose(RIG, pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=1.0)
    on_limit = replace(TARGET, floor_limit_below_m=1.42)
    height = replace(book().height, elevation=98.58 - flat.lowest()[1] - 1e-12)  # type: ignore[type-var]
    told = readout(flat, replace(book(), height=height), aim(on_limit))
    assert told.warnings == ()
    assert not told.below_floor_limit
    assert not any(p.cut_fill and p.cut_fill.below_floor_limit for p in told.points.values())


def test_floor_limit_is_said_of_the_lowest_point() -> None:
    low = replace(book(), height=replace(book().height, elevation=98.40 - Z))  # type: ignore[type-var]
    told = readout(FOUND, low, aim())
    what, elevation = told.lowest
    assert elevation is not None
    assert elevation <= min(p.elevation for p in told.points.values() if p.elevation is not None)
    assert told.below_floor_limit == (elevation < 98.40)
    assert told.below_floor_limit
    assert "below-floor-limit" in [w.code for w in told.warnings]
    assert what


def test_teeth_past_the_target_are_told_while_the_edge_still_cuts() -> None:
    """Teeth 80 mm below the edge: edge cut 45 mm, teeth 35 mm too deep. In the line of the teeth it is told anyway."""
    teeth = ((-0.2, 0.7, -1.28), (-0.2, 0.0, -1.28), (-0.2, -0.7, -1.28))
    rig = assemble(plain_machine(), plain_bucket(teeth=teeth))
    found = pose(rig, pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=1.0)
    at_edge = replace(book(), height=replace(book().height, elevation=98.58 + 0.045 - found.height("centre")))  # type: ignore[type-var]
    told = readout(found, at_edge, aim())
    assert told.points["centre"].cut_fill is not None
    assert told.points["centre"].cut_fill.word == "cut"
    assert [w.code for w in told.warnings] == ["past-target"]
    assert told.warnings[0].numbers["below_target_m"] == pytest.approx(0.035, abs=NOISE_M)
    by_teeth = readout(found, at_edge, aim(), line="teeth")
    assert by_teeth.points["centre"].cut_fill is not None
    assert by_teeth.points["centre"].cut_fill.word == "fill"
    assert by_teeth.warnings == ()


def test_heel_that_rubs_is_a_warning() -> None:
    curled = pose(RIG, pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=RIG.ranges["bucket"].high)
    told = readout(curled, book(), None)
    expected = ["heel-rubs"] if curled.heel_clearance < 0 else []
    assert [w.code for w in told.warnings] == expected
    assert math.isfinite(curled.heel_clearance)


def test_teeth_on_a_bucket_without_them_are_refused() -> None:
    bare = assemble(plain_machine(), plain_bucket())
    found = pose(bare, pitch=0.0, roll=0.0, boom=0.6, stick=-1.6, bucket=1.0)
    with pytest.raises(Refused) as refused:
        readout(found, book(), None, line="teeth")
    assert refused.value.code == "no-such-point"
