"""The move-one-joint test of sound sensors, what it asks for, and what it refuses."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.errors import Refused
from kinematics.fitting import Moved, judge, moves_for
from tests.amounts import several

from . import fitting_rig as rigs


@pytest.mark.parametrize("name", rigs.RIGS)
def test_sound_sensors_are_not_blamed(name: str) -> None:
    """Each move there and back, on any lean from none to 8 deg, noise as in the profile; zeroed and leaning, all show."""
    sensors = rigs.rig(name)
    for seed in range(8):
        rng = np.random.default_rng([41, seed])
        lean, zeroed = [(0.0, 0.3), (0.5, 1.5), (1.5, 4.0), (4.0, 8.0)][seed % 4], seed < 4
        verdict = judge(sensors, rigs.tried(sensors, rng, lean_deg=lean), body_zeroed=zeroed)
        assert verdict.findings == (), (seed, [str(f) for f in verdict.findings])
        assert verdict.good == all(not doubt.essential for doubt in verdict.untested)
        assert verdict.good == (set(verdict.status.values()) == {"good"})
        assert verdict.good or not zeroed or lean[0] < 1.5


@settings(max_examples=several(40), deadline=None)
@given(name=st.sampled_from(rigs.RIGS), seed=st.integers(0, 2**31), quiet=st.booleans())
def test_any_sound_moves(name: str, seed: int, quiet: bool) -> None:
    """Any moves, any number of them, no blame; the turn found is the one made."""
    sensors = rigs.rig(name)
    rng = np.random.default_rng([42, seed])
    every = rigs.there_and_back(sensors)
    some = [every[i] for i in rng.permutation(len(every))[: rng.integers(1, len(every) + 1)].tolist()]
    try:
        made = rigs.course(sensors, rng, some)
        moves = rigs.moved(sensors, rng, made, noise=0.0 if quiet else 1.0)
    except Refused:  # an edge that stands plumb
        return
    verdict = judge(sensors, moves)
    assert verdict.findings == ()
    for (what, _, before, after), turned in zip(made, verdict.turned, strict=True):
        if what in sensors.assembly.ranges and turned is not None:
            assert turned * (after[what] - before[what]) > 0.0


def test_turns_by_sensors_of_gravity() -> None:
    """What all sensors of gravity on boom and beyond agree on is the turn, within their noise."""
    sensors = rigs.rig("gravity")
    rng = np.random.default_rng(43)
    made = rigs.course(sensors, rng, [("boom", True), ("stick", False)])
    verdict = judge(sensors, rigs.moved(sensors, rng, made))
    for (what, _, before, after), turned in zip(made, verdict.turned, strict=True):
        assert turned is not None
        # 0.05 deg of each reading, a mean of three sensors or two.
        assert abs(turned - (after[what] - before[what])) <= math.radians(0.2)


def test_nothing_moved_is_nothing_tested() -> None:
    sensors = rigs.rig("gravity")
    verdict = judge(sensors, [])
    assert not verdict.good
    assert verdict.findings == ()
    assert set(verdict.status.values()) == {"untested"}
    assert verdict.next_move in {move.what for move in moves_for(sensors)}


def test_the_moves_of_a_machine() -> None:
    moves = {move.what: move for move in moves_for(rigs.rig("tilting"))}
    assert list(moves) == ["boom", "stick", "bucket", "tilt", "quarter"]
    # The stick sensor's sign is -1; boom and idler grow as their link is raised.
    assert moves["boom"].changes == {"boom": (1,), "stick": (-1,), "idler": (1,)} | {
        k: v for k, v in moves["boom"].changes.items() if k == "tilt"
    }
    assert set(moves["stick"].changes) - {"tilt"} == {"stick", "idler"}
    assert moves["stick"].changes["stick"] == (-1,)
    assert moves["bucket"].changes["idler"] == (1,)
    assert moves["tilt"].changes == {"tilt": (1,)}
    assert "body" in moves["quarter"].changes
    assert moves["boom"].up == "raise the boom"
    assert moves["stick"].down == "crowd the stick in"
    assert moves["bucket"].down == "curl the bucket in"
    assert abs(moves["boom"].least - math.radians(10.0)) <= 1e-12


def test_the_moves_of_a_machine_with_draw_wires() -> None:
    """The body has no witness on the arm: the nose is raised too. An encoder with sign -1 falls as the joint grows."""
    moves = {move.what: move for move in moves_for(rigs.rig("wires"))}
    assert list(moves) == ["swing_boom", "boom", "stick", "bucket", "quarter", "nose"]
    assert moves["swing_boom"].changes == {"swing-boom": (-1,)}
    assert set(moves["boom"].changes) == {"boom-wire"}
    assert moves["nose"].changes["body"][0] == 1


def sound(what: str = "boom") -> Moved:
    sensors = rigs.rig("gravity")
    rng = np.random.default_rng(44)
    return rigs.moved(sensors, rng, rigs.course(sensors, rng, [(what, True)]))[0]


@pytest.mark.parametrize(
    ("changes", "code", "where"),
    [
        ({"what": "bom"}, "no-such-move", "moves.0.what"),
        ({"what": "tilt"}, "no-such-move", "moves.0.what"),
        ({"grows": 1}, "not-a-choice", "moves.0.grows"),
        ({"before": {"stick": math.nan}}, "not-finite", "moves.0.before.stick"),
        ({"after": {"stick": math.inf}}, "not-finite", "moves.0.after.stick"),
        ({"after": {"stick": "0.3"}}, "not-a-number", "moves.0.after.stick"),
        ({"after": {"stick": (0.1, 0.2)}}, "not-a-number", "moves.0.after.stick"),
        ({"after": {"body": 0.1}}, "not-a-number", "moves.0.after.body"),
        ({"after": {"stick": None}}, "missing-reading", "moves.0.after.stick"),
        ({"after": {"mast": 0.1}}, "no-such-sensor", "moves.0.after.mast"),
        ({"after": "before"}, "not-moved", "moves.0"),
    ],
)
def test_refused(changes: dict[str, Any], code: str, where: str) -> None:
    move = sound()
    parts: dict[str, Any] = move._asdict()
    for key, value in changes.items():
        if value == "before":
            parts[key] = dict(move.before)
        elif isinstance(value, dict):
            parts[key] = {n: v for n, v in {**parts[key], **value}.items() if v is not None}
        else:
            parts[key] = value
    with pytest.raises(Refused) as caught:
        judge(rigs.rig("gravity"), [Moved(**parts)])
    assert [(fault.code, fault.where) for fault in caught.value.faults] == [(code, where)]


def test_all_faults_at_once() -> None:
    move = sound()
    with pytest.raises(Refused) as caught:
        judge(
            rigs.rig("gravity"),
            [
                move._replace(what="bom", after={**move.after, "stick": math.nan}),
                move._replace(before={**move.before, "mast": 0.0}),
            ],
        )
    assert {(fault.code, fault.where) for fault in caught.value.faults} == {
        ("no-such-move", "moves.0.what"),
        ("not-finite", "moves.0.after.stick"),
        ("no-such-sensor", "moves.1.before.mast"),
    }
