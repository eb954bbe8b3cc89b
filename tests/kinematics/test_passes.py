"""The longest pass: two links by Pythagoras, every place posed anew, both ends tried past, and a fact of the trade."""

import math
from itertools import pairwise

import numpy as np
import pytest

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.errors import Refused
from kinematics.machine import Range
from kinematics.passes import APART_M, Pass, longest_pass
from kinematics.reach import Line
from machine_profiles import shipped
from tests.amounts import several

from .machines import LEVEL, plain_bucket, plain_machine, random_angles, seeded, tiltrotator_bucket
from .test_reach import placed, planar

ON_LINE_M = 1e-9
END_M = 1e-6
ROUND_RAD = 2e-9  # the pass's own rounding of a limit, twice
SOLVED = ("boom", "stick", "bucket")


def passed(assembly: Assembly, **wish: object) -> Pass:
    """`longest_pass`, for wishes put together from parts."""
    return longest_pass(assembly, **wish)  # type: ignore[arg-type]


def degrees(low: float, high: float) -> Range:
    return Range(math.radians(low), math.radians(high))


def crawler(attachment: str = "digging-1500") -> Assembly:
    profiles = shipped()
    machine, hung = profiles["machine", "crawler-21t"].geometry, profiles["attachment", attachment].geometry
    return assemble(machine, hung)  # type: ignore[arg-type]


def to_surface(found: Pose, slope: float) -> tuple[float, float, float]:
    """(floor angle to the surface cut, height of left and of right heel over it), from level places alone.

    The surface runs along the line: for the floor through the edge from corner to corner; for a heel end through the half
    of the edge on its side, which has the same y in the bucket. A dihedral angle, taken square to the edge.
    """
    names = ("left", "centre", "right", "heel_left", "heel_right")
    left, centre, right, *heel = (np.array(found.level(name)) for name in names)
    line = np.array([1.0, 0.0, slope])
    up = np.cross(line, left - right)
    up *= math.copysign(1.0, up[2]) / np.linalg.norm(up)
    back = 0.5 * (heel[0] + heel[1]) - centre
    ahead = np.cross((left - right) / np.linalg.norm(left - right), up)
    tool = found.assembly.attachment
    over = []
    for end, place in zip(tool.heel, heel, strict=True):
        middle = tool.edge[tool.centre][1]
        corner, at = (left, tool.edge[0][1]) if end[1] >= middle else (right, tool.edge[-1][1])
        share = min(1.0, (end[1] - middle) / (at - middle))
        normal = np.cross(line, corner - centre)
        over.append((place - centre - share * (corner - centre)) @ (normal / normal[2]))
    return math.atan2(back @ up, back @ ahead), float(over[0]), float(over[1])


def check(found: Pass, assembly: Assembly, line: Line, window: Range, point: str = "centre") -> None:
    """What must hold of every pass, from its poses alone."""
    reaches = [place.reach for place in found.places]
    assert abs(found.length_m - (reaches[-1] - reaches[0])) <= ON_LINE_M
    assert all(0.0 < b - a <= APART_M + 1e-9 for a, b in pairwise(reaches))
    lowest = []
    for place in found.places:
        there = place.pose.level(point)
        assert abs(there[0] - place.reach) <= ON_LINE_M
        assert abs(there[2] - line.height_at(place.reach)) <= ON_LINE_M
        assert abs(place.height - there[2]) <= ON_LINE_M
        assert place.floor_angle == place.pose.floor_angle
        assert window.low - ROUND_RAD <= place.floor_to_line <= window.high + ROUND_RAD
        for name in SOLVED:
            span = assembly.ranges[name]
            assert place.joints[name] == place.pose.joint(name)
            assert span.low - ROUND_RAD <= place.joints[name] <= span.high + ROUND_RAD
        for name, length in place.cylinders.items():
            stroke = assembly.cylinders[name].stroke
            assert stroke.low - ON_LINE_M <= length <= stroke.high + ON_LINE_M
        assert abs(place.floor_to_line - to_surface(place.pose, line.slope)[0]) <= ROUND_RAD
        assert min(to_surface(place.pose, line.slope)[1:]) >= -ROUND_RAD
        named = [at for name, (at, _) in place.pose.places().items() if name != "receiver"]
        points = [*named, *place.pose.edge_line().tolist()]
        lowest += [line.height_at(x) - z for x, _, z in points]
    assert abs(found.lowest_below_line_m - max(lowest)) <= ON_LINE_M
    # Unbroken: all that a joint moves from one place to the next, it moves with the bucket, or with 50 mm of reach;
    # near a straight arm the stick turns some 0.5 rad for that.
    turns = [abs(sum(a.joints[name] - b.joints[name] for name in SOLVED)) for a, b in pairwise(found.places)]
    assert abs(found.most_turned - max(turns)) <= ROUND_RAD
    for (a, b), turn in zip(pairwise(found.places), turns, strict=True):
        assert max(abs(a.joints[name] - b.joints[name]) for name in SOLVED) <= 0.5 + 2.0 * turn
    assert found.near_stops
    assert found.far_stops


