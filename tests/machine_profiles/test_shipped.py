"""The shipped profiles: outside check of the published mini, and that each does the work of its class."""

import math

import pytest

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.drives import joint_angle
from kinematics.machine import Attachment, Cylinder
from machine_profiles import check_pair, check_profile, shipped

from .pairing import pair

CRAWLERS = ("crawler-14t", "crawler-21t")
TOOLS = (
    "trenching-600", "digging-1500", "tilting-1800", "tilt-rotator-1600", "ditching-1800", "v-bucket-1200", "coupled-900",
)  # fmt: skip


def posed(assembly: Assembly, boom: float, stick: float, bucket: float) -> Pose:
    still = {name: 0.0 for name in ("tilt", "rotate") if name in assembly.ranges}
    return pose(assembly, pitch=0.0, roll=0.0, boom=boom, stick=stick, bucket=bucket, **still)


def floor_flat(assembly: Assembly, boom: float, stick: float) -> float | None:
    """The bucket angle that lays the floor flat, None where the bucket does not turn that far."""
    span = assembly.ranges["bucket"]
    found = span.low - posed(assembly, boom, stick, span.low).floor_angle
    found = span.low + (found - span.low) % (2 * math.pi)
    return found if found <= span.high else None


def test_the_catalogue_given_out_is_the_callers_own() -> None:
    shipped().clear()
    assert shipped()


@pytest.mark.parametrize(
    ("joint", "length", "angle"),
    [
        ("boom", 0.905, -0.4737), ("boom", 1.305, 1.0923),
        ("stick", 1.046, -0.5103), ("stick", 1.556, -2.5848),
        ("bucket", 0.84, 0.7839), ("bucket", 1.26, -2.8659),
    ],
)  # fmt: skip
def test_published_mini_through_the_file(joint: str, length: float, angle: float) -> None:
    """Open MATLAB model of a mini excavator, files excavatorConstants and excavatorModel; digits seen.

    The publication's bucket angle is that of the tip, ours that of the pin line: they differ by the lug's angle.
    Printed to four decimals: 5e-5 rad.
    """
    found = joint_angle(pair("published-mini", "published-mini-bucket"), joint, length)
    if joint == "bucket":
        found -= math.atan2(0.164, -0.014)
    assert math.isfinite(found)
    assert abs(found - angle) <= 5e-5


def test_published_mini_tip_stands_where_the_publication_has_it() -> None:
    """Tip M = (0.567, 0) and lug K = (-0.014, 0.164) from the bucket pin: same distances in the pin-line frame."""
    bucket = shipped()["attachment", "published-mini-bucket"].geometry
    assert isinstance(bucket, Attachment)
    x, _, z = bucket.edge[bucket.centre]
    assert abs(math.hypot(x, z) - 0.567) <= 1e-12
    assert (
        abs(math.dist((x, z), (bucket.pin_spacing, 0.0)) - math.dist((0.567, 0.0), (-0.014, 0.164))) <= 1e-12
    )
    assert z < 0.0


@pytest.mark.parametrize("machine", CRAWLERS)
@pytest.mark.parametrize("tool", TOOLS)
def test_floor_lies_flat_at_footing_depth_at_mid_reach(machine: str, tool: str) -> None:
    """Footing depths of 1 to 2.5 m under the tracks, mast within 30 deg of plumb on the way."""
    assembly = pair(machine, tool)
    ground = assembly.machine.boom_foot_height
    assert ground is not None
    reached = []
    for i in range(-30, 31):
        for stick in (-100, -90, -80, -70):
            boom = math.radians(i)
            bucket = floor_flat(assembly, boom, math.radians(stick))
            if bucket is not None:
                found = posed(assembly, boom, math.radians(stick), bucket)
                assert abs(found.floor_angle) <= 1e-9
                if 3.5 <= found.reach <= 6.0 and math.degrees(found.mast_angle) <= 30:
                    reached.append(-ground - found.height("centre"))
    assert reached
    assert min(reached) <= 1.0
    assert max(reached) >= 2.5


@pytest.mark.parametrize("machine", [*CRAWLERS, "midi-8t", "long-reach-22t"])
def test_mast_is_plumb_when_the_stick_hangs(machine: str) -> None:
    assembly = pair(machine, "midi-bucket-700" if machine == "midi-8t" else "digging-1500")
    found = posed(assembly, 0.1, -math.pi / 2 - 0.1, 0.8)
    assert math.isfinite(found.mast_angle)
    assert found.mast_angle <= 1e-7  # acos near 1 keeps half the digits


def test_a_v_bucket_cuts_deepest_in_its_middle() -> None:
    """Floor flat, the keel lies 350 mm below both corners, as its file says; the edge rises all the way out."""
    assembly = pair("crawler-21t", "v-bucket-1200")
    flat = floor_flat(assembly, 0.1, -1.6)
    assert flat is not None
    found = posed(assembly, 0.1, -1.6, flat)
    heights = found.edge_line()[:, 2].tolist()
    assert heights[0] > heights[1] > heights[2] < heights[3] < heights[4]
    for corner in ("left", "right"):
        assert (
            abs(found.height(corner) - found.height("centre") - 0.350) <= 0.001
        )  # whole millimetres in the file
    assert found.lowest()[0] in {"centre", "heel_left", "heel_right"}


