"""Synthesis against machines assembled one by one, and against the published linkage it must find again."""

import math
from dataclasses import replace

import numpy as np
import pytest

from kinematics.assembly import Assembly, assemble
from kinematics.forces import stretches
from kinematics.linkage_course import linkage_course
from kinematics.machine import BucketLinkage, Cylinder
from kinematics.synthesis import Goal, Limit, Synthesis, synthesis
from tests.reference import mini_excavator as mini

from .machines import mini_bucket, mini_machine, plain_bucket, plain_machine
from .rows import refusal

NAMES = ("idler_length", "power_link_length", "pin_spacing")
WIDE = 0.25
# Printed angles have four decimals, and the search ends within this.
PRINTED_RAD = 1e-4


def base() -> Assembly:
    return assemble(mini_machine(), mini_bucket())


def ranges(assembly: Assembly, names: tuple[str, ...] = NAMES) -> dict[str, tuple[float, float]]:
    values = {name: float(assembly.parameters[name][0]) for name in names}
    return {name: ((1.0 - WIDE) * value, (1.0 + WIDE) * value) for name, value in values.items()}


def as_assembled(assembly: Assembly, found: Synthesis, row: int) -> Assembly:
    """All of a candidate's numbers at once: halfway it may be no machine."""
    values = dict(zip(found.names, found.numbers[row].tolist(), strict=True))
    bar = assembly.machine.bucket
    assert isinstance(bar, BucketLinkage)
    assert isinstance(bar.drive, Cylinder)
    drive = replace(bar.drive, eye_x=values["idler_length"])
    changed = replace(
        bar, idler_length=values["idler_length"], power_link=values["power_link_length"], drive=drive
    )
    return assemble(
        replace(assembly.machine, bucket=changed),
        replace(assembly.attachment, pin_spacing=values["pin_spacing"]),
    )


def published_rotation() -> float:
    """Of the open model (check values, 2): the bucket from 0.7839 to -2.8659 rad over its cylinder's stroke."""
    ends = [angle for joint, _, angle in mini.PAIRS if joint == "bucket"]
    return max(ends) - min(ends)


def test_a_wanted_rotation_is_found_and_true() -> None:
    for wanted in (published_rotation(), math.radians(170.0)):
        found = synthesis(base(), ranges(base()), [Goal("rotation", wanted)], seed=4)
        assert found.numbers.shape == (1, 3)
        assert abs(found.rotation[0] - wanted) <= PRINTED_RAD
        course = linkage_course(as_assembled(base(), found, 0))
        turned = course.bucket_range.high - course.bucket_range.low
        assert abs(turned - found.rotation[0]) <= 1e-9
        assert abs(course.dead_centre.angle - found.transmission[0]) <= 1e-9


def test_a_transmission_is_kept_to() -> None:
    least = math.radians(20.0)
    limits = [Limit("transmission", low=least)]
    found = synthesis(base(), ranges(base()), [Goal("rotation", math.radians(165.0))], limits, seed=4)
    course = linkage_course(as_assembled(base(), found, 0), count=401)
    angles = np.minimum(course.at_link_pin, math.pi - course.at_link_pin)
    assert angles.min() >= least - 1e-9
    assert 0 < found.searched.kept < found.searched.looked_at


def test_a_lever_curve_is_found_again() -> None:
    """Levers of the machine as it is, asked of one that may be quite different."""
    at = (0.1, 0.3, 0.5, 0.7, 0.9)
    machine = base()
    cylinder = machine.cylinders["bucket"]
    course = linkage_course(machine, count=11)
    assert course.cylinder is not None
    assert course.by_cylinder is not None
    wanted = tuple(float(1.0 / abs(course.by_cylinder[round(10 * share)])) for share in at)
    found = synthesis(
        machine, ranges(machine), [Goal("lever_curve", at=at, curve=wanted)], seed=4, generations=150
    )
    assert np.abs(found.levers[0] / wanted - 1.0).max() <= 0.02
    again = as_assembled(machine, found, 0)
    bucket = linkage_course(again, count=11).bucket[[1, 3, 5, 7, 9]]
    assert np.abs(np.abs(stretches(again, "bucket", bucket)) - found.levers[0]).max() <= 1e-9
    assert cylinder.stroke == again.cylinders["bucket"].stroke


def test_the_front_of_rotation_and_transmission() -> None:
    wanted = published_rotation()
    found = synthesis(base(), ranges(base()), [Goal("rotation", wanted), Goal("transmission")], seed=4)
    assert len(found.numbers) >= 10
    off = np.abs(found.rotation - wanted)
    assert (np.diff(off) > 0.0).all()  # further from what is wanted ...
    assert (np.diff(found.transmission) > 0.0).all()  # ... only where the transmission is better for it
    measured = linkage_course(base())
    better = (off < 1e-3) & (found.transmission >= measured.dead_centre.angle - 1e-3)
    assert better.any()  # the machine as it is does not beat the front
    for row in (0, len(found.numbers) // 2, -1):
        one = as_assembled(base(), found, row)
        assert abs(one.ranges["bucket"].high - one.ranges["bucket"].low - found.rotation[row]) <= 1e-9


def test_the_seed_decides() -> None:
    goals = [Goal("rotation", 3.0)]
    one, same = (synthesis(base(), ranges(base()), goals, seed=9, generations=5) for _ in range(2))
    assert np.array_equal(one.numbers, same.numbers)


def test_refused_with_every_fault() -> None:
    goals = [Goal("rotation", 9.0), Goal("lever_curve", at=(0.5, 1.5), curve=(0.1,))]
    limits = [Limit("transmission", low=1.0, high=0.5)]
    refused = refusal(
        lambda: synthesis(base(), {"idler": (0.1, 0.2), "pin_spacing": (0.2, 0.1)}, goals, limits)
    )
    assert {(fault.code, fault.where) for fault in refused.faults} == {
        ("unknown-parameter", "ranges.idler"), ("out-of-range", "ranges.pin_spacing"), ("out-of-range", "goals.0.wanted"),
        ("ragged", "goals.1.curve"), ("out-of-range", "goals.1.at.1"), ("unknown-goal", "limits.0"),
    }  # fmt: skip


def test_two_curves_are_refused_since_one_would_be_held_against_places_of_the_other() -> None:
    goals = [
        Goal("lever_curve", at=(0.1, 0.2), curve=(0.3, 0.3)),
        Goal("lever_curve", at=(0.8, 0.9), curve=(0.2, 0.2)),
    ]
    refused = refusal(lambda: synthesis(base(), ranges(base()), goals, generations=2))
    assert [(fault.code, fault.where) for fault in refused.faults] == [("given-twice", "goals.1")]


def test_a_machine_without_a_linkage() -> None:
    plain = assemble(plain_machine(), plain_bucket())
    refused = refusal(lambda: synthesis(plain, {"boom_length": (4.0, 5.0)}, [Goal("transmission")]))
    assert refused.code == "no-linkage"


@pytest.mark.parametrize("goals", [[], [Goal("transmission")] * 3])
def test_one_goal_or_two(goals: list[Goal]) -> None:
    assert refusal(lambda: synthesis(base(), ranges(base()), goals)).code == "wrong-size"


def test_nothing_can_be_found() -> None:
    limits = [Limit("rotation", low=6.2)]
    refused = refusal(
        lambda: synthesis(base(), ranges(base()), [Goal("transmission")], limits, generations=3)
    )
    assert refused.code == "nothing-found"
