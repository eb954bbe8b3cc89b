"""Undo: what falls with an entry, what may not be undone, and that nothing is read anew."""

from collections.abc import Callable

import pytest

from tests.tolerances import NOISE_M

from .doing import JobDoer, edge_at, metres

ON_EVERY_DATABASE = True

Opener = Callable[..., JobDoer]


def statuses(job: JobDoer) -> dict[int, str]:
    return {event["seq"]: event["status"] for event in job.events() if event["status"] != "counts"}


def refused(job: JobDoer, seq: int) -> None:
    assert job.refused("withdrawals", {"seq": seq, "reason": "x"}, 409) == {"/seq": "not-withdrawable"}


def test_all_that_hangs_on_an_entry_falls_with_it(dug: JobDoer) -> None:
    dug.touch(-1.62)  # 5
    dug.strike(1.13)  # 6
    dug.target("footing", 1.4)  # 7, on the slab
    dug.turning_point("stone", -2.0)  # 8, on the touch
    dug.move()  # 9
    dug.strike(1.2)  # 10, on the plane
    dug.post("targets", dug.target_body("sump", 1.0, benchmark="stone"))  # 11
    done = dug.withdraw(5)  # 12
    assert done["voids"] == ["entry 5", "entry 6", "entry 8", "entry 10", "entry 11"]
    assert statuses(dug) == {5: "withdrawn", 6: "void", 8: "void", 10: "void", 11: "void"}
    job = dug.get()
    assert (job["height"], job["plane"], job["targets"]) == (None, None, ["footing"])
    assert [point["name"] for point in job["points"]] == ["slab"]
    assert job["withdrawn"] == [5, 6, 8, 10, 11]
    back = dug.withdraw(12)
    assert back["voids"] == ["entry 12"]
    assert statuses(dug) == {12: "withdrawn"}
    assert metres(dug.get()["height"]["elevation"]) == pytest.approx(101.55, abs=NOISE_M)


def test_what_voids_may_be_undone_only_before_a_reading(dug: JobDoer) -> None:
    dug.touch(-1.62)  # 5
    dug.move()  # 6
    dug.withdraw(6)  # 7
    assert metres(dug.get()["height"]["elevation"]) == pytest.approx(101.62, abs=NOISE_M)
    assert dug.get()["setup"] == 1
    dug.withdraw(7)  # 8: the move counts again
    assert dug.get()["height"] is None
    dug.touch(-1.5)  # 9
    for seq in (3, 4, 6, 8):
        refused(dug, seq)
    dug.withdraw(9)  # 10
    dug.withdraw(8)  # 11: the withdrawal of the move counts again
    assert dug.get()["setup"] == 1
    refused(dug, 10)  # would bring the touch of the other stand into this one


def test_a_withdrawal_is_undone_latest_first(dug: JobDoer) -> None:
    """Else a station touched after a move could come back as one of the next stand."""
    dug.target("drain", 1.0, along_percent=2.0)  # 5
    dug.move()  # 6
    dug.station("drain", 0.0, edge_at(-2.0))  # 7
    dug.withdraw(7)  # 8
    dug.withdraw(6)  # 9
    refused(dug, 8)
    dug.move()  # 10
    refused(dug, 8)
    assert dug.get("targets")[0]["station_known"] is False


def test_a_name_withdrawn_is_free_and_does_not_come_back_over_another(dug: JobDoer) -> None:
    """Two points of one name would leave a log that cannot be folded."""
    dug.target("footing", 1.4)  # 5
    dug.withdraw(2)  # 6: the slab, and the target that hung on it
    assert dug.get("targets") == dug.get("benchmarks") == []
    dug.benchmark("slab", 50.0)  # 7
    refused(dug, 6)
    assert [metres(point["elevation"]) for point in dug.get("benchmarks")] == [50.0]
    dug.withdraw(7)  # 8
    dug.withdraw(8)  # 9
    refused(dug, 6)
    dug.withdraw(9)  # 10
    dug.withdraw(6)  # 11
    assert [metres(point["elevation"]) for point in dug.get("benchmarks")] == [100.0]
    assert [target["name"] for target in dug.get("targets")] == ["footing"]
    refused(dug, 8)  # the name is taken again


def test_a_target_s_name_likewise(dug: JobDoer) -> None:
    dug.target("footing", 1.4)  # 5
    dug.withdraw(5)  # 6
    dug.target("footing", 1.6)  # 7
    refused(dug, 6)
    assert metres(dug.get("targets")[0]["depth_below"]) == pytest.approx(1.6, abs=NOISE_M)


def test_what_cannot_be_withdrawn(dug: JobDoer) -> None:
    for seq in (5, 99, 10**18):
        refused(dug, seq)
    dug.withdraw(2)
    refused(dug, 2)
    for body in (
        {"seq": 1, "reason": "x"},
        {"seq": "2", "reason": "x"},
        {"seq": 2.5, "reason": "x"},
        {"seq": 2},
    ):
        dug.refused("withdrawals", body, 422)
    assert dug.refused("withdrawals", {"seq": 3, "reason": ""}, 422) == {"/reason": "wrong-length"}


def test_a_machine_that_moved_stays(job: Opener) -> None:
    """Else there would be a stand of no machine at all."""
    pit = job()
    pit.setup()  # 2
    pit.move()  # 3
    refused(pit, 2)
    pit.withdraw(3)  # 4
    pit.withdraw(2)  # 5
    assert (pit.get()["setup"], pit.get()["machine"]) == (0, None)
    assert pit.refused("moves", {}, 409) == {"": "no-setup"}


def test_a_turned_down_strike_and_rules_can_go(dug: JobDoer) -> None:
    dug.post("rules", {"rules": {"surprise_mm": 5.0}})  # 5
    assert (
        dug.strike(1.13, steady_s=0.1)["verdict"] == "turned down"
    )  # 6: nothing rests on it, it rests on nothing
    dug.withdraw(5)
    dug.withdraw(6)
    assert dug.get()["rules"]["surprise_mm"] == 50.0


def test_a_misclosure_against_a_withdrawn_height_is_no_misclosure(dug: JobDoer) -> None:
    """Else the book would close on a number whose base was withdrawn."""
    dug.touch(-1.62)  # 5
    dug.touch(-1.60)  # 6, 20 mm off the first
    assert metres(dug.get("level-book")["misclosure"]) == pytest.approx(0.02, abs=NOISE_M)
    dug.withdraw(5)
    book = dug.get("level-book")
    assert book["misclosure"] is None
    assert [row["misclosure"] for row in book["rows"]] == [None] * 7
    assert metres(dug.get()["height"]["elevation"]) == pytest.approx(101.60, abs=NOISE_M)


def test_a_strike_that_waited_waits_again(dug: JobDoer) -> None:
    dug.strike(1.13)  # 5
    dug.touch(-1.62)  # 6
    dug.strike(1.14)  # 7
    dug.withdraw(6)
    assert statuses(dug) == {6: "withdrawn", 7: "void"}
    assert (dug.get()["height"], dug.get()["plane"]) == (None, None)
    dug.touch(-1.60)
    assert metres(dug.get()["plane"]["elevation"]) == pytest.approx(100 + 1.60 + 1.13, abs=NOISE_M)
