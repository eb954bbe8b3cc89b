"""A touch: the median of the last second, if the edge stood still under the noise of its sensors."""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.errors import Refused
from kinematics.reading_series import Told
from kinematics.sensing import readings_of
from kinematics.sensor import Mounting
from kinematics.sensor_set import SensorSet
from kinematics.still import CREEP_M_S, Still, still
from kinematics.track import Track
from tests.amounts import several

from .machines import Rng
from .streams import FAR, Course, Motion, assembly, boom_at, crawler, feed, noisy, noisy_as

NOW = 4.0
HEIGHT = pose(assembly(), **FAR).height("centre")
AT_REST = readings_of(crawler(), pose(assembly(), **FAR))
# The same with the edge 0.1 m higher; between them readings go straight to 0.1 mm, far under what is judged here.
HIGHER = readings_of(crawler(), pose(assembly(), **boom_at("centre", HEIGHT + 0.1, FAR)))


def creeping(
    noise_deg: float,
    hz: float,
    creep_m_s: float,
    rng: Rng,
    *,
    rest_s: float = math.inf,
    told_deg: float = 0.0,
) -> Track:
    """4 s of readings, each sensor at its own phase; before the last `rest_s` the edge came down at 0.2 m/s. The profile
    gives that noise, or what it is `told` to be."""
    track = Track(noisy_as(crawler(), math.radians(told_deg or noise_deg)))
    for name, said in AT_REST.items():
        phase = rng.uniform(0.0, 1.0)
        for k in range(math.floor(NOW * hz)):
            t = (k + phase) / hz
            up = creep_m_s * (t - NOW) + 0.2 * max(NOW - rest_s - t, 0.0)
            track.add(name, t, noisy(between(said, HIGHER[name], up / 0.1), math.radians(noise_deg), rng))
    return track


def between(a: Told, b: Told, part: float) -> Told:
    if isinstance(a, tuple) and isinstance(b, tuple):
        return a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])
    assert isinstance(a, float)
    assert isinstance(b, float)
    return a + part * (b - a)


def moving(motion: Motion, hz: float = 50.0, seconds: float = NOW) -> Track:
    track = Track(crawler())
    feed(track, motion, (NOW - seconds, NOW), hz)
    return track


def refusal(
    track: Track, now_s: float = NOW, point: str = "centre", seconds: float = 1.0
) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as refused:
        still(track, now_s, point, seconds)
    return [(fault.code, fault.where) for fault in refused.value.faults]


def rested(track: Track) -> bool:
    """False where it was refused because the arm moves."""
    try:
        still(track, NOW, "centre")
    except Refused as refused:
        if {fault.code for fault in refused.faults} != {"arm-moves"}:
            raise
        return False
    return True


def test_the_edge_is_8_m_ahead() -> None:
    assert pose(assembly(), **FAR).reach == pytest.approx(8.0, abs=0.15)


def test_at_rest() -> None:
    found = still(moving(lambda _: FAR), NOW, "centre")
    assert isinstance(found, Still)
    assert found.counts == dict.fromkeys(AT_REST, 50)
    assert found.begun_s == pytest.approx(3.0, abs=1e-12)
    for name, angle in FAR.items():
        assert found.angles[name] == pytest.approx(angle, abs=1e-12)
    assert set(found.readings) == set(AT_REST)
    # Rounding of means of equal readings.
    assert found.drift_m < 1e-9
    assert found.drift_reach_m < 1e-9


def test_the_median_is_of_the_last_second_and_shrugs_off_one_reading() -> None:
    track = Track(crawler())
    for name, said in AT_REST.items():
        for k in range(100):
            t = 2.0 + 0.02 * (k + 0.5)
            off = 0.05 if name == "idler" and k == 80 else 0.0
            track.add(name, t, said if isinstance(said, tuple) else said + off)
    found = still(track, NOW, "centre")
    assert found.readings["idler"] == pytest.approx(AT_REST["idler"], abs=1e-12)


