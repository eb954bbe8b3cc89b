"""Fused angles against MuJoCo (package `mujoco`): a machine that digs for a minute without a rest, in all four joints.

The limits: while it digs a gyro's scale, 0.5 % of what a link turns (a bucket: 200 deg), and a tenth of what the speeds
between two means would make; at rest the shaking of an engine in a mean of a second. Accelerometers alone are off by
many times that in the same motion.
"""

import math
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.errors import Fault
from kinematics.machine import Range
from kinematics.sensor import Measure, Mounting, Sensor
from service.live.channel import Channel
from service.live.stillness import between
from tests.need import need

from .digging import END_S, LINKS, Dig, Felt, dig
from .shaken import Floats, frame, shaken

# (rms, largest) in deg while it digs, largest at rest after the first two seconds of it.
MOST = {
    "body": (0.1, 0.3, 0.1),
    "boom": (0.2, 0.5, 0.1),
    "stick": (0.3, 1.0, 0.1),
    "bucket": (0.8, 1.6, 0.15),
}


@pytest.fixture(scope="module")
def mujoco() -> ModuleType:
    return need("mujoco")


@pytest.fixture(scope="module")
def dug(mujoco: ModuleType) -> Dig:
    return dig(mujoco, 100.0)


def sensor(measures: Measure = Measure.GRAVITY_ANGLE) -> Sensor:
    """A case square on a link; its reading falls as the link is raised."""
    half = measures == Measure.PITCH_ROLL
    return Sensor(
        place="body" if half else "boom", measures=measures, sign=-1, mounting=Mounting(nose_up=0.0),
        range=Range(-0.5 * math.pi, 0.5 * math.pi) if half else Range(-math.pi, math.pi), noise=1e-3, latency_s=0.02,
        age_limit_s=0.5, side_sign=1 if half else None,
    )  # fmt: skip


def said(channel: Channel, at_s: Floats, force: Floats, rates: Floats) -> Floats:
    """What a channel makes of raw frames (n, 1 or 2), NaN while it settles and while the gyro is not proved yet."""
    told = np.full((len(at_s), 2 if channel.pair else 1), math.nan)
    for i, t in enumerate(at_s.tolist()):
        value = channel.fuse({"at_s": t, **frame(channel.name, force[i], rates[i])}, t, t, -math.inf)
        if isinstance(value, Fault):
            assert value.code in ("settling", "gyro-unproved"), (t, value)
        else:
            assert channel.take(value, t, t, t) is None
            told[i] = value
    return told


def off(a: Floats, b: Floats) -> Floats:
    """Differences of angles, deg."""
    return np.asarray(np.degrees(np.angle(np.exp(1j * (a - b)))))


def held(
    errors: Floats, moving: NDArray[np.bool_], at_s: Floats, link: str, times: float = 1.0
) -> tuple[float, float, float]:  # fmt: skip
    """(rms, largest, largest at rest) in deg, held against so many times the limits."""
    assert np.all(np.isfinite(errors[moving])), "settled before the work begins"
    late = at_s > at_s[-1] - END_S + 2.0
    found = (
        float(np.sqrt(np.mean(errors[moving] ** 2))), float(np.max(np.abs(errors[moving]))),
        float(np.max(np.abs(errors[late]))),
    )  # fmt: skip
    assert all(each <= times * most for each, most in zip(found, MOST[link], strict=True)), (link, found)
    return found


def sent(felt: Felt, at_s: Floats, seed: int, scale: float = 1.005) -> tuple[Floats, Floats]:
    return shaken(np.random.default_rng([seed, 11]), at_s, felt.force, felt.rates, scale=scale)


def test_the_work_is_what_it_should_be(dug: Dig) -> None:
    assert 0.45 < dug.peaks["swing"] < 0.55
    assert np.degrees(dug.peaks["bucket"]) > 100.0
    swings = np.max(np.linalg.norm(dug.felt["bucket"].force, axis=1))
    assert swings > 12.0, "at an even speed alone it would be 9.9"
    rest = dug.at_s < 3.9
    for each in dug.felt.values():
        assert np.max(np.abs(each.force[rest] - 9.81 * each.plumb[rest])) < 1e-9


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("link", LINKS[1:])
def test_while_it_digs(dug: Dig, link: str, seed: int) -> None:
    felt = dug.felt[link]
    force, rates = sent(felt, dug.at_s, seed)
    told = said(Channel(link, sensor(), 0), dug.at_s, force, rates)[:, 0]
    true = -np.arctan2(felt.plumb[:, 0], felt.plumb[:, 2])
    rms, most, _ = held(off(told, true), dug.moving, dug.at_s, link)
    alone = off(-np.arctan2(felt.force[:, 0], felt.force[:, 2]), true)[dug.moving]  # without noise or shaking
    assert np.max(np.abs(alone)) > max(5.0, 4.0 * most)
    assert np.sqrt(np.mean(alone**2)) > max(1.5, 4.0 * rms)


