"""Raw frames at a job's feed: what is refused, who may send them, what a fused angle goes through."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from kinematics.errors import Fault
from kinematics.machine import Range
from kinematics.sensor import LEFT, Measure, Mounting, Sensor
from service.live.fused import Fused
from service.live.raw import fuse, said_by
from service.live.receiver import HANDED_ON_S

from .making import Json
from .shaken import frame, shaken, turning
from .test_feed import Sender, fed

LEVEL: Json = {"accelerometer_m_s2": [0.0, 0.0, 9.81], "gyro_rad_s": [0.0, 0.0, 0.0]}


def leaned(deg: float, seconds: float = 3.0, name: str = "boom") -> list[Json]:
    """Frames of a case at rest, its nose up."""
    at_s = np.arange(round(seconds * 100)) / 100.0
    force, rates = turning(at_s, np.full_like(at_s, -math.radians(deg)), 1)
    force, rates = shaken(np.random.default_rng(1), at_s, force, rates)
    return [frame(name, *each) for each in zip(force, rates, strict=True)]


def send(sender: Sender, frames: list[Json], begin: float) -> list[str]:
    sender.knows(begin)
    return [sender.say(begin + 0.01 * i, **each) for i, each in enumerate(frames)]


def test_a_frame_becomes_a_reading() -> None:
    feed, sender = fed()
    told = send(sender, leaned(20.0), 1001.0)
    channel = feed.channels["boom"]
    assert set(told) == {"settling", ""}
    assert channel.counts == {"settling": told.count("settling")}
    assert told[-1] == ""
    assert channel.told() == pytest.approx(20.0, abs=0.15)  # the shaking's mean over a second
    assert channel.born == pytest.approx(1001.0 + 2.99 - channel.sensor.latency_s, abs=1e-6)
    assert feed.said[channel.first] == channel.value
    assert feed.track is not None
    assert feed.track.latest()["boom"] == (channel.born, channel.value)


def test_a_pair_and_its_signs() -> None:
    """The crawler's body reads nose down; its own axes stay x ahead, y left, z up."""
    feed, sender = fed()
    assert feed.channels["body"].sensor.sign == -1
    send(sender, leaned(5.0, name="body"), 1001.0)
    pitch, roll = feed.channels["body"].told()  # type: ignore[misc]
    assert pitch == pytest.approx(-5.0, abs=0.15)
    assert roll == pytest.approx(0.0, abs=0.15)


def test_why_it_settles_is_told_to_who_looks() -> None:
    feed, sender = fed()
    sender.say(1001.0, sensor="boom", **LEVEL)
    told = {each.where: each for each in feed.silent(1001.0)}
    assert told["boom"].advice == "settling: hold the arm still for two seconds"
    send(sender, leaned(1.0), 1002.0)
    assert feed.channels["boom"].error == ""


NUMBER = "accelerometer_m_s2"


@pytest.mark.parametrize("key", ["accelerometer_m_s2", "gyro_rad_s"])
@pytest.mark.parametrize(
    ("said", "code"),
    [
        (None, "bad-reading"), (1.0, "bad-reading"), ([], "bad-reading"), ([1.0, 2.0], "bad-reading"),
        ([0.0, 0.0, 9.8, 0.0], "bad-reading"), ({"x": 1}, "bad-reading"), ("0,0,9.8", "bad-reading"),
        ([0.0, 0.0, "9.8"], "bad-reading"), ([0.0, None, 9.8], "bad-reading"), ([True, 0.0, 9.8], "bad-reading"),
        ([[0.0], 0.0, 9.8], "bad-reading"), ([math.nan, 0.0, 9.8], "not-finite"), ([0.0, math.inf, 9.8], "not-finite"),
        ([0.0, 0.0, -math.inf], "not-finite"), ([0.0, 0.0, 10**4000], "out-of-range"),
        ([0.0, 0.0, 1e300], "out-of-range"),
        ([0.0, 0.0, 981.0], "out-of-range"),
    ],
)  # fmt: skip
def test_no_frame(key: str, said: Any, code: str) -> None:
    feed, sender = fed()
    told = send(sender, leaned(3.0), 1001.0)
    assert told[-1] == ""
    channel = feed.channels["boom"]
    before, counts = channel.value, dict(channel.counts)
    assert sender.say(1004.0, sensor="boom", **(LEVEL | {key: said})) == code
    assert channel.value == before
    assert channel.counts == counts | {code: 1}
    assert sender.say(1004.02, **leaned(3.0)[0]) == "", "the filter has not seen it"