def test_a_median_across_half_a_turn() -> None:
    """A boom sensor on its head reads 180 deg as often as -180: the median of these is no zero."""
    there = pose(assembly(), **FAR)
    boom = replace(crawler().sensors["boom"], mounting=Mounting(math.pi - FAR["boom"] - FAR["pitch"]))
    sensors = SensorSet(assembly(), {**crawler().sensors, "boom": boom})
    rng = np.random.default_rng(4)
    track = Track(sensors)
    said = []
    for k in range(200):
        for name, value in readings_of(sensors, there).items():
            one = noisy(value, math.radians(0.05), rng)
            if name == "boom":
                one = math.remainder(one, 2.0 * math.pi)  # type: ignore[arg-type]
                said.append(one)
            track.add(name, 0.02 * (k + 0.5), one)
    assert min(said) < -3.1 < 3.1 < max(said)
    found = still(track, NOW, "centre")
    # 0.05 deg over the root of 50, times 1.25 for a median: 0.009 deg; four of these.
    assert found.angles["boom"] == pytest.approx(FAR["boom"], abs=math.radians(0.036))


# What is refused before anything is judged


def test_too_few_are_named() -> None:
    track = Track(crawler())
    for name, said in AT_REST.items():
        count = {"stick": 2, "idler": 40}.get(name, 100)
        for k in range(count):
            track.add(name, NOW - 0.01 * (count - k - 0.5), said)
    assert refusal(track) == [("too-few-readings", "stick"), ("too-few-readings", "idler")]


def test_a_sensor_that_says_nothing() -> None:
    track = Track(crawler())
    feed(track, lambda _: FAR, (0.0, NOW), 20.0, without="tilt")
    assert refusal(track) == [("too-few-readings", "tilt")]


def test_readings_of_before() -> None:
    assert refusal(moving(lambda _: FAR), now_s=NOW + 2.0) == [("too-few-readings", name) for name in AT_REST]


def test_a_hole_in_the_middle() -> None:
    """Three readings over 0.9 s, but none in the middle third: nobody saw it pass through."""
    track = Track(crawler())
    for name, said in AT_REST.items():
        for t in (3.05, 3.1, 3.95) if name == "boom" else np.arange(3.0, 4.0, 0.05).tolist():
            track.add(name, t, said)
    assert refusal(track) == [("too-few-readings", "boom")]


@pytest.mark.parametrize(
    ("now_s", "point", "seconds", "code"),
    [
        (math.nan, "centre", 1.0, ("not-finite", "now_s")), (math.inf, "centre", 1.0, ("not-finite", "now_s")),
        (NOW, "middle", 1.0, ("no-such-point", "point")), (NOW, "tooth_left", 1.0, ("no-such-point", "tooth_left")),
        (NOW, "centre", 0.0, ("out-of-range", "seconds")), (NOW, "centre", math.nan, ("out-of-range", "seconds")),
        (NOW, "centre", 4.1, ("out-of-range", "seconds")),
    ],
)  # fmt: skip
def test_a_question_without_sense(now_s: float, point: str, seconds: float, code: tuple[str, str]) -> None:
    assert refusal(moving(lambda _: FAR, hz=20.0), now_s, point, seconds) == [code]


# Motion


@pytest.mark.parametrize("hz", [5.0, 10.0, 50.0])
@pytest.mark.parametrize("speed", [CREEP_M_S, -CREEP_M_S, 0.2])
def test_an_edge_that_sinks_or_rises(hz: float, speed: float) -> None:
    course = Course("centre", FAR, lambda t: HEIGHT + speed * (t - NOW))
    assert refusal(moving(course, hz))[0] == ("arm-moves", "centre_height")


def test_an_edge_that_slides() -> None:
    """60 mm/s on the level, three times what is allowed; the height stays."""

    def slid(t: float) -> Mapping[str, float]:
        return boom_at("centre", HEIGHT, FAR | {"stick": FAR["stick"] - 0.06 * (NOW - t)})

    reach = [pose(assembly(), **slid(t)).reach for t in (3.0, 4.0)]
    assert abs(reach[1] - reach[0]) > 0.02
    assert refusal(moving(slid)) == [("arm-moves", "centre_reach")]


@pytest.mark.parametrize("phase", [0.0, 0.8, 1.6, 2.4])
def test_an_edge_that_swings(phase: float) -> None:
    """15 mm up and down every 2 s goes nowhere in the end, yet is no rest."""
    course = Course("centre", FAR, lambda t: HEIGHT + 0.015 * math.sin(math.pi * t + phase))
    assert ("arm-moves", "centre_height") in refusal(moving(course))