@pytest.mark.parametrize("seed", range(3))
def test_the_body(dug: Dig, seed: int) -> None:
    felt = dug.felt["body"]
    told = said(Channel("body", sensor(Measure.PITCH_ROLL), 0), dug.at_s, *sent(felt, dug.at_s, seed))
    for part in (0, 1):
        held(off(told[:, part], np.zeros(len(told))), dug.moving, dug.at_s, "body")


@pytest.mark.parametrize("hz", [50.0, 200.0])
def test_other_rates(mujoco: ModuleType, hz: float) -> None:
    dug = dig(mujoco, hz)
    for link in ("boom", "stick"):
        felt = dug.felt[link]
        told = said(Channel(link, sensor(), 0), dug.at_s, *sent(felt, dug.at_s, 1))[:, 0]
        held(off(told, -np.arctan2(felt.plumb[:, 0], felt.plumb[:, 2])), dug.moving, dug.at_s, link)


# Upside down; on its side and canted; turned about every axis.
TURNED = {"boom": "0 1 0 0", "stick": "0.7 0.7 0.1 0.1", "bucket": "0.6 -0.3 0.5 0.55"}


def test_cases_mounted_turned(mujoco: ModuleType) -> None:
    """Plumb in the case is right however it is mounted; the angle between it and the true one is held."""
    dug = dig(mujoco, 100.0, mounted=TURNED)
    for link in TURNED:
        felt = dug.felt[link]
        channel = Channel(link, sensor(), 0)
        force, rates = sent(felt, dug.at_s, 2)
        errors = np.full(len(dug.at_s), math.nan)
        said(channel, dug.at_s[:1], force[:1], rates[:1])
        assert channel.fused is not None
        for i in range(1, len(dug.at_s)):
            plumb = channel.fused.add(float(dug.at_s[i]), tuple(force[i].tolist()), tuple(rates[i].tolist()))
            if isinstance(plumb, tuple):
                errors[i] = math.degrees(between(plumb, tuple(felt.plumb[i].tolist())))
        held(errors, dug.moving, dug.at_s, link, 1.6)  # of two angles, not of one


def test_a_case_upside_down_reads_its_own_angle(mujoco: ModuleType) -> None:
    dug = dig(mujoco, 100.0, cycles=1, mounted=TURNED)
    felt = dug.felt["boom"]
    told = said(Channel("boom", sensor(), 0), dug.at_s, *sent(felt, dug.at_s, 3))[:, 0]
    # Turned about its x by half a turn: z points down, so the angle runs backwards from 180 deg.
    held(off(told, -(math.pi - felt.turn)), dug.moving, dug.at_s, "boom")


@pytest.mark.parametrize("seed", range(2))
def test_stamps_that_jitter_and_lost_frames(dug: Dig, seed: int) -> None:
    """Every frame dated up to 2 ms early or late, 2 % of them lost, now and then several in a row."""
    rng = np.random.default_rng([seed, 12])
    for link in ("boom", "stick"):
        felt = dug.felt[link]
        force, rates = sent(felt, dug.at_s, seed)
        kept = (rng.random(len(dug.at_s)) > 0.015) & ~np.isin(np.arange(len(dug.at_s)) % 1000, range(5))
        stamps = dug.at_s + rng.uniform(-0.002, 0.002, len(dug.at_s))
        told = said(Channel(link, sensor(), 0), stamps[kept], force[kept], rates[kept])[:, 0]
        true = -np.arctan2(felt.plumb[kept, 0], felt.plumb[kept, 2])
        # 2 ms at 30 deg/s are 0.06 deg; a block of shaking that lacks five frames of 25 has another mean.
        held(off(told, true), dug.moving[kept], dug.at_s[kept], link, 2.0)
