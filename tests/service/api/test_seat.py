"""What somebody else changes waits until the seat acknowledges it; targets above all, and who may do what."""

import json
import re
from importlib.resources import files
from pathlib import Path

import pytest

from service.app import create_app
from service.settings import Settings
from service.store import events, verify_chain
from tests.tolerances import NOISE_M

from .callers import acknowledge, as_on_disk, asking, by, refused, waiting
from .doing import Client, JobDoer, edge_at, metres, opened

SETUP = {"machine": "crawler-14t", "attachment": "digging-1500"}


@pytest.fixture
def dig(dug: JobDoer) -> JobDoer:
    """Slab, setup, laser: 2, 3, 4; touched (5) and with a target 1.4 m down (6), all by the one at the seat."""
    dug.touch(-1.62)
    dug.target("footing", 1.4)
    return dug


def depth(job: JobDoer, name: str = "footing") -> float:
    [found] = [each for each in job.get("targets") if each["name"] == name]
    return metres(found["depth_below"])


def above(job: JobDoer, name: str = "footing") -> float:
    told = job.read(edge_at(-3.0), name)
    assert told["no_number_because"] == []
    return metres(told["points"]["centre"]["cut_fill"]["above_target"])


def test_a_target_of_the_office_waits_and_counts_once_acknowledged(dig: JobDoer) -> None:
    assert dig.get()["seat"] == "local"
    done = by(
        dig, "office", "targets", dig.target_body("sump", 2.0, floor_limit_below=2.2, along_percent=1.0)
    )
    assert (done["seq"], done["waits"], done["voids"]) == (7, True, [])
    assert metres(done["target"]["depth_below"]) == 2.0
    assert metres(done["target"]["elevation"]) == pytest.approx(98.0, abs=NOISE_M)
    assert done["target"]["station_known"] is False
    job = dig.get()
    assert (job["seq"], job["targets"], job["withdrawn"]) == (7, ["footing"], [])
    [waits] = job["waiting"]
    assert (waits["seq"], waits["type"], waits["actor"]) == (7, "target-set", "office")
    assert waits["observed_utc"] == done["observed_utc"]
    assert waits["words"] == (
        "target 'sump': 2.000 m below slab, tolerance 0.025 m, grade 1 % along, 0 % across, floor limit 2.200 m below"
    )
    assert [row["status"] for row in dig.get("level-book")["rows"]] == ["counts"] * 6 + ["waits"]
    assert dig.events()[-1]["status"] == "waits"
    as_on_disk(dig)
    answer = acknowledge(dig, 7)
    assert (answer["type"], answer["waits"], answer["voids"], answer["hangs_on"]) == (
        "acknowledged",
        False,
        [],
        [],
    )
    assert dig.get()["targets"] == ["footing", "sump"]
    assert waiting(dig) == []
    assert {event["status"] for event in dig.events()} == {"counts"}
    as_on_disk(dig)
    dig.withdraw(7)
    assert dig.get()["targets"] == ["footing"]
    as_on_disk(dig)


def test_readouts_go_on_with_the_old_and_say_what_waits(dig: JobDoer) -> None:
    before = above(dig)
    by(dig, "office", "withdrawals", {"seq": 6, "reason": "revised"})  # 7
    by(dig, "office", "targets", dig.target_body("footing", 1.6))  # 8
    assert above(dig) == before
    told = dig.read(edge_at(-3.0), "footing")
    assert [warning["code"] for warning in told["warnings"]] == ["waits-for-the-seat"] * 2
    first, second = told["warnings"]
    assert first["found"] == "withdraws target 'footing' (entry 6), by 'office'"
    assert second["found"] == "target 'footing': 1.600 m below slab, tolerance 0.025 m, by 'office'"
    assert first["expected"] == "an acknowledgement by 'local' at the seat"
    assert f"POST {dig.path}/acknowledgements for entry 7" in first["advice"]
    answer = acknowledge(dig, 7, 8)
    assert answer["voids"] == ["entry 6"]
    assert above(dig) - before == pytest.approx(0.2, abs=NOISE_M)
    assert dig.read(edge_at(-3.0), "footing")["warnings"] == []
    assert {event["seq"]: event["status"] for event in dig.events() if event["status"] != "counts"} == {
        6: "withdrawn"
    }
    as_on_disk(dig)