@pytest.mark.parametrize(
    ("reading", "advice"),
    [
        (LEVEL | {"accelerometer_m_s2": [0.02, 0.0, 1.0]}, "in g"),
        (LEVEL | {"accelerometer_m_s2": [0, 0, 1000]}, "in g"),
        (LEVEL | {"accelerometer_m_s2": [0.0, 0.0, 0.0]}, "in g"), (LEVEL | {"gyro_rad_s": [0.0, 30.0, 0.0]}, "in deg/s"),
    ],
)  # fmt: skip
def test_another_unit(reading: Json, advice: str) -> None:
    told = fuse(Fused(), WHOLE, reading | {"at_s": 1.0})
    assert isinstance(told, Fault)
    assert told.code == "out-of-range"
    assert advice in told.advice


@pytest.mark.parametrize(
    "reading",
    [
        {"accelerometer_m_s2": [0.0, 0.0, 9.81]}, {"gyro_rad_s": [0.0, 0.0, 0.0]}, LEVEL | {"deg": 1.0},
        LEVEL | {"rad": 0.1}, LEVEL | {"error": "x"}, LEVEL | {"temperature": 20.0}, {"accelerometer_g": [0, 0, 1]},
    ],
)  # fmt: skip
def test_another_shape(reading: Json) -> None:
    feed, sender = fed()
    assert sender.say(1001.0, sensor="boom", **reading) == "bad-reading"
    assert feed.channels["boom"].fused is None


@pytest.mark.parametrize("measures", [Measure.ANGLE, Measure.LENGTH])
def test_of_no_sensor_of_gravity(measures: Measure) -> None:
    feed, sender = fed()
    channel = feed.channels["boom"]
    channel.sensor = Sensor(
        place="boom", measures=measures, sign=1, mounting=0.0, range=Range(0.5, 2.5), noise=1e-3, latency_s=0.03,
        age_limit_s=0.5,
    )  # fmt: skip
    assert sender.say(1001.0, sensor="boom", **LEVEL) == "bad-reading"
    assert channel.fused is None
    assert channel.feeder is None


def test_one_kind_at_a_time() -> None:
    feed, sender = fed()
    assert sender.say(1000.5, sensor="boom", deg=3.0) == ""
    assert sender.say(1000.6, sensor="boom", **LEVEL) == "bad-reading"
    told = send(sender, leaned(20.0), 1002.51)
    assert told[-1] == ""
    for unit, number in (("deg", 20.0), ("rad", 0.35)):
        assert sender.say(1005.6, sensor="boom", **{unit: number}) == "bad-reading"
    # Of the same moment too, as in one frame of the stream.
    assert sender.say(1005.61, **leaned(20.0)[0]) == ""
    assert sender.say(1005.61, 1005.62, sensor="boom", deg=3.0) in ("bad-reading", "future-dated")
    assert feed.channels["boom"].told() == pytest.approx(20.0, abs=0.3)
    assert sender.say(1007.7, sensor="boom", deg=3.0) == ""
    # An error is told at any time; of another sensor anything is taken.
    assert sender.say(1007.8, sensor="stick", deg=3.0) == ""


def test_two_connections_do_not_mix() -> None:
    feed, sender = fed()
    assert send(sender, leaned(10.0), 1001.0)[-1] == ""
    other = Sender(feed, 1004.0)
    assert other.say(1004.0, **leaned(60.0)[0]) == "fed-by-another"
    assert sender.say(1004.05, **leaned(10.0)[0]) == ""
    assert feed.channels["boom"].told() == pytest.approx(10.0, abs=0.3)
    # While nothing but settling has come of the first, too.
    feed, sender = fed()
    sender.say(1001.0, **leaned(10.0)[0])
    other = Sender(feed, 1001.0)
    assert other.say(1001.1, **leaned(60.0)[0]) == "fed-by-another"
    assert other.say(1001.1, sensor="boom", deg=60.0) in ("fed-by-another", "bad-reading")
    assert other.say(1001.2 + HANDED_ON_S, **leaned(60.0)[0]) == "settling"


