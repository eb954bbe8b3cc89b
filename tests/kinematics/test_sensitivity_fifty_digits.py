"""Sensitivities against 50 digits and against the complex step: every output, every joint, every parameter."""

import math

from mpmath import mpf

from kinematics.sensitivity import sensitivity
from tests.amounts import several

from . import complex_step, fifty_digits
from .fifty_digits import JOINTS
from .poses import CHOSEN, joints_of, outputs_of, parameters_of, points_of, posed

# A derivative is a product of a few places and turns, less another: 1e-13 of the largest of them, which may be
# some ten times the difference; of a slope or an angle, over an edge's run of a decimetre or more.
RATE = 1e-11


def test_sensitivity_at_fifty_digits() -> None:
    """Every output by every joint and every parameter, of machines with and without each part."""
    for seed, linkage in CHOSEN:
        found = posed(seed, linkage=linkage)
        given = parameters_of(found)
        lacks = found.assembly.lacks
        exist = [name for name, value in given.items() if not math.isnan(value) and name not in lacks]
        joints = joints_of(found)
        ours = {output: sensitivity(found, output) for output in outputs_of(found)}
        for output, rates in ours.items():
            assert set(rates.joints) == set(joints), (seed, output)
            assert set(rates.parameters) == set(exist), (seed, output)
        for name in (*joints, *exist):
            expected = fifty_digits.derivatives(given, found.q.tolist(), name)
            for output, rates in ours.items():
                rate = (rates.joints if name in JOINTS else rates.parameters)[name]
                assert math.isfinite(rate), (seed, output, name)
                off = float(abs(mpf(rate) - expected[output]) / (1 + abs(expected[output])))
                assert off <= RATE, (seed, output, name, rate, float(expected[output]))


def test_sensitivity_of_places_by_complex_step() -> None:
    for seed in range(several(40)):
        found = posed(seed, linkage=seed % 2 == 0)
        given, q = parameters_of(found), found.q.tolist()
        for name in points_of(found):
            for axis, expected in complex_step.rates(given, q, name).items():
                rates = sensitivity(found, f"{name}_{axis}")
                for key, rate in (rates.joints | rates.parameters).items():
                    assert math.isfinite(rate), (seed, name, axis, key)
                    assert abs(rate - expected[key]) <= RATE * (1.0 + abs(expected[key])), (
                        seed,
                        name,
                        axis,
                        key,
                    )