def nothing_past(found: Pass, assembly: Assembly, line: Line, window: Range, held: dict[str, float]) -> None:
    """Half a millimetre past either end no floor angle of the window works; the end's own does a micrometre before it."""
    for end, way in ((found.places[0], -1), (found.places[-1], 1)):
        past = end.reach + way * 5e-4
        for floor in np.linspace(window.low, window.high, 121).tolist():
            with pytest.raises(Refused):
                placed(
                    assembly, **held, point="centre", reach=past, height=line.height_at(past),
                    floor_angle=floor + math.atan(line.slope),
                )  # fmt: skip


def test_a_v_bucket_digs_with_its_keel() -> None:
    """Its corners stand 350 mm above the keel: a heel behind the keel clears its own half of the V, not the corners."""
    line, window = Line(-3.0), degrees(0.0, 15.0)
    found = passed(crawler("v-bucket-1200"), **LEVEL, line=line, floor=window)
    check(found, crawler("v-bucket-1200"), line, window)
    assert found.length_m > 4.0
    assert all(place.pose.heel_clearance >= -ON_LINE_M for place in found.places)
    assert abs(found.lowest_below_line_m) <= ON_LINE_M, "nothing stands below the keel"


def test_two_links_by_pythagoras() -> None:
    """Boom 4 and stick 3 with the bucket held flat: its pin goes 0.5 above the foot, 1 to 7 m away. Derived."""
    assembly = planar(4.0, 3.0, 2.0)
    line, hair = Line(0.5), Range(-1e-8, 1e-8)  # narrower than any grid
    found = passed(assembly, **LEVEL, line=line, floor=hair, between=Range(2.0, 20.0))
    check(found, assembly, line, hair)
    assert abs(found.places[0].reach - (2.0 + math.sqrt(1.0 - 0.25))) <= END_M
    assert abs(found.places[-1].reach - (2.0 + math.sqrt(49.0 - 0.25))) <= END_M
    assert [stop.words for stop in found.near_stops if stop.what == "arm"] == ["stick folded onto the boom"]
    assert [stop.words for stop in found.far_stops if stop.what == "arm"] == ["boom and stick in one line"]


@pytest.mark.parametrize(
    ("line", "window"),
    [
        (Line(-3.05), degrees(0, 15)),
        (Line(-3.35), degrees(0, 5)),
        (Line(-3.0, 0.05, 5.0), degrees(-3, 12)),
        (Line(-4.0, -0.10, 4.0), degrees(2, 30)),
        (Line(1.0), degrees(0, 20)),
    ],
)
def test_shipped_crawler(line: Line, window: Range) -> None:
    assembly = crawler()
    preferred = max(0.0, window.low)
    found = passed(assembly, **LEVEL, line=line, floor=window, preferred=preferred)
    check(found, assembly, line, window)
    # Parallel to the line the heel touches: what the window allows below it, the heel does not.
    kept = Range(max(0.0, window.low), window.high)
    assert all(place.floor_to_line >= -ROUND_RAD for place in found.places)
    nothing_past(found, assembly, line, kept, LEVEL)
    for place in found.places:
        assert abs(place.floor_angle - math.atan(line.slope) - place.floor_to_line) <= ROUND_RAD
        if abs(place.floor_to_line - preferred) > 1e-6:
            with pytest.raises(Refused):  # the preferred floor was not to be had there
                placed(
                    assembly, **LEVEL, point="centre", reach=place.reach, height=place.height,
                    floor_angle=preferred + math.atan(line.slope),
                )  # fmt: skip
    held = [place for place in found.places if abs(place.floor_to_line - preferred) <= 1e-8]
    assert len(held) > 0.7 * len(found.places)


