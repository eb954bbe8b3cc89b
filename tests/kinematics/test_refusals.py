"""What a pose, a machine or an attachment is refused for: each fault alone, and several at once."""

import math
from collections.abc import Callable

import pytest

from kinematics.arm import pose
from kinematics.assembly import STOP_SLACK_RAD, assemble
from kinematics.chain import STEEPEST_RAD
from kinematics.errors import Refused
from kinematics.machine import Attachment, Axis, BucketLinkage, Cylinder, Machine, Range, Receiver

from .machines import DIGGING, LEVEL, plain_bucket, plain_machine, tiltrotator_bucket


def codes(call: Callable[[], object]) -> list[tuple[str, str]]:
    """(code, where) of every fault that a call is refused with."""
    with pytest.raises(Refused) as refused:
        call()
    return [(fault.code, fault.where) for fault in refused.value.faults]


GOOD = LEVEL | DIGGING


@pytest.mark.parametrize("name", ["pitch", "roll", "boom", "stick", "bucket"])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_not_finite(name: str, value: float) -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    assert codes(lambda: pose(assembly, **(GOOD | {name: value}))) == [("not-finite", name)]


def test_optional_joints_not_finite() -> None:
    assembly = assemble(plain_machine(swing_boom=Range(-1, 1)), tiltrotator_bucket())
    good = GOOD | {"swing_boom": 0.0, "tilt": 0.0, "rotate": 0.0}
    assert math.isfinite(pose(assembly, **good).reach)
    for name in ("swing_boom", "tilt", "rotate"):
        assert codes(lambda: pose(assembly, **(good | {name: math.nan}))) == [("not-finite", name)]  # noqa: B023


@pytest.mark.parametrize(("name", "high"), [("boom", 1.1), ("stick", -0.4), ("bucket", 2.0)])
def test_beyond_joint(name: str, high: float) -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    assert math.isfinite(pose(assembly, **(GOOD | {name: high + 0.9 * STOP_SLACK_RAD})).reach)
    with pytest.raises(Refused) as refused:
        pose(assembly, **(GOOD | {name: high + 1.1 * STOP_SLACK_RAD}))
    (fault,) = refused.value.faults
    assert (fault.code, fault.where) == ("beyond-joint", name)
    assert fault.numbers["high_deg"] == pytest.approx(math.degrees(high), abs=1e-9)
    assert fault.numbers["angle_deg"] == pytest.approx(math.degrees(high + 1.1 * STOP_SLACK_RAD), abs=1e-9)


def test_missing_and_absent_joints() -> None:
    plain = assemble(plain_machine(), plain_bucket())
    for name in ("swing_boom", "fore_boom", "tilt", "rotate"):
        assert codes(lambda: pose(plain, **GOOD, **{name: 0.0})) == [("no-such-joint", name)]  # noqa: B023
    turning = assemble(plain_machine(), tiltrotator_bucket())
    assert codes(lambda: pose(turning, **GOOD)) == [("missing-joint", "tilt"), ("missing-joint", "rotate")]
    assert codes(lambda: pose(turning, **GOOD, tilt=0.1)) == [("missing-joint", "rotate")]


@pytest.mark.parametrize("name", ["pitch", "roll"])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_too_steep(name: str, sign: float) -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    assert math.isfinite(pose(assembly, **(GOOD | {name: 0.999 * sign * STEEPEST_RAD})).reach)
    assert codes(lambda: pose(assembly, **(GOOD | {name: 1.001 * sign * STEEPEST_RAD}))) == [
        ("too-steep", name)
    ]


def test_every_fault_at_once() -> None:
    assembly = assemble(plain_machine(), plain_bucket())
    found = codes(
        lambda: pose(assembly, pitch=math.nan, roll=1.2, boom=3.0, stick=math.inf, bucket=0.5, tilt=0.1)
    )
    assert found == [
        ("not-finite", "pitch"), ("too-steep", "roll"), ("beyond-joint", "boom"),
        ("not-finite", "stick"), ("no-such-joint", "tilt"),
    ]  # fmt: skip


def test_edge_that_stands_plumb_has_no_cross_slope() -> None:
    upright = plain_bucket(tilt=Axis((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), Range(-1.6, 1.6)))
    assembly = assemble(plain_machine(), upright)
    assert codes(lambda: pose(assembly, **GOOD, tilt=math.pi / 2)) == [("edge-plumb", "")]
    assert math.isfinite(pose(assembly, **GOOD, tilt=1.5).cross_slope)


# --- machines and attachments that are refused as described ---

