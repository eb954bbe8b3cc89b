"""How good sensors must be: bought as told, the tightest place just keeps to the tolerance."""

import math

import numpy as np
import pytest

from kinematics.candidate_sensors import Figures, refigured
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.propagation import coverage
from kinematics.sources import Kind, sources_of
from kinematics.zone_accuracy import needed
from kinematics.zone_budget import ZoneBudget, zone_budget

from .zones import PAIRS, sensors_of, touch_of, zone_of

TIED = [("boom.zero", "boom_length", -0.6), ("stick.zero", "boom.zero", 0.3)]


def budget_with(
    machine: str, attachment: str, by: str, figures: dict[str, dict[str, float]], tied: bool
) -> ZoneBudget:
    sensors, estimates = sensors_of(machine, attachment, by), Estimates()
    sensors = refigured(sensors, {name: Figures(**each) for name, each in figures.items()})
    arm = sensors.assembly
    sources = sources_of(sensors, estimates, TIED if tied else ())
    return zone_budget(sensors, sources, estimates, zone_of(arm), touch_of(arm))


@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("share", [0.8, 1.3])
@pytest.mark.parametrize(("machine", "attachment", "by"), PAIRS)
def test_sensors_bought_as_told_just_keep_to_it(
    machine: str, attachment: str, by: str, share: float, tied: bool
) -> None:
    now = budget_with(machine, attachment, by, {}, tied)
    rest = coverage(math.sqrt(float(np.nanmax(now.by_others))))
    most = coverage(float(np.nanmax(now.standard)))
    tolerance = rest + share * (most - rest)
    told = needed(now, tolerance)
    assert (told.factor < 1.0) == (share < 1.0)
    then = budget_with(machine, attachment, by, told.then, tied)
    half = coverage(1.0) * then.standard
    assert np.isfinite(half[told.row, told.column])
    assert float(np.nanmax(half)) == pytest.approx(tolerance, rel=1e-9)
    assert half[told.row, told.column] == pytest.approx(tolerance, rel=1e-9)
    for name, figures in told.now.items():
        for figure, value in figures.items():
            assert told.then[name][figure] == pytest.approx(told.factor * value, rel=1e-12)
            given = getattr(now.sensors.sensors[name], figure)
            assert given is None or value == given


def test_where_the_rest_is_too_much_no_sensor_helps() -> None:
    now = budget_with("crawler-14t", "digging-1500", "own", {}, tied=False)
    rest = coverage(math.sqrt(float(np.nanmax(now.by_others))))
    assert needed(now, rest * 1.0001).factor < 0.1
    with pytest.raises(Refused) as refused:
        needed(now, rest * 0.9999)
    [fault] = refused.value.faults
    assert fault.code == "beyond-sensors"
    assert fault.numbers["rest_mm"] == pytest.approx(1e3 * rest, rel=1e-9)
    assert Kind.DIMENSIONS in fault.expected
    for tolerance in (0.0, -0.01, math.nan, math.inf):
        with pytest.raises(Refused) as refused:
            needed(now, tolerance)
        assert refused.value.code == "not-positive"
