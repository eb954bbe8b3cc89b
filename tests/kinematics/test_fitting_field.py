"""What sound machines do in the field, and what one wrong default in a map does: neither is blamed on single sensors."""

import math

import numpy as np
import pytest

from kinematics.fitting import Verdict, judge
from kinematics.sensor import Mounting

from . import fitting_rig as rigs

DEGREES = math.degrees(1.0)


def choices(verdict: Verdict) -> set[str]:
    assert [finding.code for finding in verdict.findings] == ["cannot-tell"]
    return {choice.code for choice in verdict.findings[0].choices}


def negative(said: rigs.Numbers) -> rigs.Numbers:
    return tuple(-value for value in said)


@pytest.mark.parametrize("name", rigs.RIGS)
def test_a_body_whose_zero_is_not_set_is_not_blamed(name: str) -> None:
    """A mounting error stays with the body while plumb turns: sqrt(2) of 2 deg shows in a quarter turn."""
    sensors = rigs.rig(name)
    for seed in range(8):
        rng = np.random.default_rng([71, seed])
        true = rigs.with_body_off(sensors, rng, 2.0)
        verdict = judge(sensors, rigs.tried(true, rng, lean_deg=(0.4, 8.0)))
        assert verdict.findings == (), (seed, [str(f) for f in verdict.findings])


def test_a_small_lean_before_the_zero_is_set_shows_nothing_of_the_body() -> None:
    """1 deg of lean: twice that, what a wrong sign shows, is less than a mounting may make."""
    sensors = rigs.rig("gravity")
    for sign in (dict, lambda told: told | {"body": (told["body"][0], -told["body"][1])}):
        rng = np.random.default_rng(75)
        moves = rigs.tried(sensors, rng, sign, lean_deg=(1.0, 1.1))
        verdict = judge(sensors, moves)
        assert not verdict.good
        assert verdict.findings == ()
        assert verdict.status["body"] == "untested"
        assert any(
            doubt.essential and "half a turn first" in doubt.finding.advice for doubt in verdict.untested
        )
        zeroed = judge(sensors, moves, body_zeroed=True)
        assert zeroed.good == (sign is dict)
        assert [f.detail for f in zeroed.findings] == ([] if sign is dict else ["sign-roll"])


@pytest.mark.parametrize("name", rigs.RIGS)
def test_a_body_at_fault_is_never_good(name: str) -> None:
    """Its zero not set, and the boom sinks besides."""
    sensors = rigs.rig(name)
    for body in (one for one, sensor in sensors.all.items() if sensor.place == "body"):
        for seed, ((code, _), (true, arrives)) in enumerate(rigs.faults_of(sensors, body).items()):
            rng = np.random.default_rng([76, seed])
            off = rigs.with_body_off(true, rng, 2.0)
            verdict = judge(sensors, rigs.sinking(off, rng, "boom", 1.0, arrives))
            assert not verdict.good, code


@pytest.mark.parametrize("deg", [1.0, 2.0])
@pytest.mark.parametrize("name", rigs.RIGS)
def test_a_joint_that_sinks_in_every_move(name: str, deg: float) -> None:
    sensors = rigs.rig(name)
    for seed, joint in enumerate(sensors.assembly.ranges):
        for zeroed in (False, True)[: int(deg)]:
            rng = np.random.default_rng([72, seed, zeroed])
            verdict = judge(sensors, rigs.sinking(sensors, rng, joint, deg), body_zeroed=zeroed)
            assert verdict.findings == (), (joint, zeroed, [str(f) for f in verdict.findings])


def test_a_joint_that_sinks_far_is_named() -> None:
    sensors = rigs.rig("encoders")
    rng = np.random.default_rng(77)
    moves = rigs.tried(sensors, rng)
    before = moves[0].before["stick"]
    assert moves[0].what == "boom"
    assert isinstance(before, float)
    moves[0] = moves[0]._replace(after={**moves[0].after, "stick": before + math.radians(3.0)})
    verdict = judge(sensors, moves)
    assert [(f.code, f.sensors, f.moves) for f in verdict.findings] == [("moved-too", ("stick",), (0,))]