def test_in_the_wrong_order_or_half_nothing_is_acknowledged(dig: JobDoer) -> None:
    by(dig, "office", "withdrawals", {"seq": 6, "reason": "revised"})  # 7
    by(dig, "office", "targets", dig.target_body("footing", 1.6))  # 8
    assert dig.refused("acknowledgements", {"seqs": [8, 7]}, 409) == {"/seqs/0": "name-taken"}
    assert dig.refused("acknowledgements", {"seqs": [7, 99]}, 409) == {"/seqs/1": "not-waiting"}
    assert waiting(dig) == [7, 8]
    acknowledge(dig, 7)
    assert dig.get()["targets"] == []
    acknowledge(dig, 8)
    assert depth(dig) == pytest.approx(1.6, abs=NOISE_M)


def test_names_away_from_the_seat(dig: JobDoer) -> None:
    """One may propose in place of what one withdraws, but not twice, and not over a target that stays."""
    new = dig.target_body("footing", 1.6)
    assert refused(dig, "office", "targets", new, 409) == {"/name": "name-taken"}
    by(dig, "office", "withdrawals", {"seq": 6, "reason": "revised"})  # 7
    assert refused(dig, "surveyor", "withdrawals", {"seq": 6, "reason": "x"}, 409) == {
        "/seq": "not-withdrawable"
    }
    by(dig, "office", "targets", new)  # 8
    assert refused(dig, "surveyor", "targets", new, 409) == {"/name": "name-taken"}
    assert dig.refused("targets", new, 409) == {"/name": "name-taken"}
    dig.withdraw(6)  # 9: the seat does it itself
    assert dig.refused("acknowledgements", {"seqs": [7, 8]}, 409) == {"/seqs/0": "not-withdrawable"}
    acknowledge(dig, 8)
    assert depth(dig) == pytest.approx(1.6, abs=NOISE_M)


def test_a_target_that_only_waits_has_no_readout(dig: JobDoer) -> None:
    by(dig, "office", "targets", dig.target_body("sump", 2.0))  # 7
    for what, body in (
        ("readouts", {"pose": edge_at(-2.0), "units": "m", "target": "sump"}),
        ("stations", {"target": "sump", "station": 0.0, "edge_point": "centre", "pose": edge_at(-2.0), "units": "m"}),
    ):  # fmt: skip
        [fault] = dig.post(what, body, 422)["errors"]
        assert fault["code"] == "unknown-target"
        assert "entry 7" in fault["advice"]
        assert "waits" in fault["advice"]


def test_declined_by_the_seat_or_by_whoever_recorded_it(dig: JobDoer) -> None:
    for decliner in ("local", "office"):
        seq = by(dig, "office", "targets", dig.target_body("sump", 2.0))["seq"]
        body = {"seq": seq, "reason": "not agreed"}
        assert refused(dig, "surveyor", "withdrawals", body, 409) == {"/seq": "not-at-seat"}
        dig.touch(-1.62)  # rests on nothing that waits
        answer = by(dig, decliner, "withdrawals", body)
        assert (answer["waits"], answer["voids"]) == (False, [f"entry {seq}"])
        assert waiting(dig) == []
        assert dig.events()[seq - 1]["status"] == "withdrawn"
        assert dig.refused("acknowledgements", {"seqs": [seq]}, 409) == {"/seqs/0": "not-waiting"}
    as_on_disk(dig)


def test_a_target_whose_benchmark_is_withdrawn_meanwhile(dig: JobDoer) -> None:
    dig.benchmark("kerb", 101.0)  # 7
    by(dig, "office", "targets", dig.target_body("sump", 2.0, benchmark="kerb"))  # 8
    assert dig.withdraw(7)["voids"] == ["entry 7", "entry 8"]  # 9
    assert waiting(dig) == []
    [fault] = dig.post("acknowledgements", {"seqs": [8]}, 409)["errors"]
    assert fault["code"] == "not-waiting"
    assert "void" in fault["found"]
    dig.benchmark("kerb", 102.0)  # 10: another kerb is not the one it was set from
    assert dig.refused("acknowledgements", {"seqs": [8]}, 409) == {"/seqs/0": "not-waiting"}
    as_on_disk(dig)


