"""Where moves do not tell: what is said instead of blame, and the move that would tell."""

import math

import numpy as np

from kinematics.fitting import Moved, Verdict, judge
from kinematics.sensor import Mounting

from . import fitting_rig as rigs


def codes(verdict: Verdict) -> list[str]:
    return [finding.code for finding in verdict.findings]


def boom_up(name: str, seed: int, arrives: rigs.Arrives = dict) -> Verdict:
    sensors = rigs.rig(name)
    rng = np.random.default_rng([61, seed])
    made = rigs.course(sensors, rng, [("boom", True)], size_deg=(20.0, 30.0))
    return judge(sensors, rigs.moved(sensors, rng, made, arrives))


def test_a_boom_move_does_not_tell_stick_from_idler() -> None:
    """Both turn alike with the boom; the angles may tell, the stick's move does."""
    for seed in range(6):
        verdict = boom_up("gravity", seed)
        assert not verdict.good
        assert verdict.findings == ()
        assert verdict.status["body"] == verdict.status["idler"] == "untested"
        assert verdict.next_move is not None
    exchanged = boom_up("gravity", 1, rigs.renamed({"boom": "idler", "idler": "boom"}))
    assert "wrong-sign" not in codes(exchanged)
    assert not exchanged.good


def test_exchanged_and_only_one_move_is_not_blamed_outright() -> None:
    """The angles lie beyond their joints; an exchange would put them right, so would other mountings."""
    told = [boom_up("gravity", seed, rigs.renamed({"boom": "idler", "idler": "boom"})) for seed in range(8)]
    assert all(not verdict.good for verdict in told)
    open_ones = [verdict for verdict in told if codes(verdict) == ["cannot-tell"]]
    assert open_ones
    for verdict in open_ones:
        (finding,) = verdict.findings
        assert any(c.code == "swapped" for c in finding.choices)
        assert len(finding.choices) > 1


def test_all_the_other_way_is_the_operator() -> None:
    sensors = rigs.rig("gravity")
    for seed in range(6):
        rng = np.random.default_rng([62, seed])
        moves = rigs.tried(sensors, rng)
        i = next(i for i, move in enumerate(moves) if move.what == "boom")
        moves[i] = moves[i]._replace(grows=not moves[i].grows)
        verdict = judge(sensors, moves)
        assert codes(verdict) == ["other-way"]
        assert verdict.findings[0].moves == (i,)
        assert verdict.next_move == "boom"
        assert verdict.status["boom"] == "good"


def test_a_lone_encoder_the_other_way() -> None:
    """Sign or operator: one move cannot tell, there and back does."""
    sensors = rigs.rig("wires")

    def turned(told: dict[str, rigs.Numbers]) -> dict[str, rigs.Numbers]:
        return told | {"swing-boom": (-told["swing-boom"][0],)}

    rng = np.random.default_rng(63)
    once = judge(sensors, rigs.moved(sensors, rng, rigs.course(sensors, rng, [("swing_boom", True)]), turned))
    assert codes(once) == ["cannot-tell"]
    assert {c.code for c in once.findings[0].choices} == {"wrong-sign", "other-way"}
    assert once.next_move == "swing_boom"
    both = [("swing_boom", True), ("swing_boom", False)]
    twice = judge(sensors, rigs.moved(sensors, rng, rigs.course(sensors, rng, both), turned))
    assert codes(twice) == ["wrong-sign"]
    assert twice.findings[0].sensors == ("swing-boom",)


def test_a_move_too_small() -> None:
    sensors = rigs.rig("gravity")
    for seed in range(4):
        rng = np.random.default_rng([64, seed])
        made = rigs.course(sensors, rng, [("boom", True)], size_deg=(2.0, 4.0))
        verdict = judge(sensors, rigs.moved(sensors, rng, made))
        assert codes(verdict) == ["too-small"]
        assert verdict.next_move == "boom"
        assert not verdict.good


def test_a_loose_sensor_or_a_joint_that_crept() -> None:
    """The stick's encoder goes 5 deg while only the boom is raised."""
    sensors = rigs.rig("encoders")
    for seed in range(4):
        rng = np.random.default_rng([65, seed])
        moves = rigs.tried(sensors, rng)
        i = next(i for i, move in enumerate(moves) if move.what == "boom")
        after = dict(moves[i].after)
        said = after["stick"]
        assert isinstance(said, float)
        after["stick"] = said + math.radians(5.0)
        moves[i] = Moved(moves[i].what, moves[i].grows, moves[i].before, after)
        verdict = judge(sensors, moves)
        assert [(f.code, f.sensors, f.moves) for f in verdict.findings] == [("moved-too", ("stick",), (i,))]
        assert not verdict.good


def test_a_creeping_joint_shows_in_all_beyond_it() -> None:
    sensors = rigs.rig("gravity")
    for seed in range(4):
        rng = np.random.default_rng([66, seed])
        made = rigs.course(sensors, rng, [("boom", True), ("boom", False), ("stick", True), ("stick", False)])
        what, grows, before, after = made[0]
        span = sensors.assembly.ranges["stick"]
        after = after | {"stick": min(max(after["stick"] + 0.08, span.low), span.high - 0.01)}
        made[0] = what, grows, before, after
        verdict = judge(sensors, rigs.moved(sensors, rng, made))
        assert not verdict.good
        assert verdict.findings
        assert codes(verdict)[0] in ("moved-too", "cannot-tell", "unexplained")


def test_mountings_not_set() -> None:
    """Changes fit, angles do not: said of the angles, not as a fault of sign or name."""
    sensors = rigs.rig("gravity")
    believed = rigs.replaced(sensors, "stick", mounting=Mounting(1.3))
    for seed in range(3):
        rng = np.random.default_rng([67, seed])
        verdict = judge(believed, rigs.tried(sensors, rng))
        assert not verdict.good
        assert set(codes(verdict)) <= {"beyond-joint", "out-of-stroke", "not-held", "no-closure"}
        assert "mounting" in verdict.findings[0].advice


def test_a_zero_is_not_shown() -> None:
    """8 deg off and still within all joints: no change shows it. `good` promises no zero."""
    sensors = rigs.rig("gravity")
    believed = rigs.replaced(sensors, "boom", mounting=Mounting(math.radians(3.2 + 8.0)))
    angles = {"pitch": 0.03, "roll": 0.01, "boom": 0.2, "stick": -1.5, "bucket": 0.2}
    ranges = sensors.assembly.ranges
    made = []
    for joint in ("boom", "stick", "bucket"):
        for way in (0.3, -0.3):
            after = angles | {joint: angles[joint] + way}
            assert ranges[joint].low < after[joint] < ranges[joint].high
            made.append((joint, way > 0.0, dict(angles), after))
    for way in (1.0, -1.0):
        swung = angles | {"pitch": way * angles["roll"], "roll": -way * angles["pitch"]}
        made.append(("quarter", way > 0.0, dict(angles), swung))
    verdict = judge(believed, rigs.moved(sensors, np.random.default_rng(69), made), body_zeroed=True)
    assert verdict.findings == ()
    assert verdict.good


def test_a_check_that_disagrees() -> None:
    sensors = rigs.rig("encoders")
    believed = rigs.replaced(sensors, "stick-by-gravity", mounting=Mounting(math.radians(1.6)))
    rng = np.random.default_rng(68)
    verdict = judge(believed, rigs.tried(sensors, rng))
    assert codes(verdict) == ["sensors-disagree"]
    assert verdict.findings[0].sensors == ("stick-by-gravity",)
