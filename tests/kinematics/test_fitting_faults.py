"""Every fault on every sensor it can befall, named as it is, or told as what cannot be told, with the reason."""

import itertools
import math

import numpy as np
import pytest

from kinematics.fitting import Verdict, judge
from kinematics.sensor import Measure, Sensor
from kinematics.sensor_set import SensorSet

from . import fitting_rig as rigs

Named = tuple[str, str, tuple[str, ...]]
SEEDS = 1


def named(verdict: Verdict) -> list[Named]:
    return [(f.code, f.detail, f.sensors) for f in verdict.findings]


def choices(verdict: Verdict) -> set[Named]:
    assert len(verdict.findings) == 1
    (finding,) = verdict.findings
    assert finding.code == "cannot-tell"
    assert finding.advice
    return {(f.code, f.detail, f.sensors) for f in finding.choices}


def unseen(verdict: Verdict) -> set[Named]:
    return {(d.finding.code, d.finding.detail, d.finding.sensors) for d in verdict.untested}


def passes_for(sensor: Sensor, detail: str) -> set[str]:
    """What else a fault may look like, with the reason."""
    if detail == "unit-small":
        return {"stuck"}  # 12 deg come as 0.2, a lean or a length as less than the noise
    if (
        sensor.measures == Measure.PITCH_ROLL
        and sensor.place != "body"
        and detail in ("sign-pitch", "sign-both")
    ):
        return {"sign-pitch", "sign-both"}  # the roll of an arm's pair says nothing of its link's angle
    if detail in ("inclination", "gravity-angle", "sign"):
        return {"sign", "inclination", "gravity-angle"}  # past the vertical one falls as the other grows
    return set()


def looks_sound(sensor: Sensor, detail: str) -> bool:
    """Whether moves alone may not show it."""
    if detail in ("inclination", "gravity-angle"):
        return True  # the same but past the vertical: 1 - cos of the lean apart, 0.1 % at 3 deg
    if detail in ("joint-angle", "link-angle"):
        return sensor.place == "boom"  # apart by the pitch only, which this quarter turn may not have changed
    if detail == "half-turn":
        return sensor.place == "rotate"  # a full turn is its range
    if detail == "sign-roll":
        return sensor.place != "body"
    return (
        detail in ("stuck", "unit-small") and sensor.place == "body"
    )  # a part of the lean that hardly changes in a quarter turn


@pytest.mark.parametrize("name", rigs.RIGS)
def test_one_fault(name: str) -> None:
    sensors = rigs.rig(name)
    plainly = total = 0
    for one, sensor in sensors.all.items():
        faults = rigs.faults_of(sensors, one) | {("stuck", "stuck"): (sensors, rigs.stuck(one))}
        for (code, detail), (true, arrives) in faults.items():
            for seed in range(SEEDS):
                rng = np.random.default_rng([51, seed])
                change = rigs.stuck(one) if detail == "stuck" else arrives
                verdict = judge(sensors, rigs.tried(true, rng, change), body_zeroed=True)
                want = (code, detail, (one,))
                total += 1
                if named(verdict) == [want]:
                    plainly += 1
                    assert not verdict.good
                    assert verdict.status[one] == "faulty"
                elif verdict.findings:
                    told = choices(verdict)
                    assert want in told, (one, detail, told)
                    assert {n for _, n, _ in told} - {detail} <= passes_for(sensor, detail), (
                        one,
                        detail,
                        told,
                    )
                    assert {s for _, _, s in told} == {(one,)}
                    assert verdict.status[one] == "cannot-tell"
                else:
                    assert looks_sound(sensor, detail), (one, detail)
                    assert want in unseen(verdict), (one, detail)
    assert plainly >= 0.6 * total, (plainly, total)


@pytest.mark.parametrize("name", rigs.RIGS)
def test_two_exchanged(name: str) -> None:
    sensors = rigs.rig(name)
    for names in rigs.alike(sensors):
        for a, b in itertools.combinations(names, 2):
            rng = np.random.default_rng([52, len(a), len(b)])
            verdict = judge(sensors, rigs.tried(sensors, rng, rigs.renamed({a: b, b: a})))
            assert named(verdict) == [("swapped", "", (a, b, b, a))]
            assert verdict.status[a] == verdict.status[b] == "faulty"


@pytest.mark.parametrize("name", ["gravity", "tilting", "wires", "encoders"])
def test_three_in_a_ring(name: str) -> None:
    sensors = rigs.rig(name)
    for names in rigs.alike(sensors):
        for a, b, c in itertools.combinations(names, 3):
            for ring in ({a: b, b: c, c: a}, {a: c, b: a, c: b}):
                rng = np.random.default_rng([53, len(a), len(c)])
                verdict = judge(sensors, rigs.tried(sensors, rng, rigs.renamed(ring)))
                want = tuple(part for pair in ring.items() for part in pair)
                assert named(verdict) == [("swapped", "", want)]


def doubled(sensors: SensorSet, seed: int) -> tuple[rigs.Arrives, str]:
    """An exchange and a sign, or two signs, as luck has it."""
    rng = np.random.default_rng([54, seed])
    groups = [names for names in rigs.alike(sensors) if len(names) > 1]
    names = groups[int(rng.integers(len(groups)))]
    a, b = rng.choice(names, size=2, replace=False).tolist()

    def exchanged(told: dict[str, rigs.Numbers]) -> dict[str, rigs.Numbers]:
        return told | {a: tuple(-v for v in told[b]), b: told[a]}

    def signs(told: dict[str, rigs.Numbers]) -> dict[str, rigs.Numbers]:
        return told | {a: tuple(-v for v in told[a]), b: tuple(-v for v in told[b])}

    return (exchanged, "exchanged") if seed % 2 else (signs, "signs")


@pytest.mark.parametrize("name", ["gravity", "tilting", "wires", "encoders"])
def test_two_faults_are_never_good(name: str) -> None:
    sensors = rigs.rig(name)
    both = 0
    for seed in range(8):
        arrives, kind = doubled(sensors, seed)
        rng = np.random.default_rng([55, seed])
        verdict = judge(sensors, rigs.tried(sensors, rng, arrives))
        assert not verdict.good
        assert verdict.findings
        codes = sorted(f.code for f in verdict.findings)
        both += codes == (["swapped", "wrong-sign"] if kind == "exchanged" else ["wrong-sign", "wrong-sign"])
    assert both >= 5


def test_words_name_what_was_found() -> None:
    sensors = rigs.rig("gravity")
    rng = np.random.default_rng(56)
    verdict = judge(sensors, rigs.tried(sensors, rng, lambda told: told | {"stick": (-told["stick"][0],)}))
    (finding,) = verdict.findings
    assert str(finding).startswith(
        "stick: expected the sign of the profile, found a change the other way; turn its sign"
    )
    assert math.isfinite(sum(turn for turn in verdict.turned if turn is not None))