def test_a_benchmark_does_not_take_the_seat_s_target_with_it_unseen(dig: JobDoer) -> None:
    answer = by(dig, "office", "withdrawals", {"seq": 2, "reason": "wrong"})  # 7
    assert (answer["waits"], answer["voids"]) == (True, [])
    [waits] = dig.get()["waiting"]
    assert waits["words"] == (
        "withdraws benchmark 'slab' (entry 2); with it goes touch (entry 5), target 'footing' (entry 6)"
    )
    assert acknowledge(dig, 7)["voids"] == ["entry 2", "entry 5", "entry 6"]


def test_undoing_the_seat_s_own_withdrawal_waits_too(dig: JobDoer) -> None:
    dig.withdraw(6)  # 7
    assert by(dig, "office", "withdrawals", {"seq": 7, "reason": "we need it"})["waits"]  # 8
    [waits] = dig.get()["waiting"]
    assert waits["words"] == "withdraws withdrawal (entry 7); back comes target 'footing' (entry 6)"
    dig.target("footing", 1.5)  # 9
    assert dig.refused("acknowledgements", {"seqs": [8]}, 409) == {"/seqs/0": "not-withdrawable"}
    dig.withdraw(9)
    acknowledge(dig, 8)
    assert depth(dig) == pytest.approx(1.4, abs=NOISE_M)
    as_on_disk(dig)


def test_readings_and_moves_of_another_count_at_once(dig: JobDoer) -> None:
    with asking(dig.client, "office"):
        dig.benchmark("kerb", 101.0)  # 7
        dig.touch(-1.60)  # 8
        dig.laser()
        dig.strike(1.13)
        dig.turning_point("stone", -2.0)
        dig.target("drain", 1.0, along_percent=2.0)  # 12
        dig.move()
        dig.post("swings")
    assert waiting(dig) == [12]
    assert dig.get()["height"] is None


def test_the_seat_is_taken_at_a_change_of_shift(dig: JobDoer) -> None:
    by(dig, "berta", "targets", dig.target_body("sump", 2.0))  # 7
    assert refused(dig, "berta", "acknowledgements", {"seqs": [7]}, 409) == {"": "not-at-seat"}
    taken = by(dig, "berta", "seats", {"note": "afternoon"})  # 8
    assert (taken["type"], taken["waits"], taken["voids"]) == ("seat-taken", False, [])
    assert (dig.get()["seat"], waiting(dig)) == ("berta", [7]), "taking the seat acknowledges nothing"
    assert dig.refused("acknowledgements", {"seqs": [7]}, 409) == {"": "not-at-seat"}
    assert dig.target("drain", 1.0)["waits"], "9: the one who left is somebody else now"
    by(dig, "berta", "acknowledgements", {"seqs": [9, 7]})  # 10
    assert dig.get()["targets"] == ["footing", "drain", "sump"]
    with asking(dig.client, "berta"):
        for seq in (8, 10):
            assert dig.refused("withdrawals", {"seq": seq, "reason": "x"}, 409) == {
                "/seq": "not-withdrawable"
            }
        dig.withdraw(9)
    assert by(dig, "berta", "setups", SETUP)["waits"] is False
    row = dig.get("level-book")["rows"][7]
    assert (row["what"], row["point"]) == ("seat", "berta")
    as_on_disk(dig)


def test_what_cannot_be_acknowledged(dig: JobDoer) -> None:
    by(dig, "office", "targets", dig.target_body("sump", 2.0))  # 7
    by(dig, "office", "rules", {"rules": {}})  # 8
    acknowledge(dig, 8)  # 9
    found = dig.post("acknowledgements", {"seqs": [99, 8, 6, 7, 10**18]}, 409)
    assert {fault["pointer"]: fault["code"] for fault in found["errors"]} == dict.fromkeys(
        ("/seqs/0", "/seqs/1", "/seqs/2", "/seqs/4"), "not-waiting"
    )
    words = [fault["found"] for fault in found["errors"]]
    assert ["not on the log" in words[0], "acknowledged already" in words[1], "took effect" in words[2]] == [
        True
    ] * 3
    assert {fault["expected"] for fault in found["errors"]} == {"an entry that waits: 7"}
    for body, fault in (
        ({"seqs": []}, {"/seqs": "wrong-length"}), ({"seqs": [7, 7]}, {"/seqs": "does-not-fit"}),
        ({"seqs": [1]}, {"/seqs/0": "out-of-range"}), ({"seqs": ["7"]}, {"/seqs/0": "wrong-type"}),
        ({"seqs": 7}, {"/seqs": "wrong-type"}), ({}, {"/seqs": "missing-field"}),
    ):  # fmt: skip
        assert dig.refused("acknowledgements", body, 422) == fault
    dig.withdraw(7)
    assert dig.refused("acknowledgements", {"seqs": [7]}, 409) == {"/seqs/0": "not-waiting"}