def test_it_stopped_a_little_more_than_a_second_ago() -> None:
    """Good sensors see it at once; noisy and slow ones ask for longer, for they cannot tell rest from a creep."""
    rng = np.random.default_rng(11)
    assert rested(creeping(0.01, 50.0, 0.0, rng, rest_s=1.1))
    assert not rested(creeping(0.1, 10.0, 0.0, rng, rest_s=1.1))
    assert rested(creeping(0.1, 10.0, 0.0, rng, rest_s=3.6))


def test_it_moves_again() -> None:
    course = Course("centre", FAR, lambda t: HEIGHT + 0.2 * max(t - 3.8, 0.0))
    assert ("arm-moves", "centre_height") in refusal(moving(course))


# Noise


def test_noise_is_no_motion() -> None:
    """0.1 deg at 10 Hz, 8 m ahead: one reading is 10 mm off. Of 1200 touches one may be refused, of fewer none."""
    rng, tried = np.random.default_rng(21), several(1200)
    assert sum(not rested(creeping(0.1, 10.0, 0.0, rng)) for _ in range(tried)) <= tried // 1200


@pytest.mark.parametrize(
    ("noise_deg", "hz"), [(0.05, 5.0), (0.2, 5.0), (0.2, 60.0), (0.05, 60.0), (0.1, 60.0)]
)
def test_ordinary_noise_is_no_motion(noise_deg: float, hz: float) -> None:
    rng = np.random.default_rng([22, int(100 * noise_deg), int(hz)])
    tried = several(100)
    assert sum(not rested(creeping(noise_deg, hz, 0.0, rng)) for _ in range(tried)) <= tried // 100


def test_a_creep_shows_through_noise() -> None:
    """15 mm/s under the same noise: 99 in 100, and the edge watched for as long as that takes."""
    rng = np.random.default_rng(23)
    assert sum(not rested(creeping(0.1, 10.0, CREEP_M_S, rng)) for _ in range(400)) >= 396


@pytest.mark.parametrize(("noise_deg", "hz"), [(0.05, 10.0), (0.05, 50.0), (0.1, 60.0)])
def test_a_creep_shows_at_other_rates(noise_deg: float, hz: float) -> None:
    rng = np.random.default_rng([24, int(100 * noise_deg), int(hz)])
    tried = several(100)
    assert sum(not rested(creeping(noise_deg, hz, -CREEP_M_S, rng)) for _ in range(tried)) >= 0.99 * tried


def test_noise_that_hides_all_is_no_rest() -> None:
    track = creeping(1.0, 10.0, 0.0, np.random.default_rng(25))
    assert refusal(track) == [("too-noisy", "centre")]


def test_what_scatters_more_than_its_profile_allows_is_no_noise() -> None:
    """Three times as much, from every sensor: each is named. As much as that and half of it pass."""
    rng = np.random.default_rng(29)
    named = refusal(creeping(0.15, 20.0, 0.0, rng, told_deg=0.05))
    assert {code for code, _ in named} <= {"too-noisy", "arm-moves"}
    for part in (0.5, 1.0, 1.3):
        assert rested(creeping(0.05 * part, 20.0, 0.0, rng, told_deg=0.05))


def test_a_short_stream_of_noise_is_no_rest() -> None:
    track = Track(crawler())
    feed(track, lambda _: FAR, (2.9, NOW), 10.0, noise_rad=math.radians(0.1), rng=np.random.default_rng(26))
    assert refusal(track) == [("too-noisy", "centre")]


def test_what_it_could_not_have_seen_is_told() -> None:
    quiet = still(creeping(0.01, 50.0, 0.0, np.random.default_rng(27)), NOW, "centre")
    loud = still(creeping(0.2, 10.0, 0.0, np.random.default_rng(28)), NOW, "centre")
    assert quiet.unseen_m_s < CREEP_M_S < loud.unseen_m_s < 0.045
    assert quiet.begun_s == pytest.approx(3.0, abs=1e-9)
    assert loud.begun_s < 0.3, "all that is kept"