def test_a_ditching_bucket_is_wide_and_has_no_teeth() -> None:
    facts = check_profile(shipped()["attachment", "ditching-1800"].source_text).facts
    assert facts["edge_width_mm"] == pytest.approx(1800, abs=1e-9)
    assert facts["teeth"] is False
    assert "coupler_play_deg" not in facts


def test_the_compact_swings_its_boom_about_a_post_ahead_of_the_swing_axis() -> None:
    assembly = pair("compact-1t8", "compact-bucket-400")
    arm = {"pitch": 0.0, "roll": 0.0, "boom": 0.2, "stick": -1.6, "bucket": 0.8}
    ahead, left, right = (pose(assembly, swing_boom=math.radians(at), **arm) for at in (0, 75, -50))
    assert assembly.machine.swing_post_x > 0.0
    assert right.lateral < ahead.lateral < left.lateral
    assert abs(ahead.lateral) <= 1e-12
    # The post 0.62 m ahead keeps its place, the edge its distance from it.
    lever = ahead.reach - 0.62
    for turned, angle in ((left, 75), (right, -50)):
        assert abs(turned.reach - 0.62 - lever * math.cos(math.radians(angle))) <= 1e-12
        assert abs(turned.lateral - lever * math.sin(math.radians(angle))) <= 1e-12
        assert abs(turned.height("centre") - ahead.height("centre")) <= 1e-12


def test_the_wheeled_machine_has_a_boom_of_two_pieces() -> None:
    assembly = pair("wheeled-16t", "digging-1500")
    assert isinstance(assembly.machine.fore_boom, Cylinder)
    assert assembly.cylinders.keys() == {"boom", "fore_boom", "stick", "bucket"}
    for joint in assembly.cylinders:
        span = assembly.ranges[joint]
        drive = assembly.cylinders[joint]
        ends = [joint_angle(assembly, joint, length) for length in (drive.stroke.low, drive.stroke.high)]
        assert sorted(ends) == pytest.approx([span.low, span.high], abs=1e-9)


def test_curl_alone_changes_the_depth_by_about_three_feet() -> None:
    """Common practice, no source: on 20-odd tonnes some 30 to 50 deg of curl from floor-flat is about 3 ft.

    21 t crawler with the 1.5 m digging bucket, 40 deg: 2.88 ft.
    """
    assembly = pair("crawler-21t", "digging-1500")
    boom, stick = math.radians(-5), math.radians(-80)
    flat = floor_flat(assembly, boom, stick)
    assert flat is not None
    before = posed(assembly, boom, stick, flat)
    after = posed(assembly, boom, stick, flat - math.radians(40))
    change_ft = (after.height("centre") - before.height("centre")) / 0.3048
    assert 2.3 <= change_ft <= 3.7
    assert abs(change_ft - 2.88) <= 0.01


def test_verdict_says_what_a_file_gives() -> None:
    machine = check_profile(shipped()["machine", "crawler-14t"].source_text).as_json()
    assert machine["ok"] is True
    assert machine["facts"]["cylinders_mm"]["boom"] == pytest.approx([1417, 2430], abs=1e-9)
    assert machine["facts"]["joint_ranges_deg"]["boom"] == pytest.approx([-41.21, 64.31], abs=0.01)
    assert machine["facts"]["boom_foot_height_m"] == pytest.approx(1.70, abs=1e-12)
    assert "boom_foot_height_m" not in check_profile(shipped()["machine", "published-mini"].source_text).facts
    coupled = check_profile(shipped()["attachment", "coupled-900"].source_text)
    assert coupled.facts["coupler_play_deg"] == pytest.approx(0.6, abs=1e-12)
    tool = check_profile(shipped()["attachment", "tilting-1800"].source_text)
    assert tool.facts["edge_width_mm"] == pytest.approx(1800, abs=1e-9)
    check = tool.facts["sign_checks"]["tilt.check"]
    assert abs(check["stated_mm"] - check["computed_mm"]) <= 5
    assert tool.content_hash == shipped()["attachment", "tilting-1800"].content_hash


def test_a_pair_that_does_not_fit_says_by_how_much() -> None:
    verdict = check_pair(shipped()["machine", "published-mini"], shipped()["attachment", "digging-1500"])
    assert not verdict.ok
    assert [fault.code for fault in verdict.faults] == ["no-closure"]
    assert "misses by" in verdict.faults[0].found
    assert not verdict.facts


def test_a_pair_the_wrong_way_round_is_refused() -> None:
    verdict = check_pair(shipped()["attachment", "digging-1500"], shipped()["machine", "crawler-14t"])
    assert not verdict.ok
    assert [fault.code for fault in verdict.faults] == ["wrong-kind"]
