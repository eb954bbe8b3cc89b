"""Readings in rad and m: the same numbers, ranges and refusals as in deg and mm."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.machine import Range
from kinematics.sensor import Measure, Sensor
from service.live.channel import Channel
from service.live.feed import Feed
from tests.service.live.test_feed import LASER, Sender, fed

from .making import Json

WIRE = Sensor(
    place="boom", measures=Measure.LENGTH, sign=1, mounting=0.0, range=Range(1.4, 2.5), noise=0.001, latency_s=0.03,
    age_limit_s=0.5,
)  # fmt: skip


def of(feed: Feed, sender: Sender, **reading: Any) -> str:
    return sender.say(1001.0, sensor="boom", **reading)


@given(st.floats(-math.pi, math.pi))
def test_rad_is_taken_as_it_is(rad: float) -> None:
    feed, sender = fed()
    assert of(feed, sender, rad=rad) == ""
    assert feed.channels["boom"].value == rad
    assert feed.said[feed.channels["boom"].first] == rad


def test_a_pair_in_rad() -> None:
    feed, sender = fed()
    assert sender.say(1001.0, sensor="body", rad=[0.01, -1]) == ""
    assert feed.channels["body"].value == (0.01, -1.0)
    assert sender.say(1001.1, sensor="body", rad=[1.6, 0.0]) == "out-of-range"
    assert sender.say(1001.1, sensor="body", rad=0.1) == "bad-reading"


@given(st.floats(1.4, 2.5))
def test_metres(metres: float) -> None:
    channel = Channel("wire", WIRE, 0)
    assert channel.si_scale.read(metres) == metres
    assert channel.unit == "mm"
    assert channel.si == "m"
    fault = channel.si_scale.read(1000.0 * metres)
    assert fault.code == "out-of-range"  # type: ignore[union-attr]
    assert fault.expected == "1.4 to 2.5 m"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("said", "code"),
    [
        (True, "bad-reading"), ("1", "bad-reading"), (None, "bad-reading"), ([1.0], "bad-reading"), ({}, "bad-reading"),
        (math.nan, "not-finite"), (math.inf, "not-finite"), (31.0, "out-of-range"), (-3.2, "out-of-range"),
        (10**4000, "out-of-range"), (1e300, "out-of-range"),
    ],
)  # fmt: skip
def test_no_reading_in_rad(said: Any, code: str) -> None:
    feed, sender = fed()
    assert of(feed, sender, rad=said) == code
    assert feed.channels["boom"].value is None
    assert feed.channels["boom"].counts == {code: 1}


@pytest.mark.parametrize(
    "reading", [{"deg": 1.0, "rad": 0.017}, {"m": 1.0}, {"rad": 1.0, "mm": 3.0}, {"rad": 1.0, "note": ""}]
)
def test_one_unit_and_the_right_one(reading: Json) -> None:
    feed, sender = fed()
    assert of(feed, sender, **reading) == "bad-reading"
    assert feed.channels["boom"].value is None


def test_both_units_one_after_the_other() -> None:
    feed, sender = fed()
    assert sender.say(1001.0, sensor="boom", deg=10.0) == ""
    assert sender.say(1001.1, sensor="boom", rad=0.2) == ""
    assert feed.channels["boom"].told() == pytest.approx(math.degrees(0.2), abs=1e-12)


def test_the_receiver_in_metres() -> None:
    feed, sender = fed(LASER)
    assert sender.say(1001.0, receiver_above_m=0.3) == ""
    assert sender.say(1001.1, receiver_above_mm=290.0) == ""
    assert feed.receiver.taken == 2
    for reading, code in (
        ({"receiver_above_m": 290.0}, "out-of-range"), ({"receiver_above_m": "1"}, "bad-reading"),
        ({"receiver_above_m": 10**4000}, "out-of-range"), ({"receiver_above_m": math.nan}, "not-finite"),
        ({"receiver_above_m": 0.1, "receiver_above_mm": 100.0}, "bad-reading"),
        ({"receiver_above_m": 0.1, "receiver_hit": True}, "bad-reading"),
    ):  # fmt: skip
        assert sender.say(1001.2, **reading) == code, reading
    assert feed.receiver.taken == 2