CYLINDER = Cylinder(0.3, -0.3, 1.0, 0.3, Range(0.9, 1.3), 1)
BAR = BucketLinkage(2.1, 0.0, 0.4, 0.5, 1, Range(0.4, 1.2))


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"boom_length": 0.0}, [("zero-length-link", "boom_length")]),
        ({"stick_length": -2.0}, [("zero-length-link", "stick_length")]),
        ({"fore_boom_length": 0.0, "fore_boom": Range(-1, 0)}, [("zero-length-link", "fore_boom_length")]),
        ({"fore_boom_length": 1.0}, [("half-described", "fore_boom")]),
        ({"fore_boom": Range(-1, 0)}, [("half-described", "fore_boom")]),
        ({"boom": Range(1.0, -1.0)}, [("range-swapped", "boom")]),
        ({"boom": Range(1.0, 1.0)}, [("range-swapped", "boom")]),
        ({"swing_boom": Range(0.5, -0.5)}, [("range-swapped", "swing_boom")]),
        ({"boom_foot_y": math.nan}, [("not-finite", "boom_foot_y")]),
        ({"swing_post_x": math.inf}, [("not-finite", "swing_post")]),
        ({"stick": Range(math.nan, 0.0)}, [("not-finite", "stick")]),
        (
            {"boom": Cylinder(0.0, 0.0, 1.0, 0.3, Range(1.3, 0.9), 2)},
            [("range-swapped", "boom.stroke"), ("zero-length-link", "boom.foot"), ("not-a-side", "boom.extending")],
        ),
        ({"boom": Cylinder(0.3, -0.3, 1.0, math.inf, Range(0.9, 1.3), 1)}, [("not-finite", "boom")]),
        (
            {"bucket": BucketLinkage(2.1, 0.0, 0.0, 0.001, 0, Range(1.2, 0.4))},
            [
                ("zero-length-link", "bucket.idler"), ("zero-length-link", "bucket.power_link"),
                ("not-a-side", "bucket.branch"), ("range-swapped", "bucket.drive"),
            ],
        ),
        (
            {"receiver": Receiver((0.5, 0.0, math.nan), (0.0, 0.0, 1.1))},
            [("not-finite", "receiver"), ("not-a-direction", "receiver.mast")],
        ),
        (
            {"boom_length": 0.0, "stick": Range(0.0, -1.0)},
            [("zero-length-link", "boom_length"), ("range-swapped", "stick")],
        ),
    ],
)  # fmt: skip
def test_bad_machines(changes: dict[str, object], expected: list[tuple[str, str]]) -> None:
    assert codes(lambda: plain_machine(**changes)) == expected


SWAPPED = ((-0.2, -0.7, -1.2), (-0.2, 0.0, -1.2), (-0.2, 0.7, -1.2))


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"pin_spacing": 0.0}, [("zero-length-link", "pin_spacing")]),
        ({"pin_spacing": math.nan}, [("not-finite", "pin_spacing")]),
        ({"edge": SWAPPED}, [("corners-swapped", "edge")]),
        ({"teeth": SWAPPED}, [("corners-swapped", "teeth")]),
        ({"heel": ((0.6, -0.65, -1.2), (0.6, 0.65, -1.2))}, [("corners-swapped", "heel")]),
        ({"edge": SWAPPED[:2], "centre": 1}, [("edge-unnamed", "edge")]),
        ({"centre": 0}, [("edge-unnamed", "edge")]),
        ({"centre": 2}, [("edge-unnamed", "edge")]),
        ({"heel": ((-0.2, 0.5, -1.2), (-0.2, -0.5, -1.2))}, [("zero-length-link", "heel")]),
        (
            {"tilt": Axis((0.0, 0.0, 0.0), (1.0, 0.1, 0.0), Range(-0.5, 0.5))},
            [("not-a-direction", "tilt.direction")],
        ),
        (
            {"rotate": Axis((0.0, 0.0, math.inf), (0.0, 0.0, 0.0), Range(1.0, -1.0))},
            [("not-finite", "rotate"), ("not-a-direction", "rotate.direction"), ("range-swapped", "rotate.range")],
        ),
        (
            {"pin_spacing": -1.0, "edge": SWAPPED, "heel": ((0.6, 0.65, math.nan), (0.6, -0.65, -1.2))},
            [("zero-length-link", "pin_spacing"), ("not-finite", "heel.0"), ("corners-swapped", "edge")],
        ),
    ],
)  # fmt: skip
def test_bad_attachments(changes: dict[str, object], expected: list[tuple[str, str]]) -> None:
    assert codes(lambda: plain_bucket(**changes)) == expected


def test_good_ones_are_taken() -> None:
    """The parts above are refused for what was changed, not for what they share."""
    assert isinstance(plain_machine(boom=CYLINDER, bucket=BAR), Machine)
    assert isinstance(plain_bucket(), Attachment)
