"""What a job says of its surroundings: common sizes, and what no site has is refused."""

import math
from dataclasses import fields

import pytest

from kinematics.errors import Refused
from kinematics.estimates import MOST, Estimates
from tests.tolerances import ROUNDING

NAMES = [each.name for each in fields(Estimates)]


def test_the_defaults_are_common_practice() -> None:
    """Common practice, no source; 10 arc seconds at 30 m are 1.454 mm, by the tangent."""
    usual = Estimates()
    assert (usual.contact, usual.benchmark, usual.receiver, usual.distance) == (0.003, 0.0, 0.0015, 0.05)
    assert (usual.places_apart, usual.laser_distance, usual.temperature) == (20.0, 50.0, 10.0)
    assert 30.0 * math.tan(usual.laser_level) == pytest.approx(0.001454, abs=5e-7)  # half its last digit


def test_every_size_has_a_limit() -> None:
    assert list(MOST) == NAMES
    assert Estimates(**MOST) == Estimates(*MOST.values())
    assert Estimates(*[0.0] * len(NAMES)).temperature == 0.0
    assert math.degrees(MOST["laser_level"]) == pytest.approx(0.5, rel=ROUNDING)


@pytest.mark.parametrize("name", NAMES)
def test_beyond_its_limits_a_size_is_refused(name: str) -> None:
    for value in (-1e-9, math.nextafter(MOST[name], math.inf), 1e300):
        with pytest.raises(Refused) as refused:
            Estimates(**{name: value})
        [fault] = refused.value.faults
        assert (fault.code, fault.where) == ("out-of-range", name)
        assert fault.numbers == {"least": 0.0, "most": MOST[name]}
    for value in (math.nan, math.inf, -math.inf):
        with pytest.raises(Refused) as refused:
            Estimates(**{name: value})
        assert [(fault.code, fault.where) for fault in refused.value.faults] == [("not-finite", name)]


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(Refused) as refused:
        Estimates(contact=-0.003, laser_level=10.0, temperature=math.nan)
    assert [str(fault) for fault in refused.value.faults] == [
        "contact: expected 0 to 1 m, found -0.003 m; a size has no sign: check the unit and the decimal point",
        "laser_level: expected 0 to 0.00872665 rad, found 10 rad; a size has no sign: check the unit and the decimal "
        "point",
        "temperature: expected a finite number, found nan",
    ]
