"""What a review of the seat found: nothing old comes back unseen, nothing of another machine, and not without end."""

import pytest

from service.book.seat import MOST_WAITING

from .callers import acknowledge, as_on_disk, asking, by, refused, waiting
from .doing import JobDoer, Json, edge_at

SETUP = {"machine": "crawler-14t", "attachment": "digging-1500"}
RECEIVER = {"place_mm": [800.0, 180.0, 260.0]}


@pytest.fixture
def dig(dug: JobDoer) -> JobDoer:
    """Slab, setup, laser: 2, 3, 4; touched (5) and with a target 1.4 m down (6), all by the one at the seat."""
    dug.touch(-1.62)
    dug.target("footing", 1.4)
    return dug


def no_height(job: JobDoer) -> bool:
    told = job.read(edge_at(-3.0), "footing")
    return [each["code"] for each in told["no_number_because"]] != []


@pytest.mark.parametrize("mover", ["local", "office"])
def test_a_move_undone_by_another_brings_no_height_back(dig: JobDoer, mover: str) -> None:
    by(dig, mover, "moves", {})  # 7
    assert no_height(dig)
    answer = by(dig, "office", "withdrawals", {"seq": 7, "reason": "it did not move"})  # 8
    assert (answer["waits"], answer["voids"]) == (True, [])
    assert no_height(dig)
    assert dig.get()["waiting"][0]["words"] == "withdraws move (entry 7)"
    as_on_disk(dig)
    assert acknowledge(dig, 8)["voids"] == ["entry 7"]
    assert not no_height(dig)
    as_on_disk(dig)


def test_a_reading_undone_by_another_brings_no_older_one_back(dig: JobDoer) -> None:
    older = dig.get()["height"]
    dig.touch(-1.60)  # 7
    newer = dig.get()["height"]
    assert newer != older
    assert by(dig, "office", "withdrawals", {"seq": 7, "reason": "loose stone"})["waits"]  # 8
    assert dig.get()["height"] == newer
    acknowledge(dig, 8)
    assert dig.get()["height"] == older
    assert by(dig, "office", "withdrawals", {"seq": 8, "reason": "it was firm"})["waits"]  # 10
    assert dig.get()["height"] == older
    [waits] = dig.get()["waiting"]
    assert waits["words"] == "withdraws withdrawal (entry 8); back comes touch (entry 7)"
    as_on_disk(dig)


def test_what_goes_with_a_withdrawal_is_named_up_to_ten(dig: JobDoer) -> None:
    for _ in range(12):
        dig.touch(-1.62)  # 7 to 18
    by(dig, "office", "withdrawals", {"seq": 2, "reason": "wrong"})
    [waits] = dig.get()["waiting"]
    assert waits["words"].endswith("touch (entry 18) and 4 earlier")
    assert waits["words"].count("touch (") == 10


def test_not_more_than_fifty_wait(dig: JobDoer) -> None:
    rules: Json = {"rules": {}}
    assert MOST_WAITING == 50
    with asking(dig.client, "office"):
        for _ in range(MOST_WAITING):
            dig.post("rules", rules)  # 7 to 56
        for what, body in (
            ("rules", rules), ("targets", dig.target_body("sump", 2.0)), ("withdrawals", {"seq": 6, "reason": "x"}),
        ):  # fmt: skip
            assert dig.refused(what, body, 409) == {"": "too-many-waiting"}
        dig.move()  # 57: what counts at once is still recorded
        dig.withdraw(7)  # 58
        dig.post("rules", rules)  # 59
    assert refused(dig, "surveyor", "rules", rules, 409) == {"": "too-many-waiting"}
    assert dig.target("sump", 2.0)["waits"] is False
    acknowledge(dig, 8)
    by(dig, "surveyor", "rules", rules)
    assert len(waiting(dig)) == MOST_WAITING


@pytest.mark.parametrize("who", ["local", "office"])
@pytest.mark.parametrize(
    ("what", "body"), [("receiver-clamps", RECEIVER), ("attachment-changes", {"attachment": "digging-1500"})]
)
def test_a_place_recorded_on_another_setup_is_not_acknowledged(
    dig: JobDoer, who: str, what: str, body: Json
) -> None:
    by(dig, "office", what, body)  # 7
    by(dig, "office", "targets", dig.target_body("sump", 2.0))  # 8
    by(dig, "office", "rules", {"rules": {"surprise_mm": 20.0}})  # 9
    by(dig, who, "setups", SETUP)  # 10
    if who == "office":
        assert dig.refused("acknowledgements", {"seqs": [10, 7]}, 409) == {"/seqs/1": "overtaken"}
        assert waiting(dig) == [7, 8, 9, 10]
        acknowledge(dig, 10)  # 11
    [fault] = dig.post("acknowledgements", {"seqs": [7]}, 409)["errors"]
    assert (fault["code"], fault["advice"]) == ("overtaken", "record it anew")
    assert "setup of entry 3" in fault["found"]
    assert "setup of entry 10" in fault["expected"]
    acknowledge(dig, 8, 9)
    by(dig, "office", what, body)
    acknowledge(dig, dig.get()["seq"])
    assert waiting(dig) == [7]
    dig.withdraw(7)
    as_on_disk(dig)


def test_nor_when_an_earlier_setup_came_back(dig: JobDoer) -> None:
    dig.setup(attachment="digging-1500")  # 7
    by(dig, "office", "receiver-clamps", RECEIVER)  # 8
    dig.withdraw(7)  # 9
    assert dig.refused("acknowledgements", {"seqs": [8]}, 409) == {"/seqs/0": "overtaken"}
    dig.withdraw(9)  # 10: the setup it was recorded on stands again
    acknowledge(dig, 8)


def test_each_caller_has_keys_of_its_own(dig: JobDoer) -> None:
    """A move lost to another's key would leave an old height under the operator's eyes."""
    first = by(dig, "office", "moves", {}, Idempotency_Key="1")  # 7
    assert by(dig, "office", "moves", {}, Idempotency_Key="1") == first | {"replayed": True}
    for other in ("surveyor", "local"):
        found = by(dig, other, "moves", {}, 409, Idempotency_Key="1")
        assert [fault["code"] for fault in found["errors"]] == ["idempotency-conflict"]
    assert dig.refused("moves", {}, 409, Idempotency_Key="1") == {"": "idempotency-conflict"}
    assert dig.get()["seq"] == 7


def test_a_readout_says_who_sits_there(dig: JobDoer) -> None:
    assert dig.read(edge_at(-3.0), "footing")["seat"] == "local"
    with asking(dig.client, "berta"):
        told = dig.read(edge_at(-3.0), "footing")
        assert [warning["code"] for warning in told["warnings"]] == ["not-at-the-seat"]
        assert told["warnings"][0]["found"] == "'local' sits at the machine since entry 3"
        dig.post("seats")  # 7
        told = dig.read(edge_at(-3.0), "footing")
        assert (told["seat"], told["warnings"]) == ("berta", [])
        dig.post("seats")  # 8: taken again, still since 7
    with asking(dig.client, "office"):
        assert "since entry 7" in dig.read(edge_at(-3.0))["warnings"][0]["found"]
    told = dig.read(edge_at(-3.0), "footing")
    assert (told["seat"], told["warnings"]) == ("berta", []), "where access is off nobody is told"
