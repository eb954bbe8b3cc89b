"""The last seconds of every sensor: kept, interpolated, bounded, and how each does."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.reading_series import noise, smooth_at, told, unrolled
from kinematics.sensor import Measure
from kinematics.sensor_health import health
from kinematics.track import MOST_KEPT, Track
from tests.tolerances import ROUNDING

from .sensor_sets import sensor
from .streams import UPRIGHT, crawler, feed

NAMES = ("body", "boom", "stick", "idler", "tilt")
# Angles of a few radians, wrapped a few times: some 1e-16 each.
ANGLE_RAD = 1e-12


def filled(**values: tuple[tuple[float, Any], ...]) -> Track:
    """Every sensor read at 1.0 and 1.2 s, but for those told."""
    track = Track(crawler())
    for name in NAMES:
        rest = (0.1, 0.2) if name == "body" else 0.3
        for at_s, value in values.get(name, ((1.0, rest), (1.2, rest))):
            track.add(name, at_s, value)
    return track


def codes(refused: pytest.ExceptionInfo[Refused]) -> list[tuple[str, str]]:
    return [(fault.code, fault.where) for fault in refused.value.faults]


def apart(a: float, b: float) -> float:
    return abs(math.remainder(a - b, 2.0 * math.pi))


def test_straight_between_neighbours() -> None:
    track = filled(boom=((1.0, 0.5), (1.2, 0.7)), body=((1.0, (0.1, -0.2)), (1.4, (0.3, -0.1))))
    found = track.at(1.1)
    assert found["boom"] == pytest.approx(0.6, rel=ROUNDING)
    assert found["body"] == pytest.approx((0.15, -0.175), rel=ROUNDING)
    assert track.at(1.0)["boom"] == 0.5, "a reading is itself"


def test_the_short_way_round() -> None:
    """179 deg, then -179: two degrees, not 358, told within the sensor's range; the roll of a pair too."""
    first, second = math.radians(179.0), math.radians(-179.0)
    found = filled(boom=((1.0, first), (1.2, second))).at(1.15)["boom"]
    assert isinstance(found, float)
    assert apart(found, math.radians(-179.5)) < ANGLE_RAD
    assert -math.pi <= found <= math.pi
    pair = sensor("body", Measure.PITCH_ROLL)
    rows = unrolled(pair, [(0.1, second), (0.2, first)])
    assert rows[1] - rows[0] == pytest.approx([0.1, math.radians(-2.0)], abs=ANGLE_RAD)
    back = told(pair, rows[1].tolist())
    assert back == pytest.approx((0.2, first), abs=ANGLE_RAD)


@given(start=st.floats(-3.1, 3.1), turn=st.floats(-3.1, 3.1), part=st.floats(0.0, 1.0))
def test_a_steady_turn_is_read_back(start: float, turn: float, part: float) -> None:
    def said(angle: float) -> float:
        return math.remainder(angle, 2.0 * math.pi)

    track = filled(stick=((1.0, said(start)), (1.2, said(start + turn))))
    found = track.at(1.0 + 0.2 * part)["stick"]
    assert isinstance(found, float)
    # The time 1.2 s and its difference from 1.0 have some 2e-16 of rounding, times a turn of 15 rad/s.
    assert apart(found, start + turn * part) < 1e-11


def test_a_wire_has_no_turns() -> None:
    wire = sensor("boom", Measure.LENGTH)
    assert unrolled(wire, [1.0, 9.0, 1.0]).tolist() == [[1.0], [9.0], [1.0]]
    assert told(wire, [9.0]) == 9.0


@pytest.mark.parametrize("t", [0.99, 1.21, math.nan, math.inf])
def test_outside_what_was_read(t: float) -> None:
    with pytest.raises(Refused) as refused:
        filled().at(t)
    assert codes(refused) == [("not-read-then", name) for name in NAMES]


def test_a_gap_is_not_bridged() -> None:
    track = filled(boom=((1.0, 0.5), (1.501, 0.5)), tilt=((1.0, 0.1), (1.5, 0.1)))
    with pytest.raises(Refused) as refused:
        track.at(1.1)
    assert codes(refused) == [("not-read-then", "boom")]
    assert "0.501 s apart" in refused.value.faults[0].found


