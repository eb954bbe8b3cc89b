"""Measured pins to profiles: shipped machines come back whatever their posture, heading and lean, in any unit; the
published mini excavator's pins give its published cylinder to angle pairs."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.chain import level_from_body
from kinematics.drives import joint_angle
from kinematics.machine import Attachment, BucketLinkage, Machine, Range
from kinematics.parameters import values_of
from machine_profiles import check_profile, parse_profile
from machine_profiles.exchange import Attitude, Stroke, Told, attachment_text, machine_text, read_pin_table
from tests.reference import mini_excavator as mini

from .models import pairs
from .surveying import PER_METRE, seen, table, told_of

PLAIN = {
    name: assembly for name, (assembly, _) in pairs().items() if assembly.attachment.tilt is None
}  # a bucket under a tilt is not described by pins
# Numbers are written to a tenth of a micrometre; a place is the sum of some, on a grid of a million metres, in feet.
COMES_BACK_M = 2e-6
COMES_BACK_RAD = 1e-5  # a direction of pins 0.4 m apart


def fixed(assembly: Assembly, share: float) -> dict[str, float]:
    """Joints at a share of their ranges, every one another way; swing boom straight."""
    ranges = assembly.ranges
    angles = {
        name: span.low + ((share + 0.37 * i) % 1.0) * (span.high - span.low)
        for i, (name, span) in enumerate(ranges.items())
    }
    return angles | ({"swing_boom": 0.0} if "swing_boom" in ranges else {})


@given(
    name=st.sampled_from(sorted(PLAIN)), share=st.floats(0.0, 1.0), heading=st.floats(-math.pi, math.pi),
    unit=st.sampled_from(sorted(PER_METRE)), pitch=st.floats(-0.15, 0.15), roll=st.floats(-0.15, 0.15),
    east=st.floats(-5e6, 5e6), north=st.floats(-5e6, 5e6),
)  # fmt: skip
def test_shipped_machines_come_back(
    name: str, share: float, heading: float, unit: str, pitch: float, roll: float, east: float, north: float
) -> None:
    assembly = PLAIN[name]
    found = pose(assembly, pitch=0.0, roll=0.0, **fixed(assembly, share))
    places = seen(found)
    attitude = Attitude(pitch, roll)
    level = np.array(level_from_body(pitch, roll)[:9]).reshape(3, 3)
    way = level @ np.subtract(places["bucket_pin"], places["boom_foot_pin"])
    assume(way[0] > 0.6)  # tucked in: refused, see test_pin_refusals
    text = table(places, unit, attitude=attitude, heading=heading, shift=(east, north, 87.5))
    read, told = read_pin_table(text), told_of(assembly, attitude=attitude)
    machine = parse_profile(machine_text(read, told)).geometry
    assert isinstance(machine, Machine)
    was, now = values_of(assembly.machine), values_of(machine)
    assert set(now) == set(was)
    for key, value in was.items():
        assert abs(now[key] - value) <= (COMES_BACK_RAD if key.startswith("mast") else COMES_BACK_M), key
    again = told_of(assemble(machine, assembly.attachment), attitude=attitude)
    for joint, stroke in told.strokes.items():
        assert again.strokes[joint].extending == stroke.extending
        assert abs(again.strokes[joint].shortest - stroke.shortest) <= COMES_BACK_M
        assert abs(again.strokes[joint].longest - stroke.longest) <= COMES_BACK_M
    for joint, span in told.ranges.items():
        assert abs(again.ranges[joint].low - span.low) <= COMES_BACK_RAD
    if isinstance(machine.bucket, BucketLinkage) and isinstance(assembly.machine.bucket, BucketLinkage):
        assert machine.bucket.branch == assembly.machine.bucket.branch
    told = Told("our-bucket", "Our bucket", "Measured.", attitude)
    bucket = parse_profile(attachment_text(read, told)).geometry
    assert isinstance(bucket, Attachment)
    same_edge(assembly, assemble(machine, bucket))


def same_edge(was: Assembly, now: Assembly) -> None:
    """In another posture than the measured one."""
    angles = {name: 0.55 * span.low + 0.45 * span.high for name, span in was.ranges.items()}
    first, second = (pose(each, pitch=0.05, roll=-0.1, **angles) for each in (was, now))
    places = first.places()
    assert set(second.places()) == set(places)
    for name, (level, _) in places.items():
        # 10 m behind a boom whose pins are known to a micrometre over 2 m.
        assert math.dist(second.level(name), level) <= 2e-5, name


def turned(point: mini.Pin, angle: float, at: mini.Pin) -> mini.Pin:
    c, s = math.cos(angle), math.sin(angle)
    return at[0] + c * point[0] - s * point[1], at[1] + s * point[0] + c * point[1]


def published(boom: float, stick: float, bucket: float) -> str:
    """A side view of the published mini in a posture, from its printed coordinates alone; body at (3, 1.2)."""
    foot = (3.0, 1.2)
    stick_pin = turned(mini.STICK_PIN_A, boom, foot)
    up = boom + stick
    bucket_pin = turned(mini.BUCKET_PIN_L, up, stick_pin)
    lug, pivot = turned(mini.LINK_LUG_K, up + bucket, bucket_pin), turned(mini.IDLER_PIVOT_J, up, stick_pin)
    # Idler and power link meet where circles about pivot and lug do, on the side that the source draws (branch open).
    way = np.subtract(lug, pivot)
    half = 0.5 * float(np.hypot(*way))
    out = math.sqrt(mini.IDLER_HJ**2 - half**2) * np.array([-way[1], way[0]]) / (2.0 * half)
    meet = np.array(pivot) + 0.5 * way + out
    idler_pin = (float(meet[0]), float(meet[1]))
    rows = {
        "swing_axis": (foot[0] - 0.4, 0.3), "boom_foot_pin": foot, "stick_pin": stick_pin, "bucket_pin": bucket_pin,
        "link_pin": lug, "idler_pivot": pivot, "idler_pin": idler_pin,
        "boom_cylinder_foot": turned(mini.BOOM_CYLINDER_FOOT_C, 0.0, foot),
        "boom_cylinder_eye": turned(mini.BOOM_CYLINDER_EYE_D, boom, foot),
        "stick_cylinder_foot": turned(mini.STICK_CYLINDER_FOOT_E, boom, foot),
        "stick_cylinder_eye": turned(mini.STICK_CYLINDER_EYE_F, up, stick_pin),
        "bucket_cylinder_foot": turned(mini.BUCKET_CYLINDER_FOOT_G, up, stick_pin),
    }  # fmt: skip
    return "pin,x_m,z_m\n" + "".join(f"{name},{x!r},{z!r}\n" for name, (x, z) in rows.items())


@pytest.mark.parametrize("posture", [(0.2, -1.2, -0.9), (0.9, -2.2, 0.3), (-0.3, -0.7, -2.4)])
def test_the_published_mini_gives_its_published_pairs(posture: tuple[float, float, float]) -> None:
    """Open MATLAB model of a mini excavator, digits seen (tests/reference); printed to four decimals."""
    ends = {joint: [length for name, length, _ in mini.PAIRS if name == joint] for joint, _, _ in mini.PAIRS}
    extending = {"boom": 1, "stick": -1, "bucket": None}
    told = Told(
        "the-mini", "Published mini", "A side view.", Attitude(0.0, 0.0),
        strokes={joint: Stroke(min(ends[joint]), max(ends[joint]), extending[joint]) for joint in ends},
        boom_foot_left=0.0,
    )  # fmt: skip
    text = machine_text(read_pin_table(published(*posture)), told)
    verdict = check_profile(text)
    assert verdict.ok, verdict.faults
    machine = parse_profile(text).geometry
    assert isinstance(machine, Machine)
    spacing = math.hypot(*mini.LINK_LUG_K)
    edge = ((0.3, 0.2, -0.3), (0.3, 0.0, -0.3), (0.3, -0.2, -0.3))
    bucket = Attachment(spacing, edge, 1, ((0.2, 0.2, -0.1), (0.2, -0.2, -0.1)))
    fitted = assemble(machine, bucket)
    for joint, length, angle in mini.PAIRS:
        found = joint_angle(fitted, joint, length)
        if joint == "bucket":  # the publication's is that of the tip, ours of the pin line
            found -= math.atan2(mini.LINK_LUG_K[1], mini.LINK_LUG_K[0])
        assert abs(math.remainder(found - angle, math.tau)) <= 5e-5, joint


def test_a_machine_known_by_ranges_alone() -> None:
    """Three pins and two ranges: a boom of 5 m (3-4-5 triangle) at 53.13 deg, a stick straight down."""
    text = (
        "pin,x_mm,z_mm\nswing_axis,0,0\nboom_foot_pin,250,1700\nstick_pin,3250,5700\nbucket_pin,3250,3200\n"
    )
    ranges = {"boom": Range(-0.7, 1.0), "stick": Range(-2.6, -0.5), "bucket": Range(-0.5, 2.3)}
    told = Told(
        "our-digger", 'The "old" one', "Drawing.", Attitude(0.0, 0.0), {}, ranges, boom_foot_left=-0.06
    )
    made = parse_profile(machine_text(read_pin_table(text), told))
    machine = made.geometry
    assert isinstance(machine, Machine)
    assert made.name == 'The "old" one'
    assert (machine.boom_foot_x, machine.boom_foot_y) == (0.25, -0.06)
    assert (machine.boom_length, machine.stick_length) == (5.0, 2.5)


def test_what_is_measured_to_a_millimetre_comes_back_to_some() -> None:
    """A hand-held prism: 1 mm of noise on every coordinate of every pin, 200 surveys of one posture."""
    assembly = PLAIN["crawler-14t with digging-1500"]
    places = seen(pose(assembly, pitch=0.0, roll=0.0, boom=0.4, stick=-1.5, bucket=1.0))
    told = told_of(assembly, attitude=Attitude(0.0, 0.0))
    rng = np.random.default_rng(41)
    off = {name: np.zeros(200) for name in ("boom_length", "stick_length", "idler_length", "boom_foot_y")}
    for i in range(200):
        noisy = {
            name: tuple(np.add(place, rng.normal(0.0, 1e-3, 3)).tolist()) for name, place in places.items()
        }
        text = table(
            noisy, "mm", attitude=Attitude(0.0, 0.0), heading=rng.uniform(-3.0, 3.0), shift=(0.0, 0.0, 0.0)
        )
        machine = parse_profile(machine_text(read_pin_table(text), told)).geometry
        assert isinstance(machine, Machine)
        values = values_of(machine)
        for name, errors in off.items():
            errors[i] = values[name] - values_of(assembly.machine)[name]
    # A length between two pins: sqrt(2) mm. The foot's place aside: the axis' own 1 mm, the plane of 12 pins a third of
    # one, and the heading's turn over the arm, which is small beside them. Of 200 draws a deviation is good to 5 %.
    for name, errors in off.items():
        expected = 1e-3 * (math.sqrt(2.0) if name.endswith("length") else 1.0)
        assert 0.8 * expected <= float(np.std(errors)) <= 1.3 * expected, name
        assert abs(float(np.mean(errors))) <= 5.0 * expected / math.sqrt(200.0), name
