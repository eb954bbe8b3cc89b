"""A touch left to the sensors and asked for earlier: the edge must rest from a little before the asking on."""

import math

import pytest

from kinematics.arm import pose
from kinematics.errors import Refused
from kinematics.track import Track
from service.api.still import resting
from tests.kinematics.streams import FAR, assembly, boom_at, crawler, feed

NOW, HZ = 4.0, 50.0
LOWERED_M_S = 0.2
BEFORE_S = 0.3
"""As the guide has it: readings are dated by the earliest they can be."""
HEIGHT = pose(assembly(), **FAR).height("centre")


def came_to_rest(rest_s: float) -> Track:
    """4 s of exact readings: the edge comes down to where it rests for the last `rest_s`."""

    def motion(t: float) -> dict[str, float]:
        up = LOWERED_M_S * max(NOW - rest_s - t, 0.0)
        return boom_at("centre", HEIGHT + up, FAR) if up else FAR

    track = Track(crawler())
    feed(track, motion, (0.0, NOW), HZ)
    return track


@pytest.mark.parametrize("rest_s", [1.2, 2.0, 3.0])
def test_rest_begins_a_little_before_the_asking(rest_s: float) -> None:
    track = came_to_rest(rest_s)
    begun = NOW - rest_s
    for asked in (begun + BEFORE_S + 1.0 / HZ, NOW - 0.1):
        told = resting(track, NOW, "centre", asked)
        assert told.readings["watched_s"] >= 1.0 - 1e-9
    # 0.2 m/s for 0.2 s are 40 mm; what is judged is 5 mm.
    for asked in (begun - 0.5, begun, begun + BEFORE_S - 0.2):
        with pytest.raises(Refused) as refused:
            resting(track, NOW, "centre", asked)
        [fault] = refused.value.faults
        assert (fault.code, fault.where) == ("asked-too-long-ago", "asked_at")
        assert fault.numbers["age_s"] == pytest.approx(NOW - asked, abs=1e-9)


def test_without_a_time_of_asking_the_last_second_is_enough() -> None:
    told = resting(came_to_rest(1.2), NOW, "centre", None)
    angles = told.angles_deg
    assert math.radians(angles["boom"]) == pytest.approx(FAR["boom"], abs=1e-9)
