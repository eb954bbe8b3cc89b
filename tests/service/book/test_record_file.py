"""The record as one JSON text: held against itself, whatever was done to it; and with nothing but sha256."""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kinematics.errors import Refused
from service.book.record_file import Head, broken, broken_record, head_of, read_record, record_text
from service.store import StoredEvent, events

WHEN = datetime(2026, 5, 4, 7, 31, 12, 250, tzinfo=UTC)
Json = dict[str, Any]


def chain(count: int = 6, job: str = "pump-house") -> list[StoredEvent]:
    """Events as the store seals them."""
    made: list[StoredEvent] = []
    for seq in range(1, count + 1):
        payload = {
            "elevation_m": 98.58 + 0.001 * seq,
            "name": 'slab "水" <b>',
            "deep": {"hash": "x" * 64, "n": 1.0},
        }
        bare = StoredEvent(
            job, seq, UUID(int=seq), "touched", 4, payload, "local", WHEN, WHEN + timedelta(seconds=seq), None, None,
            made[-1].hash if made else events.NO_PREVIOUS, "",
        )  # fmt: skip
        made.append(replace(bare, hash=events.event_hash(bare)))
    return made


def text(made: list[StoredEvent] | None = None) -> str:
    return record_text("pump-house", chain() if made is None else made, WHEN, "tipdatum 0")


def changed(change: Callable[[Json], object]) -> str:
    told = json.loads(text())
    change(told)
    return json.dumps(told)


def verdict(record: str, *noted: Head) -> tuple[int, str] | Head:
    found, head = broken_record(read_record(record), noted)
    if found is None:
        assert head is not None
        return head
    return found.seq, found.code


def test_round_trip() -> None:
    made = chain()
    record = read_record(text(made))
    assert record.events == tuple(made)
    assert verdict(text(made)) == Head(6, made[-1].hash)


def test_anybody_can_verify_with_sha256_alone() -> None:
    """As the guide has it: a line without its "hash" is what was hashed."""
    lines = [line.rstrip(",") for line in text().splitlines() if line.startswith('{"actor"')]
    assert len(lines) == 6
    before = "0" * 64
    for line in lines:
        bare = re.sub(r'"hash":"[0-9a-f]{64}",', "", line, count=1)
        told = json.loads(line)
        assert sha256(bare.encode()).hexdigest() == told["hash"]
        assert told["previous_hash"] == before
        before = told["hash"]


def _swap(told: Json) -> None:
    told["events"][2], told["events"][3] = told["events"][3], told["events"][2]


def _digit(told: Json) -> None:
    told["events"][2]["payload"]["elevation_m"] += 0.001


BREAKS: list[tuple[str, Callable[[Json], object], int, str]] = [
    ("a digit", _digit, 3, "changed-entry"),
    ("removed", lambda told: told["events"].pop(2), 3, "missing-entry"),
    ("the first removed", lambda told: told["events"].pop(0), 1, "missing-entry"),
    ("swapped", _swap, 3, "missing-entry"),
    ("twice", lambda told: told["events"].insert(3, told["events"][2]), 3, "out-of-order"),
    ("cut off", lambda told: told["events"].pop(), 6, "cut-off"),
    ("all cut off", lambda told: told["events"].clear(), 1, "missing-entry"),
    ("another job's", lambda told: told["events"][2].update(job_id="other"), 3, "other-job"),
    ("renamed job", lambda told: told.update(job="other"), 1, "other-job"),
    ("actor", lambda told: told["events"][4].update(actor="somebody"), 5, "changed-entry"),
    ("time", lambda told: told["events"][4].update(observed_utc="2026-05-04T07:31:12.000251Z"), 5, "changed-entry"),
    ("another spelling", lambda told: told["events"][4].update(observed_utc="2026-05-04T07:31:12Z"), 5, "changed-entry"),
    ("a field more", lambda told: told["events"][1].update(more=1), 2, "changed-entry"),
    ("a field less", lambda told: told["events"][1].pop("uuid"), 2, "changed-entry"),
    ("no entry", lambda told: told["events"].insert(1, None), 2, "changed-entry"),
    ("a whole number", lambda told: told["events"][1]["payload"]["deep"].update(n=1), 2, "changed-entry"),
    ("a text for a number", lambda told: told["events"][1].update(seq="2"), 2, "changed-entry"),
    ("head's hash", lambda told: told["head"].update(hash="0" * 64), 6, "other-chain"),
    ("head's entry", lambda told: told["head"].update(seq=5), 6, "other-chain"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "seq", "code"), [each[1:] for each in BREAKS], ids=[each[0] for each in BREAKS]
)
def test_every_change_is_told_with_its_entry(change: Callable[[Json], object], seq: int, code: str) -> None:
    assert verdict(changed(change)) == (seq, code)


