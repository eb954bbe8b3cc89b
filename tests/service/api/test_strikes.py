"""Strikes through HTTP: taken or turned down because; what the plane carries and what voids it."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.tolerances import NOISE_M

from .doing import JobDoer, edge_at, metres, receiver_at

Opener = Callable[..., JobDoer]


def known(job: JobDoer) -> tuple[Any, Any]:
    """(height, plane) in metres, None where unknown."""
    height, plane = (job.get()[name] for name in ("height", "plane"))
    return tuple(None if each is None else metres(each["elevation"]) for each in (height, plane))  # type: ignore[return-value]


def test_either_order_gives_the_same(job: Opener) -> None:
    touch_first, strike_first = job().equipped(), job().equipped()
    touch_first.touch(-1.62)
    assert touch_first.strike(1.13)["role"] == "sets the laser plane"
    waits = strike_first.strike(1.13)
    assert (waits["role"], waits["elevation"], waits["verdict"]) == ("waits for a touch", None, "taken")
    assert known(strike_first) == (None, None)
    strike_first.touch(-1.62)
    for one, other in zip(known(touch_first), known(strike_first), strict=True):
        assert one == pytest.approx(other, abs=NOISE_M)
    assert known(touch_first)[1] == pytest.approx(102.75, abs=NOISE_M)


def test_a_strike_carries_the_height_over_a_move(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.strike(1.13)
    dug.move()
    assert known(dug) == (None, pytest.approx(102.75, abs=NOISE_M))
    assert dug.get()["how_to_know_height"] == "touch a benchmark or turning point or strike the laser"
    carried = dug.strike(1.30)
    assert carried["role"] == "carries the height from the laser plane"
    assert carried["hangs_on"] == [2, 5, 6]
    assert metres(carried["elevation"]) == pytest.approx(101.45, abs=NOISE_M)
    check = dug.strike(1.31)
    assert check["role"] == "checks"
    assert metres(check["misclosure"]) == pytest.approx(0.01, abs=NOISE_M)


REASONS = [
    ({"vertical_speed_mm_s": 30.1}, "too-fast"),
    ({"tilt_spread_deg": 0.051}, "not-steady"),
    ({"steady_s": 0.9}, "not-watched"),
    ({"crossings": [{"direction": "up", "pose": receiver_at(1.13, -75.0)}]}, "mast-leans"),
    ({"crossings": [{"direction": "up", "pose": receiver_at(1.185)}]}, "far-from-prediction"),
    (
        {"crossings": [{"direction": way, "pose": receiver_at(h)} for way, h in (("up", 1.15), ("down", 1.12))]},
        "up-and-down-differ",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("change", "reason"), REASONS)
def test_a_strike_turned_down_stays_on_record_and_changes_nothing(
    dug: JobDoer, change: dict[str, Any], reason: str
) -> None:
    dug.touch(-1.62)
    dug.strike(1.13)
    before = dug.get()
    struck = dug.strike(1.13, **change)
    assert struck["verdict"] == struck["role"] == "turned down"
    assert [why["code"] for why in struck["because"]] == [reason]
    assert (struck["elevation"], struck["misclosure"], struck["hangs_on"]) == (None, None, [])
    assert dug.get() | {"seq": 0} == before | {"seq": 0}
    assert dug.events()[-1]["status"] == "turned down"
    assert dug.get("level-book")["rows"][-1]["because"]


def test_every_reason_at_once(dug: JobDoer) -> None:
    struck = dug.strike(1.13, vertical_speed_mm_s=1e4, tilt_spread_deg=9.0, steady_s=0.0)
    assert {why["code"] for why in struck["because"]} == {"too-fast", "not-steady", "not-watched"}
    assert dug.strike(1.0)["role"] == "waits for a touch", "a strike that was turned down does not wait"


def test_up_and_down_cancel_lag(dug: JobDoer) -> None:
    dug.touch(-1.62)
    ways = [
        {"direction": "up", "pose": receiver_at(1.134)},
        {"direction": "down", "pose": receiver_at(1.126)},
    ]
    struck = dug.strike(0.0, crossings=ways)
    assert metres(struck["receiver_height"]) == pytest.approx(1.13, abs=NOISE_M)
    assert metres(struck["half_difference"]) == pytest.approx(0.004, abs=NOISE_M)
    same = dug.strike_body(1.13, crossings=[ways[0], ways[0]])
    assert dug.refused("strikes", same, 422) == {"/crossings": "crossings-alike"}
    assert dug.refused("strikes", same | {"crossings": []}, 422) == {"/crossings": "wrong-length"}
    assert dug.refused("strikes", same | {"crossings": [*ways, ways[0]]}, 422) == {
        "/crossings": "wrong-length"
    }
    bad = edge_at(-1.62) | {"angles_deg": {"boom": 99.0, "stick": -70.0, "bucket": 20.0}}
    both = same | {"crossings": [{"direction": "up", "pose": bad}] * 2, "along_fall": "x"}
    assert dug.refused("strikes", both, 422) == {
        "/along_fall": "not-a-number", "/from_strike": "wrong-strike", "/crossings": "crossings-alike",
        **{f"/crossings/{i}/pose/angles_deg/boom": "beyond-joint" for i in range(2)},
        **{f"/crossings/{i}/pose/angles_deg/tilt": "missing-joint" for i in range(2)},
    }  # fmt: skip


def test_a_laser_set_to_a_fall(job: Opener) -> None:
    pit = job().equipped(fall_percent=1.0)
    pit.touch(-1.62)
    assert pit.refused("strikes", pit.strike_body(1.13, 3.0), 422) == {"/along_fall": "distance-useless"}
    pit.strike(1.13)
    assert pit.refused("strikes", pit.strike_body(1.13), 422) == {"/along_fall": "distance-missing"}
    pit.move()
    only = pit.strike(1.10)
    assert (only["role"], only["elevation"]) == ("gives depth below the plane only", None)
    told = pit.read(edge_at(-2.0))
    assert told["points"]["centre"]["elevation"] is None
    assert metres(told["points"]["centre"]["below_plane"]) == pytest.approx(3.10, abs=NOISE_M)
    assert [why["code"] for why in told["no_number_because"]] == ["height-unknown"]
    # Plane at 102.75; 12 m down a fall of 1 % it is at 102.63, so that the origin is 1.10 under that.
    carried = pit.strike(1.10, along=-12.0)
    assert metres(carried["elevation"]) == pytest.approx(101.53, abs=NOISE_M)
    assert metres(pit.get()["plane"]["elevation"]) == pytest.approx(102.63, abs=NOISE_M)


def test_a_level_laser_takes_no_distance(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.strike(1.13)
    assert dug.refused("strikes", dug.strike_body(1.13, 2.0), 422) == {"/along_fall": "distance-useless"}


def test_depth_below_the_plane_without_any_benchmark(job: Opener) -> None:
    pit = job()
    pit.setup()
    pit.laser()
    assert pit.read(edge_at(-2.0))["points"]["centre"]["below_plane"] is None
    pit.strike(1.13)
    told = pit.read(edge_at(-2.0))
    assert metres(told["points"]["centre"]["below_plane"]) == pytest.approx(3.13, abs=NOISE_M)
    [why] = told["no_number_because"]
    assert why["code"] == "height-unknown"
    assert why["advice"] == "declare a benchmark and touch it"


def test_a_laser_reset_voids_the_plane_and_keeps_the_height(dug: JobDoer) -> None:
    dug.touch(-1.62)
    dug.strike(1.13)
    done = dug.laser()
    assert "laser plane" in done["voids"]
    assert known(dug) == (pytest.approx(101.62, abs=NOISE_M), None)
    assert dug.read(edge_at(-2.0))["points"]["centre"]["below_plane"] is None
    dug.move()
    dug.strike(1.0)
    assert known(dug) == (None, None), "an old plane would have given a height"


def test_a_machine_without_a_receiver(job: Opener) -> None:
    pit = job()
    pit.setup("published-mini", "published-mini-bucket")
    pit.laser()
    assert pit.refused("strikes", pit.strike_body(1.0), 409) == {"": "no-receiver"}
    assert pit.refused("receiver-clamps", {"place_mm": [1.0, 2.0, 3.0]}, 409) == {"": "no-receiver"}


def test_edited_rules_judge_what_comes_after(dug: JobDoer) -> None:
    dug.touch(-1.62)
    assert dug.strike(1.13, vertical_speed_mm_s=60.0)["verdict"] == "turned down"
    dug.post("rules", {"rules": {"speed_mm_per_revolution": 6.0}, "note": "slow laser, long mast"})
    assert dug.get()["rules"]["speed_mm_per_revolution"] == 6.0
    assert dug.get()["rules"]["mast_deg"] == 10.0
    assert dug.strike(1.13, vertical_speed_mm_s=60.0)["verdict"] == "taken"
    assert dug.events()[5]["status"] == "turned down", "earlier strikes stay as they were judged"
    for rules, pointer in (
        ({"mast_deg": 46.0}, "/rules/mast_deg"), ({"mast_deg": "5"}, "/rules/mast_deg"),
        ({"steady_s": 0.0}, "/rules/steady_s"), ({"surprise_mm": True}, "/rules/surprise_mm"),
        ({"mercy": 1.0}, "/rules/mercy"), ({"age_limit_s": 61.0}, "/rules/age_limit_s"),
    ):  # fmt: skip
        assert set(dug.refused("rules", {"rules": rules}, 422)) == {pointer}


def test_the_distance_counts_from_the_strike_that_is_named(job: Opener) -> None:
    """1 %, three stands 12 m apart: 100 + 1.62 + 1.13 = 102.75, then 102.63, then 102.51 under the plane."""
    pit = job().equipped(1.0)
    pit.touch(-1.62)
    pit.strike(1.13)  # 6
    assert pit.get()["plane"]["from_strike"] == 6
    pit.move()
    pit.strike(1.20, -12.0)  # 8
    assert pit.get()["plane"]["from_strike"] == 8
    pit.move()
    stale = pit.strike_body(1.20, -24.0) | {"from_strike": 6}
    assert pit.refused("strikes", stale, 422) == {"/from_strike": "wrong-strike"}
    unnamed = {k: v for k, v in pit.strike_body(1.20, -12.0).items() if k != "from_strike"}
    assert pit.refused("strikes", unnamed, 422) == {"/from_strike": "wrong-strike"}
    pit.strike(1.20, -12.0)
    assert metres(pit.get()["plane"]["elevation"]) == pytest.approx(102.51, abs=NOISE_M)


def test_two_strikes_on_a_falling_plane_before_the_touch_close_nothing(job: Opener) -> None:
    pit = job().equipped(2.0)
    assert pit.strike(1.13)["role"] == "waits for a touch"
    second = pit.strike(1.22)
    assert (second["verdict"], second["misclosure"]) == ("taken", None)


def test_depth_below_a_falling_plane_is_warned_of_and_lapses_on_a_swing(job: Opener) -> None:
    pit = job().equipped(2.0)
    pit.touch(-1.62)
    pit.strike(1.13)
    told = pit.read(edge_at(-2.0))
    assert metres(told["points"]["centre"]["below_plane"]) == pytest.approx(3.13, abs=NOISE_M)
    assert [w["code"] for w in told["warnings"]] == ["plane-falls"]
    assert all(row["staff"] is None for row in pit.get("level-book")["rows"])
    pit.post("swings")
    told = pit.read(edge_at(-2.0))
    assert told["points"]["centre"]["below_plane"] is None
    assert told["points"]["centre"]["elevation"] is not None


def test_another_lean_than_at_the_touch_is_warned_of(dug: JobDoer) -> None:
    dug.touch(-1.62)
    rocked = edge_at(-2.0)
    rocked = rocked | {"attitude_deg": {"pitch": rocked["attitude_deg"]["pitch"] + 0.5, "roll": -0.4}}
    assert [w["code"] for w in dug.read(rocked)["warnings"]] == ["lean-changed"]
    assert dug.read(edge_at(-2.0))["warnings"] == []