def test_every_stop_stands_at_its_stop() -> None:
    assembly = crawler()
    found = passed(assembly, **LEVEL, line=Line(-3.05), floor=degrees(0, 15))
    seen = set()
    for stops, place in ((found.near_stops, found.places[0]), (found.far_stops, found.places[-1])):
        for stop in stops:
            seen.add(stop.what)
            if stop.what == "floor":
                assert abs(math.degrees(place.floor_to_line) - stop.numbers["floor_to_line_deg"]) <= 1e-3
            else:
                stroke = assembly.cylinders[stop.what].stroke
                length = place.cylinders[stop.what]
                at = stroke.low if "shortest" in stop.words else stroke.high
                assert abs(stop.numbers["cylinder_mm"] - 1e3 * length) <= 1e-6
                assert abs(length - at) <= 2e-5
    assert seen == {"stick", "floor"}


def leaning(seed: int) -> tuple[Assembly, dict[str, float]]:
    """A random machine and what stands still of a random pose, its lean a fifth of what the poses elsewhere have."""
    assembly = seeded(seed, linkage=seed % 2 == 1, driven=seed % 2 == 1)
    angles = random_angles(np.random.default_rng([80, seed]), assembly)
    held = {name: value for name, value in angles.items() if name not in SOLVED}
    return assembly, held | {"pitch": 0.2 * held["pitch"], "roll": 0.2 * held["roll"]}


STEEP = degrees(-60, 80)
HAVE_A_PASS = (0, 2, 3, 5, 6, 7, 11)


@pytest.mark.parametrize("seed", HAVE_A_PASS)
def test_leaning_machines_of_every_kind(seed: int) -> None:
    """Lean, swing boom, fore boom, tilt, rotation and skew edges; `place_edge` comes to the same joints."""
    assembly, held = leaning(seed)
    line = Line(-0.5, 0.03)
    found = passed(assembly, **held, line=line, floor=STEEP)
    check(found, assembly, line, STEEP)
    for place in found.places:
        again = placed(
            assembly, **held, point="centre", reach=place.reach, height=place.height,
            floor_angle=place.floor_angle, near=place.pose,
        )  # fmt: skip
        assert max(abs(again.pose.q - place.pose.q)) <= 1e-6


@pytest.mark.parametrize("seed", sorted(set(range(12)) - set(HAVE_A_PASS)))
def test_no_pass_where_no_pose_of_many_makes_one(seed: int) -> None:
    """The window at fault: no random pose keeps floor and heel. The line at fault: the height told has a pass."""
    assembly, held = leaning(seed)
    line = Line(-0.5, 0.03)
    with pytest.raises(Refused) as refused:
        passed(assembly, **held, line=line, floor=STEEP)
    fault = refused.value.faults[0]
    assert fault.code == "no-pass"
    if fault.where == "line":
        nearest = Line(fault.numbers["nearest_height_m"], line.slope)
        assert passed(assembly, **held, line=nearest, floor=STEEP).length_m > 0.0
        return
    rng = np.random.default_rng([81, seed])
    for _ in range(several(2000)):
        joints = {name: rng.uniform(assembly.ranges[name].low, assembly.ranges[name].high) for name in SOLVED}
        floor, left, right = to_surface(pose(assembly, **(held | joints)), line.slope)
        assert not (STEEP.low <= floor <= STEEP.high and left >= 0.0 and right >= 0.0)


