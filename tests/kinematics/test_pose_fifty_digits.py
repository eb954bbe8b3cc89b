"""Poses against 50 digits, and the two referees of derivatives against each other."""

import math

import pytest
from mpmath import mpf

from . import complex_step, fifty_digits
from .poses import CHOSEN, LEAST_RUN_M, SHAPES, outputs_of, parameters_of, points_of, posed, value_of

# A dozen roundings of 1e-16 of places up to 15 m away.
VALUE = 1e-12
# A derivative is a sum of a few products of such places and turns, none of them much above 15.
RATE = 1e-12


@pytest.mark.parametrize("linkage", [False, True])
def test_pose_at_fifty_digits(*, linkage: bool) -> None:
    for seed in range(20):
        found = posed(seed, linkage=linkage)
        exact = fifty_digits.outputs(parameters_of(found), found.q.tolist())
        assert set(exact) == set(outputs_of(found))
        for output, expected in exact.items():
            value = value_of(found, output)
            assert math.isfinite(value), output
            # Slopes and angles are places over a run of LEAST_RUN_M or more.
            allowed = VALUE if output not in SHAPES else VALUE / LEAST_RUN_M
            assert abs(mpf(value) - expected) <= allowed, (seed, output)


def test_chosen_machines_have_and_lack_every_part() -> None:
    found = [posed(seed, linkage=linkage) for seed, linkage in CHOSEN]
    for joint in ("swing_boom", "fore_boom", "tilt", "rotate"):
        assert {joint in one.assembly.ranges for one in found} == {True, False}, joint
    assert {one.has_teeth for one in found} == {True, False}
    assert {one.assembly.machine.receiver is None for one in found} == {True, False}
    assert {one.assembly.links is None for one in found} == {True, False}
    for part in ("coupler", "mount"):
        assert {getattr(one.assembly.attachment, part) is None for one in found} == {True, False}, part


def test_the_two_referees_agree() -> None:
    """50 digits against the complex step, at places: neither calls the formulas under test."""
    for seed, linkage in CHOSEN[:4]:
        found = posed(seed, linkage=linkage)
        given, q = parameters_of(found), found.q.tolist()
        stepped = {name: complex_step.rates(given, q, name) for name in points_of(found)}
        for key in stepped["left"]["reach"]:
            exact = fifty_digits.derivatives(given, q, key)
            for name, axes in stepped.items():
                for axis, rates in axes.items():
                    expected = float(exact[f"{name}_{axis}"])
                    assert math.isfinite(rates[key]), (seed, name, axis, key)
                    assert abs(rates[key] - expected) <= RATE * (1.0 + abs(expected)), (seed, name, axis, key)