def test_a_sensor_that_says_nothing_is_named() -> None:
    track = Track(crawler())
    feed(track, lambda _: UPRIGHT, (0.0, 1.0), 20.0, without="idler")
    with pytest.raises(Refused) as refused:
        track.at(0.5)
    assert codes(refused) == [("not-read-then", "idler")]
    assert set(track.latest()) == {*NAMES} - {"idler"}


@pytest.mark.parametrize(
    ("name", "at_s", "value", "code"),
    [
        ("boom", 2.0, math.nan, "not-finite"), ("boom", 2.0, math.inf, "not-finite"),
        ("boom", 2.0, -math.inf, "not-finite"), ("boom", 2.0, 10**400, "not-finite"),
        ("boom", 2.0, True, "not-a-number"), ("boom", 2.0, "0.5", "not-a-number"),
        ("boom", 2.0, None, "not-a-number"), ("boom", 2.0, (0.1, 0.2), "not-a-number"),
        ("boom", 2.0, 3.2, "out-of-range"), ("boom", 2.0, -180, "out-of-range"),
        ("boom", 1.2, 0.5, "not-rising"), ("boom", 1.1, 0.5, "not-rising"),
        ("boom", math.nan, 0.5, "not-finite"), ("boom", math.inf, 0.5, "not-finite"),
        ("boom", "2", 0.5, "not-a-number"), ("bom", 2.0, 0.5, "no-such-sensor"),
        ("body", 2.0, 0.5, "not-a-number"), ("body", 2.0, (0.1,), "not-a-number"),
        ("body", 2.0, (0.1, math.nan), "not-finite"), ("body", 2.0, (0.1, False), "not-a-number"),
        ("body", 2.0, (1.6, 0.0), "out-of-range"), ("body", 2.0, "ab", "not-a-number"),
    ],
)  # fmt: skip
def test_refused_and_not_kept(name: str, at_s: Any, value: Any, code: str) -> None:
    track = filled()
    before = track.latest()
    with pytest.raises(Refused) as refused:
        track.add(name, at_s, value)
    assert [fault.code for fault in refused.value.faults] == [code]
    assert track.latest() == before


def test_every_fault_at_once() -> None:
    with pytest.raises(Refused) as refused:
        filled().add("body", 0.5, (math.nan, 9.0))
    assert codes(refused) == [
        ("not-rising", "body.at_s"), ("not-finite", "body.0"), ("out-of-range", "body"),
    ]  # fmt: skip


def test_other_numbers_become_floats() -> None:
    track = filled()
    track.add("boom", 2, np.float64(0.5))
    track.add("body", 2.0, [0, np.float64(0.25)])  # type: ignore[arg-type]
    at_s, value = track.latest()["boom"]
    assert (type(at_s), type(value)) == (float, float)
    assert track.latest()["body"] == (2.0, (0.0, 0.25))


def test_old_readings_go() -> None:
    track = Track(crawler(), keep_s=0.5)
    for k in range(200):
        track.add("boom", 0.01 * k, 0.1)
    kept = track.window("boom", -math.inf, math.inf)
    assert kept[0][0] >= kept[-1][0] - 0.5
    assert len(kept) == pytest.approx(51, abs=1), "0.5 s at 100 a second, both ends"
    track.add("boom", 1000.0, 0.1)
    assert len(track.window("boom", -math.inf, math.inf)) == 1


def test_a_flood_is_bounded() -> None:
    track = Track(crawler())
    for k in range(3 * MOST_KEPT):
        track.add("boom", 1e-5 * k, 0.1)
    assert len(track.window("boom", -math.inf, math.inf)) == MOST_KEPT
    assert track.latest()["boom"][0] == 1e-5 * (3 * MOST_KEPT - 1)


def test_window_has_both_ends() -> None:
    track = filled(boom=((1.0, 0.1), (1.1, 0.2), (1.2, 0.3), (1.3, 0.4)))
    assert track.window("boom", 1.1, 1.2) == [(1.1, 0.2), (1.2, 0.3)]
    assert track.window("boom", 1.4, 2.0) == []
    at_s, values = track.series("body", 5.0, 6.0)
    assert (at_s.shape, values.shape) == ((0,), (0, 2))
    with pytest.raises(Refused, match="one of body"):
        track.window("bom", 0.0, 1.0)