def test_between_and_point() -> None:
    assembly = crawler()
    line, window = Line(-3.05), degrees(0, 15)
    found = passed(assembly, **LEVEL, line=line, floor=window, point="tooth_centre", between=Range(4.0, 6.0))
    check(found, assembly, line, window, "tooth_centre")
    assert abs(found.length_m - 2.0) <= ON_LINE_M
    assert [stop.what for stop in (*found.near_stops, *found.far_stops)] == ["between", "between"]
    edge = passed(assembly, **LEVEL, line=line, floor=window, between=Range(4.0, 6.0))
    # The teeth stand proud of the edge: with the edge on the line they are below it, with the teeth on it nothing is.
    assert edge.lowest_below_line_m > 0.01
    assert abs(found.lowest_below_line_m) <= ON_LINE_M


def test_preferred_angle_is_kept_where_the_joints_allow() -> None:
    assembly = crawler()
    for preferred in (0.0, 4.0, 10.0):
        found = passed(
            assembly, **LEVEL, line=Line(-3.05), floor=degrees(0, 15), preferred=math.radians(preferred)
        )
        middle = found.places[len(found.places) // 2]
        assert abs(middle.floor_to_line - math.radians(preferred)) <= 1e-8


def test_heel_never_below_the_surface_cut() -> None:
    """A window that goes below the line does not let the heel go there, on a body that leans sideways either."""
    window = degrees(-10, 15)
    found = passed(crawler(), pitch=0.02, roll=0.06, line=Line(-3.0), floor=window, preferred=window.low)
    for place in found.places:
        assert min(to_surface(place.pose, 0.0)[1:]) >= -ROUND_RAD
    assert min(place.floor_to_line for place in found.places) < math.radians(0.01)
    assert found.lowest_below_line_m > 0.04  # the low corner of a 1.5 m edge, leaned 0.06 rad


# --- a fact of the trade ---


@pytest.mark.parametrize("depth", [1.2, 1.5])
def test_flat_pass_of_a_machine_of_twenty_odd_tonnes(depth: float) -> None:
    """One setup gives 15 to 18 ft of flat floor at footing depth: common practice, no source.

    Floor from parallel to 15 deg rolled up; not nearer than 2.5 m from the swing axis, just ahead of the tracks.
    """
    ground = -1.85  # the shipped profile: boom foot pin 1.85 m over the ground
    found = passed(
        crawler(), **LEVEL, line=Line(ground - depth), floor=degrees(0, 15), between=Range(2.5, 12.0)
    )
    assert 15 * 0.3048 <= found.length_m <= 18 * 0.3048


# --- none ---


def refused(assembly: Assembly, **changes: object) -> dict[str, dict[str, float]]:
    wish = {**LEVEL, "line": Line(-3.0), "floor": degrees(0, 15)} | changes
    with pytest.raises(Refused) as found:
        passed(assembly, **wish)
    return {f"{fault.code} {fault.where}": dict(fault.numbers) for fault in found.value.faults}


def test_no_pass_says_the_nearest_height() -> None:
    assembly = crawler()
    told = refused(assembly, line=Line(-9.0))["no-pass line"]
    assert -9.0 < told["nearest_height_m"] < -4.0
    near = passed(assembly, **LEVEL, line=Line(told["nearest_height_m"]), floor=degrees(0, 15))
    assert near.length_m > 0.0
    assert "no-pass line" in refused(assembly, line=Line(told["nearest_height_m"] - 0.1))


def test_no_pass_within_the_reaches_or_the_window() -> None:
    assembly = crawler()
    assert "nearest_height_m" not in refused(assembly, between=Range(14.0, 15.0))["no-pass floor"]
    assert "no-pass floor" in refused(assembly, floor=degrees(-40, -30), preferred=math.radians(-35))


def test_refused_before_anything_is_solved() -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    found = refused(
        assembly,
        floor=Range(-2.0, math.nan),
        between=Range(5.0, 4.0),
        preferred=math.inf,
        point="tooth_left",
        rotate=0.1,
    )
    assert set(found) == {
        "angle-absurd floor.low", "not-finite floor.high", "range-swapped between", "not-finite preferred",
        "no-such-point point", "no-such-joint rotate",
    }  # fmt: skip
    assert set(refused(assembly, preferred=0.5)) == {"preferred-outside preferred"}
    assert set(refused(assembly, floor=degrees(5, 5))) == {"range-swapped floor"}
    assert set(refused(assemble(plain_machine(), tiltrotator_bucket()), tilt=0.0)) == {"missing-joint rotate"}
