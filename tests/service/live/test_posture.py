"""What every sensor says while the arm rests, out of its range too."""

import math
from typing import Any

import numpy as np
import pytest

from kinematics.errors import Refused
from service.live.feed import FITTING, Feed, Fitted
from service.live.posture import Posture, posture

from .making import Json
from .test_feed import LATENCY, REST, Sender, fed, state
from .test_raw import leaned

HZ = 20.0


def rested(seconds: float = 1.5, begin: float = 1001.0, **other: Any) -> tuple[Feed, Sender, float]:
    """A feed read at rest, some sensors otherwise: a number of `REST`'s unit by reading, or None for nothing."""
    feed, sender = fed()
    now = say(sender, begin, seconds, **other)
    return feed, sender, now


def say(sender: Sender, begin: float, seconds: float, **other: Any) -> float:
    now = begin
    for i in range(round(seconds * HZ) + 1):
        now = begin + i / HZ
        for name, each in REST.items():
            reading: Json = each
            if name in other:
                found = other[name](now - begin) if callable(other[name]) else other[name]
                if found is None:
                    continue
                reading = found if isinstance(found, dict) else {"deg": found}
            sender.say(now, sensor=name, **reading)
    return now


def faults(feed: Feed, now: float, **more: Any) -> dict[str, str]:
    """Codes by sensor."""
    with pytest.raises(Refused) as refused:
        posture(feed, now, **more)
    for each in refused.value.faults:
        assert each.found
        assert each.expected
    return {each.where: each.code for each in refused.value.faults}


def test_all_at_rest() -> None:
    feed, _, now = rested()
    found = posture(feed, now)
    assert isinstance(found, Posture)
    assert found.readings.keys() == found.counts.keys() == found.spreads.keys() == REST.keys()
    for name, each in REST.items():
        said = np.degrees(found.readings[name])
        assert np.allclose(said, each["deg"], atol=1e-9)
        assert 20 <= found.counts[name] <= 21
        assert found.spreads[name] <= 1e-9


def test_out_of_range_counts_too() -> None:
    feed, _, now = rested(boom=200.25, body={"rad": [1.7, -2.0]}, stick={"rad": 3.5})
    assert feed.channels["boom"].value is None
    found = posture(feed, now)
    assert found.readings["boom"] == pytest.approx(math.radians(200.25), abs=1e-9)
    assert found.readings["body"] == pytest.approx((1.7, -2.0), abs=1e-9)
    assert found.readings["stick"] == pytest.approx(3.5, abs=1e-9)


def test_at_the_end_of_the_range_and_of_the_turn() -> None:
    """Now 179.9, now 180.1; now 179.9, now -179.9, which is the same."""
    flip = iter(range(10_000))
    feed, _, now = rested(
        boom=lambda _: 180.1 if next(flip) % 2 else 179.9,
        stick=lambda t: 179.9 if round(t * HZ) % 2 else -179.9,
    )
    found = posture(feed, now)
    assert math.degrees(found.readings["boom"]) == pytest.approx(180.0, abs=0.11)  # type: ignore[arg-type]
    assert abs(math.degrees(found.readings["stick"])) == pytest.approx(180.0, abs=0.11)  # type: ignore[arg-type]
    assert math.degrees(found.spreads["stick"]) == pytest.approx(0.1, abs=0.01)


def test_the_median() -> None:
    feed, _, now = rested(boom=lambda t: 10.0 if abs(t - 1.0) > 0.06 else 15.0)
    assert math.degrees(posture(feed, now).readings["boom"]) == pytest.approx(10.0, abs=1e-9)  # type: ignore[arg-type]


def test_all_that_is_wrong_at_once() -> None:
    feed, sender, now = rested(
        boom=lambda t: 10.0 + t,
        stick=None,
        idler=lambda t: 3.0 if t > 1.35 else None,
        body=lambda t: {"deg": [t, 0.0]},
    )
    sender.say(now, sensor="stick", error="wire broken")
    assert faults(feed, now) == {
        "boom": "arm-moves", "stick": "sensor-quiet", "idler": "too-few-readings", "body": "arm-moves",
    }  # fmt: skip
    with pytest.raises(Refused) as refused:
        posture(feed, now)
    assert "wire broken" in {each.advice for each in refused.value.faults}


def test_noise_is_no_motion() -> None:
    """Of readings that scatter by 0.1 deg, twice what the profile gives; 0.5 deg in a second is motion all the same."""
    rng = np.random.default_rng(10)
    feed, _, now = rested(boom=lambda _: float(rng.normal(10.0, 0.1)))
    found = posture(feed, now)
    assert math.degrees(found.spreads["boom"]) == pytest.approx(0.1, rel=0.5)
    feed, _, now = rested(boom=lambda t: float(rng.normal(10.0, 0.1)) + 1.5 * t)
    assert faults(feed, now) == {"boom": "arm-moves"}


def test_old_readings_do_not_count() -> None:
    feed, _, now = rested()
    assert set(faults(feed, now + 1.2).values()) == {"sensor-quiet"}
    assert set(faults(feed, now + 0.5).values()) == {"too-few-readings"}
    assert posture(feed, now + 0.5, seconds=1.9).counts["boom"] >= 15


def test_dated_by_the_latency() -> None:
    """What was true a second before now less the latency still counts."""
    feed, _, now = rested(seconds=1.0)
    assert posture(feed, now).counts == {name: 21 if LATENCY[name] >= 0.0 else 20 for name in REST}


def test_from_before_a_move_it_is_another_place() -> None:
    feed, sender, now = rested(boom=200.0)
    feed.fit(Fitted(feed.state, feed.sensors), now)
    assert set(faults(feed, now).values()) == {"sensor-quiet"}
    now = say(sender, now + 0.1, 1.5, boom=200.0)
    assert posture(feed, now).readings["boom"] == pytest.approx(math.radians(200.0), abs=1e-9)


def test_raw_frames() -> None:
    feed, sender = fed()
    frames = leaned(25.0, 4.0)
    for i, each in enumerate(frames):
        now = 1001.0 + 0.01 * i
        assert sender.say(now, **each) in ("", "settling")
        for name, rest in REST.items():
            if name != "boom":
                sender.say(now, sensor=name, **rest)
    found = posture(feed, now)
    assert math.degrees(found.readings["boom"]) == pytest.approx(25.0, abs=0.15)  # type: ignore[arg-type]
    assert found.counts["boom"] >= 100


@pytest.mark.parametrize("seconds", [0.0, -1.0, 60.0, math.nan, math.inf])
def test_seconds(seconds: float) -> None:
    feed, _, now = rested()
    assert faults(feed, now, seconds=seconds) == {"seconds": "out-of-range"}


def test_no_sensors() -> None:
    feed = Feed("pit", Fitted(state(), None, (FITTING,)))
    assert faults(feed, 1001.0) == {"": "no-setup"}


def test_the_ring_is_bounded() -> None:
    feed, sender = fed()
    for i in range(3000):
        if i % 500 == 0:
            sender.knows(1001.0 + 0.001 * i)
        assert sender.say(1001.0 + 0.001 * i, sensor="boom", deg=200.0) == "out-of-range"
    assert len(feed.channels["boom"].beyond) == 1024
