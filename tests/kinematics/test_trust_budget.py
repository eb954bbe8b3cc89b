"""An error budget with ordinary sensors lands where measured machines do."""

import itertools
import math

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.observed import chained
from kinematics.sensing import angles_from, readings_of
from kinematics.sensing_block import program
from kinematics.trust import Trust
from kinematics.trust_block import NUMBERS
from kinematics.trust_desk import said_in

from .trust_chains import job, postures

MEAN_ERROR_M = 0.0103
REQUIRED_M = 0.05
"""check_values 3.5 (seen, abstract): four inclination units on body, boom, stick and bucket against a total station."""
LEAST_M, MOST_M = 0.005, 0.025
SHARES = np.linspace(0.15, 0.7, 7)


@pytest.mark.parametrize(
    "pair", ["crawler-14t with digging-1500", "crawler-14t with trenching-600", "midi-8t with digging-1500"]
)
def test_a_centimetre_over_the_working_zone(pair: str) -> None:
    of = job(pair, "touch", Estimates())
    owed = chained(of.terms, of.observed, {}, of.estimates, of.sensors, of.sources)
    trust = Trust(of.sensors, of.sources, of.estimates, owed, None)
    assembly, middle = of.sensors.assembly, dict(postures(of.sensors.assembly).dig)
    told: list[float] = []
    for boom, stick, bucket in itertools.product(SHARES, SHARES, (0.4, 0.6)):
        angles = dict(middle)
        for name, share in (("boom", boom), ("stick", stick), ("bucket", bucket)):
            span = assembly.ranges[name]
            angles[name] = span.low + share * (span.high - span.low)
        try:
            found = pose(assembly, **angles)
            readings = readings_of(of.sensors, found)
            angles_from(of.sensors, readings)
        except Refused:
            continue
        assert trust.judge(said_in(program(of.sensors).numbers, readings), found.q)
        told.append(float(trust.numbers[NUMBERS.index("centre_elevation_u")]))
    assert len(told) > 60
    assert all(math.isfinite(each) for each in told)
    assert min(told) >= LEAST_M
    assert max(told) <= MOST_M
    # Of a normal error the mean size is 0.80 standard deviations (GUM, from memory): within a factor of two of theirs.
    assert 0.5 * MEAN_ERROR_M <= math.sqrt(2.0 / math.pi) * float(np.mean(told)) <= 2.0 * MEAN_ERROR_M
    assert 1.96 * max(told) <= REQUIRED_M