def test_a_fused_angle_out_of_range() -> None:
    feed, sender = fed()
    told = send(sender, leaned(100.0, name="idler"), 1001.0)
    assert told[-1] == ""
    channel = feed.channels["boom"]
    channel.scale._high = (0.5, 0.5)
    told = send(sender, leaned(40.0), 1005.0)
    assert told[-1] == "out-of-range"
    assert channel.value is None
    assert channel.beyond[-1][1] == pytest.approx(math.radians(40.0), abs=0.003)


def test_the_same_moment_twice() -> None:
    _, sender = fed()
    send(sender, leaned(10.0), 1001.0)
    assert sender.say(1004.0, **leaned(10.0)[0]) == ""
    assert sender.say(1004.1, 1004.0, **leaned(10.0)[1]) == "duplicate-reading"
    assert sender.say(1004.1, 1003.9, **leaned(10.0)[1]) == "settling", "a step back begins anew"


WHOLE = Sensor(
    place="body", measures=Measure.PITCH_ROLL, sign=1, side_sign=-1, mounting=Mounting(nose_up=0.0),
    range=Range(-1.5, 1.5), noise=1e-3, latency_s=0.02, age_limit_s=0.5,
)  # fmt: skip


@pytest.mark.parametrize("sign", [1, -1])
def test_each_kind_says_what_its_definition_has(sign: int) -> None:
    """`Measure`: atan2(g along, g z); asin(g along); asin(g x), atan2(g y, g z)."""
    rng = np.random.default_rng(8)
    for _ in range(50):
        g = rng.normal(size=3)
        x, y, z = (g / np.linalg.norm(g)).tolist()
        one = replace(WHOLE, sign=sign)
        assert said_by(one, (x, y, z)) == pytest.approx((sign * math.asin(x), -math.atan2(y, z)), abs=1e-12)
        for axis, along in (("ahead", x), (LEFT, y)):
            single = replace(one, side_sign=None, axis=axis, measures=Measure.INCLINATION)
            assert said_by(single, (x, y, z)) == pytest.approx(sign * math.asin(along), abs=1e-12)
            single = replace(single, measures=Measure.GRAVITY_ANGLE)
            assert said_by(single, (x, y, z)) == pytest.approx(sign * math.atan2(along, z), abs=1e-12)


def test_swinging_fools_the_accelerometer_alone() -> None:
    """0.5 rad/s at 5 m: 1.25 m/s2 towards the axis, 7 deg; the gyro knows better."""
    at_s = np.arange(900) / 100.0
    rate = 0.5 * np.clip((at_s - 3.0) / 1.0, 0.0, 1.0)
    force, rates = turning(at_s, 0.0 * at_s, 1)
    force[:, 0] -= 5.0 * rate**2
    force[:, 1] += 5.0 * np.gradient(rate, at_s)
    rates[:, 2] = rate
    feed, sender = fed()
    frames: list[Json] = [
        frame("boom", *each)
        for each in zip(*shaken(np.random.default_rng(9), at_s, force, rates), strict=True)
    ]
    told: list[float] = []
    for i, each in enumerate(frames):
        if sender.say(1001.0 + 0.01 * i, **each) == "":
            told.append(float(feed.channels["boom"].told()))  # type: ignore[arg-type]
    assert len(told) > 600
    alone = np.degrees(np.arctan2(force[:, 0], force[:, 2]))
    assert np.max(np.abs(alone)) > 7.0
    # Two means of three seconds, each of which counts a quarter: 7 deg are lessened to some 1.
    assert max(map(abs, told)) < 1.2


def test_a_gap_is_no_other_kind() -> None:
    """What follows a gap settles anew; it is not held against the frames before it."""
    _, sender = fed()
    assert send(sender, leaned(10.0), 1001.0)[-1] == ""
    told = send(sender, leaned(10.0), 1004.6)
    assert set(told) == {"settling", ""}
    assert told[-1] == ""
