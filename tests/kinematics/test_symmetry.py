"""Mirror symmetry: a machine built the other way round, leaned and turned the other way round, digs to the same depth
with left and right exchanged. And the compiled formulas against the same source run as plain Python."""

import dataclasses

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.chain import POINTS
from kinematics.machine import Attachment, Axis, Machine, Point, Range, Receiver
from tests.amounts import several

from .machines import random_angles, random_pair, seeded
from .plainly import in_plain_python

# The mirrored sums are the same products with other signs: only the order of rounding differs.
MIRROR_M = 1e-12
# Compiled code may fuse a multiply and an add; ten turns over 20 m then part in the last bits.
COMPILED_M = 1e-12
OPPOSITE = {"left": "right", "right": "left"}
TURNED = ("roll", "swing_boom", "tilt", "rotate")


def across(point: Point) -> Point:
    return point[0], -point[1], point[2]


def reversed_range(span: Range) -> Range:
    return Range(-span.high, -span.low)


def mirrored_axis(axis: Axis | None) -> Axis | None:
    """A turn by the right hand about u is, in the mirror, one by the left hand about u mirrored."""
    if axis is None:
        return None
    return Axis(across(axis.point), across(axis.direction), reversed_range(axis.range))


def mirrored(machine: Machine, attachment: Attachment) -> tuple[Machine, Attachment]:
    receiver = machine.receiver
    swing = machine.swing_boom
    teeth = attachment.teeth
    return dataclasses.replace(
        machine,
        boom_foot_y=-machine.boom_foot_y,
        swing_post_y=-machine.swing_post_y,
        swing_boom=None if swing is None else reversed_range(swing),
        receiver=None if receiver is None else Receiver(across(receiver.place), across(receiver.mast)),
    ), dataclasses.replace(
        attachment,
        edge=tuple(across(point) for point in reversed(attachment.edge)),
        centre=len(attachment.edge) - 1 - attachment.centre,
        teeth=None if teeth is None else (across(teeth[2]), across(teeth[1]), across(teeth[0])),
        heel=(across(attachment.heel[1]), across(attachment.heel[0])),
        tilt=mirrored_axis(attachment.tilt),
        rotate=mirrored_axis(attachment.rotate),
    )


def other_name(point: str) -> str:
    *stem, side = point.split("_")
    return "_".join([*stem, OPPOSITE.get(side, side)])


def have(found: Pose) -> list[str]:
    """Names of the points that the machine has."""
    lacking = () if found.has_teeth else ("tooth_left", "tooth_centre", "tooth_right")
    without = ("receiver",) if found.assembly.machine.receiver is None else ()
    return [name for name in POINTS if name not in (*lacking, *without)]


@given(seed=st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=several(150))
def test_mirrored_machine_mirrors_every_reading(seed: int) -> None:
    rng = np.random.default_rng(seed)
    machine, attachment = random_pair(rng)
    assembly, other = assemble(machine, attachment), assemble(*mirrored(machine, attachment))
    angles = random_angles(rng, assembly)
    turned = {name: -angle if name in TURNED else angle for name, angle in angles.items()}
    one, two = pose(assembly, **angles), pose(other, **turned)
    for name in have(one):
        x, y, z = one.level(name)
        mx, my, mz = two.level(other_name(name))
        assert abs(x - mx) <= MIRROR_M, name
        assert abs(y + my) <= MIRROR_M, name
        assert abs(z - mz) <= MIRROR_M, name
    assert abs(one.reach - two.reach) <= MIRROR_M
    assert abs(one.lateral + two.lateral) <= MIRROR_M
    # Steep edges run over little ground: slope and floor angle lose digits as the square of the slope.
    slope = 1.0 + one.cross_slope**2
    assert abs(one.cross_slope + two.cross_slope) <= 100 * MIRROR_M * slope
    assert abs(np.angle(np.exp(1j * (one.floor_angle - two.floor_angle)))) <= 100 * MIRROR_M * slope
    assert abs(one.heel_clearance - two.heel_clearance) <= MIRROR_M
    assert one.past_square == two.past_square
    assert abs(one.lowest()[1] - two.lowest()[1]) <= MIRROR_M


def test_mirroring_twice_changes_nothing() -> None:
    machine, attachment = random_pair(np.random.default_rng(11))
    assert mirrored(*mirrored(machine, attachment)) == (machine, attachment)


def readings(assembly: Assembly, angles: dict[str, float]) -> list[float]:
    """All numbers of one pose, in a fixed order."""
    found = pose(assembly, **angles)
    places = [value for name in have(found) for value in (*found.level(name), *found.body(name))]
    pins = [value for _, pin in sorted(found.pins().items()) for value in pin]
    return [
        *places,
        *pins,
        found.cross_slope,
        found.heel_clearance,
        found.floor_angle,
        *assembly.limits,
    ]


def some_readings() -> list[list[float]]:
    """Readings of a handful of machines with linkages and cylinders."""
    numbers = []
    for seed in range(12):
        assembly = seeded(seed, linkage=True, driven=True)
        numbers.append(readings(assembly, random_angles(np.random.default_rng([6, seed]), assembly)))
    return numbers


def test_compiled_formulas_equal_plain_python() -> None:
    plain = in_plain_python("test_symmetry", "some_readings")
    compiled = some_readings()
    assert [len(row) for row in plain] == [len(row) for row in compiled]
    for ours, theirs in zip(compiled, plain, strict=True):
        difference = np.abs(np.array(ours) - np.array(theirs))
        assert np.all(np.isfinite(difference))
        assert float(difference.max()) <= COMPILED_M