def test_resealed_after_a_change() -> None:
    """Whoever seals one entry anew breaks the link of the next; whoever seals all of them changes the head."""
    made = chain()
    bad = replace(made[2], payload={"elevation_m": 98.0})
    made[2] = replace(bad, hash=events.event_hash(bad))
    assert verdict(text(made)) == (4, "broken-link")
    noted = Head(6, chain()[-1].hash)
    for i in range(3, 6):
        linked = replace(made[i], previous_hash=made[i - 1].hash)
        made[i] = replace(linked, hash=events.event_hash(linked))
    assert isinstance(verdict(text(made)), Head)
    assert verdict(text(made), noted) == (6, "other-chain")


def test_heads_noted_elsewhere() -> None:
    made = chain()
    assert verdict(text(made), Head(4, made[3].hash), Head(6, made[5].hash)) == Head(6, made[5].hash)
    assert verdict(text(made[:4]), Head(6, made[5].hash)) == (5, "cut-off")
    assert verdict(text(made), Head(4, made[4].hash)) == (4, "other-chain")


def _alike(line: str, changed: str) -> bool:
    try:
        return bool(json.loads(line.rstrip(",\n")) == json.loads(changed.rstrip(",\n")))
    except ValueError:
        return False


@given(st.integers(0, 5), st.data())
def test_any_letter_changed_anywhere_is_noticed(which: int, data: st.DataObject) -> None:
    """In the line of an entry: refused as no record, or told as broken; 1e0 for 1.0 is the same entry."""
    whole = text()
    lines = whole.splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if line.startswith('{"actor"'))
    line = lines[first + which]
    at = data.draw(st.integers(0, len(line.rstrip(",\n")) - 1))
    letter = data.draw(st.sampled_from('0123456789abcdefxyz"{}:,-'))
    if letter == line[at]:
        return
    lines[first + which] = line[:at] + letter + line[at + 1 :]
    assume(not _alike(line, lines[first + which]))
    try:
        record = read_record("".join(lines))
    except Refused:
        return
    assert broken_record(record)[0] is not None


@pytest.mark.parametrize(
    ("record", "found"),
    [
        ("", "no JSON"), ("{}", "no record"), ("[]", "no record"), ("7", "no record"), (text()[:400], "no JSON"),
        (text()[:-3], "no JSON"), (text().replace('"version": 1', '"version": 2'), "version 2"),
        (text().replace('"job":', '"other":', 1), "parts missing"),
        (text().replace('"head":', '"more": 1, "head":', 1), "others"),
        (text().replace('"seq":2', '"seq":2,"seq":2'), "twice"), (text().replace("98.581", "NaN"), "NaN"),
        ("[" * 100_000, "no JSON"), (changed(lambda told: told.update(events={})), "parts missing"),
        (changed(lambda told: told.update(head=[1])), "parts missing"),
    ],
)  # fmt: skip
def test_what_is_no_record(record: str, found: str) -> None:
    with pytest.raises(Refused) as refused:
        read_record(record)
    assert refused.value.code == "unreadable-record"
    assert found in str(refused.value)


def test_a_head_as_it_is_noted() -> None:
    assert head_of(f" 23:{'a' * 64}\n") == Head(23, "a" * 64)
    for wrong in (
        "",
        "23",
        "0:" + "a" * 64,
        "23:" + "A" * 64,
        "23:" + "a" * 63,
        "x:" + "a" * 64,
        "1" * 19 + ":" + "a" * 64,
    ):
        with pytest.raises(Refused) as refused:
            head_of(wrong)
        assert refused.value.code == "bad-head"


def test_progress_is_told() -> None:
    done: list[int] = []
    found, head = broken("pump-house", chain(1200), progress=done.append)
    assert found is None
    assert head is not None
    assert done == [500, 1000]