def test_replays_answer_as_before(dig: JobDoer) -> None:
    body = dig.target_body("sump", 2.0)
    first = by(dig, "office", "targets", body, Idempotency_Key="t")
    done = dig.post("acknowledgements", {"seqs": [7]}, Idempotency_Key="a")
    dig.withdraw(7)
    assert by(dig, "office", "targets", body, Idempotency_Key="t") == first | {"replayed": True}
    assert dig.post("acknowledgements", {"seqs": [7]}, Idempotency_Key="a") == done | {"replayed": True}
    assert dig.refused("acknowledgements", {"seqs": [8]}, 409, Idempotency_Key="a") == {
        "": "idempotency-conflict"
    }
    assert dig.refused("acknowledgements", {"seqs": [7]}, 412, If_Match='"7"') == {"": "sequence-mismatch"}
    answer = dig.client.http.post(f"{dig.path}/seats", json={}, headers={"If-Match": '"9"'})
    assert (answer.status_code, answer.headers["ETag"]) == (201, '"10"')


def test_nothing_waits_for_one_alone(dig: JobDoer) -> None:
    dig.withdraw(6)
    dig.target("footing", 1.6)
    dig.setup()
    dig.post("rules", {"rules": {}})
    assert waiting(dig) == []
    assert {event["payload"]["waits"] for event in dig.events()} == {False}


SHIFT = files("service").joinpath("guide", "shift.md").read_text(encoding="utf-8")


def test_the_guide_s_examples_work(dig: JobDoer) -> None:
    asked = dict(re.findall(r"/v1/jobs/JOB/([a-z-]+) \\\n.*?-d '(\{.*?\})'", SHIFT, flags=re.DOTALL))
    for _ in range(5):
        dig.move()  # 7 to 11
    by(dig, "office", "withdrawals", {"seq": 6, "reason": "revised"})  # 12
    by(dig, "office", "targets", dig.target_body("footing", 1.6))  # 13
    dig.post("acknowledgements", json.loads(asked["acknowledgements"]))
    assert depth(dig) == pytest.approx(1.6, abs=NOISE_M)
    assert by(dig, "berta", "seats", json.loads(asked["seats"]))["type"] == "seat-taken"


def test_a_restarted_service_says_the_same(tmp_path: Path) -> None:
    def shown(job: JobDoer) -> list[object]:
        told = job.read(edge_at(-3.0), "footing")
        return [told, job.events(), *(job.get(what) for what in ("", "targets", "level-book", "benchmarks"))]

    with Client(create_app(Settings(data_folder=tmp_path))) as client:
        job = opened(client, "pit").equipped()
        job.touch(-1.62)
        job.target("footing", 1.4)  # 6
        by(job, "office", "withdrawals", {"seq": 6, "reason": "revised"})  # 7
        by(job, "office", "targets", job.target_body("footing", 1.6))  # 8
        by(job, "office", "targets", job.target_body("sump", 2.0))  # 9
        by(job, "office", "setups", SETUP)  # 10
        acknowledge(job, 7, 8)
        by(job, "berta", "seats", {})
        kept = shown(job)
    with Client(create_app(Settings(data_folder=tmp_path))) as client:
        job = JobDoer(client, "pit", "m")
        assert shown(job) == kept
        assert (job.get()["seat"], waiting(job)) == ("berta", [9, 10])
        stored = client.app.state.database.read(lambda session: events.read_events(session, "pit"))
        assert verify_chain(stored) is None
        assert {event.payload_version for event in stored} == {4}