@pytest.mark.parametrize("keep_s", [0.0, -1.0, math.nan, math.inf])
def test_how_long_must_be_a_time(keep_s: float) -> None:
    with pytest.raises(Refused) as refused:
        Track(crawler(), keep_s)
    assert refused.value.code == "out-of-range"


# Health


def rows(values: list[float]) -> Any:
    return np.array(values)[:, None]


def test_health_by_hand() -> None:
    """Gaps 0.1, 0.1, 0.2 s: mean 0.1333, so 7.5 a second; deviations -1/30, -1/30, 2/30: standard deviation 0.04714."""
    found = health(np.array([0.0, 0.1, 0.2, 0.4]), rows([0.0, 0.0, 0.0, 0.0]))
    assert (found.count, found.noise) == (4, 0.0)
    assert found.rate_hz == pytest.approx(7.5, rel=ROUNDING)
    assert found.jitter_s == pytest.approx(math.sqrt(2.0) / 30.0, rel=1e-9)


def test_noise_by_hand() -> None:
    """0, 0.1, 0, 0.1: every second difference is 0.2, sqrt(0.04 / 6) = 0.0816; of a pair the larger."""
    at_s = np.linspace(0.0, 0.5, 6)
    swinging = rows([0.0, 0.1, 0.0, 0.1, 0.0, 0.1])
    assert noise(at_s, swinging) == pytest.approx(0.1 * math.sqrt(2.0 / 3.0), rel=1e-9)
    both = np.hstack([0.0 * swinging, swinging])
    assert noise(at_s, both) == pytest.approx(0.1 * math.sqrt(2.0 / 3.0), rel=1e-9)


def test_too_few_for_health() -> None:
    few = health(np.array([0.0, 0.1, 0.2]), rows([0.0, 0.1, 0.2]))
    assert (few.count, few.rate_hz, few.jitter_s, few.noise) == (3, None, None, None)
    assert health(np.arange(5.0), rows([0.0] * 5)).noise is None, (
        "a second apart, nobody knows what lay between"
    )


@settings(deadline=None)
@given(
    rate=st.floats(-3.0, 3.0), start=st.floats(-3.0, 3.0),
    gaps=st.lists(st.floats(0.01, 0.49), min_size=3, max_size=30),
)  # fmt: skip
def test_a_steady_motion_is_no_noise(rate: float, start: float, gaps: list[float]) -> None:
    """However unevenly it is read. Rounding only: 40 rad at 1e-16 each, some operations."""
    at_s = np.cumsum([0.0, *gaps])
    found = noise(at_s, rows((start + rate * at_s).tolist()))
    assert found is not None
    assert found < 1e-12


@pytest.mark.parametrize("rate", [0.0, 0.3])
def test_noise_is_found(rate: float) -> None:
    """400 readings: the estimate has some 200 independent parts, a standard deviation of 5 %; three of these."""
    rng = np.random.default_rng(7)
    at_s = np.sort(rng.uniform(0.0, 20.0, 400))
    found = noise(at_s, rows((rate * at_s + 1e-3 * rng.normal(size=400)).tolist()))
    assert found == pytest.approx(1e-3, rel=0.15)


def test_health_of_a_track() -> None:
    track = Track(crawler())
    feed(track, lambda _: UPRIGHT, (0.0, 2.0), 20.0, noise_rad=1e-3, rng=np.random.default_rng(1))
    found = track.health()
    assert set(found) == {*NAMES}
    for each in found.values():
        assert each.count == 40
        assert each.rate_hz == pytest.approx(20.0, rel=1e-9)
        # 38 of them, some 19 independent parts: 16 %; three of these. A pair tells the larger of two.
        assert each.noise == pytest.approx(1e-3, rel=0.5)


def test_a_parabola_goes_through_an_acceleration() -> None:
    at_s = np.linspace(-0.25, 0.3, 12)
    found = smooth_at(at_s, rows((0.4 + 0.1 * at_s + 0.7 * at_s**2).tolist()), 0.05)
    assert found is not None
    assert found.tolist() == pytest.approx([0.4 + 0.005 + 0.00175], abs=1e-12)
    assert smooth_at(at_s[:5], rows([0.0] * 5), 0.0) is None