@pytest.mark.parametrize("name", ["gravity", "tilting", "inclinations"])
@pytest.mark.parametrize("body", [False, True])
def test_all_signs_of_gravity_turned(name: str, *, body: bool) -> None:
    """One wrong default: not an operator who erred in every move."""
    sensors = rigs.rig(name)
    every = [n for n, one in sensors.all.items() if one.by_gravity and (body or one.place != "body")]
    verdict = judge(
        sensors, rigs.tried(sensors, np.random.default_rng([78, body]), rigs.all_of(every, negative))
    )
    assert [(f.code, f.sensors) for f in verdict.findings] == [("wrong-sign", tuple(every))]
    assert "one wrong default" in verdict.findings[0].advice
    assert {n for n, status in verdict.status.items() if status == "faulty"} == set(every)


@pytest.mark.parametrize("name", rigs.RIGS)
@pytest.mark.parametrize(
    ("unit", "factor"), [("rad", DEGREES), ("rad", 1.0 / DEGREES), ("m", 1000.0), ("m", 0.001)]
)
def test_all_in_the_other_unit(name: str, unit: str, factor: float) -> None:
    sensors = rigs.rig(name)
    every = [n for n, one in sensors.all.items() if one.unit == unit]
    if not every:
        return

    def scaled(said: rigs.Numbers) -> rigs.Numbers:
        return tuple(value * factor for value in said)

    verdict = judge(sensors, rigs.tried(sensors, np.random.default_rng(79), rigs.all_of(every, scaled)))
    want = "unit-large" if factor > 1.0 else "unit-small"
    assert [(f.code, f.detail, f.sensors) for f in verdict.findings] == [("wrong-unit", want, tuple(every))]


@pytest.mark.parametrize("course", [[("boom", True)], [("boom", True), ("stick", False)]])
def test_one_or_two_moves_do_not_tell_operator_from_map(course: list[tuple[str, bool]]) -> None:
    for name, unit in (("gravity", "rad"), ("wires", "m"), ("encoders", "rad")):
        sensors = rigs.rig(name)
        every = [n for n, one in sensors.all.items() if one.unit == unit]
        rng = np.random.default_rng(80)
        turned = rigs.moved(sensors, rng, rigs.course(sensors, rng, course), rigs.all_of(every, negative))
        assert choices(judge(sensors, turned)) == {"wrong-sign", "other-way"}


def test_three_signs_are_three_signs() -> None:
    """Not two and an operator who erred both there and back."""
    sensors = rigs.rig("wires")
    some = ["swing-boom", "boom-wire", "stick-wire"]
    for seed in range(2):
        rng = np.random.default_rng([81, seed])
        verdict = judge(sensors, rigs.tried(sensors, rng, rigs.all_of(some, negative)))
        assert [(f.code, f.sensors) for f in verdict.findings] == [("wrong-sign", (one,)) for one in some]


def test_no_turn_is_told_that_cannot_be_read() -> None:
    """A stuck stick sensor leaves stick and bucket open; the boom's sensor sees just the boom."""
    sensors = rigs.rig("gravity")
    rng = np.random.default_rng(82)
    made = rigs.course(
        sensors, rng, [(joint, up) for joint in sensors.assembly.ranges for up in (True, False)]
    )
    verdict = judge(sensors, rigs.moved(sensors, rng, made, rigs.stuck("stick")))
    assert [f.code for f in verdict.findings] == ["stuck"]
    for (what, _, before, after), turned in zip(made, verdict.turned, strict=True):
        if what == "boom":
            assert turned is not None
            assert abs(turned - (after[what] - before[what])) <= math.radians(
                0.3
            )  # noise 0.05 deg, twice; lean
        else:
            assert turned is None


def test_a_turn_through_a_linkage_with_a_wrong_zero_is_not_told() -> None:
    """The idler's sensor 60 deg off: its angles are no bucket's."""
    sensors = rigs.rig("gravity")
    mounting = sensors.all["idler"].mounting
    assert isinstance(mounting, Mounting)
    believed = rigs.replaced(sensors, "idler", mounting=Mounting(mounting.nose_up + math.radians(60.0)))
    rng = np.random.default_rng(83)
    made = rigs.course(sensors, rng, [("bucket", True), ("bucket", False)])
    for (_, _, before, after), turned in zip(
        made, judge(believed, rigs.moved(sensors, rng, made)).turned, strict=True
    ):
        assert turned is None or abs(turned - (after["bucket"] - before["bucket"])) <= math.radians(1.0)
