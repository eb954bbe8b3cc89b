"""A log that was altered from outside gives no number: what is found of it, and what of it may still be read."""

import logging
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import partial

import pytest
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from service.book import holding
from service.book import payloads as p
from service.book.holding import Holding
from service.book.keeper import Keeper
from service.book.profiles import Profiles
from service.book.record_file import Head, broken
from service.book.requests import Recording
from service.book.state import JobState
from service.store import Database, LogDamaged, events, open_database, utc_now
from service.store.events import event_hash
from service.store.tables import Event

from .making import behind

ON_EVERY_DATABASE = True
JOBS = ("pump-house", "well")
LAST = 6


def keeper(database: Database) -> Keeper:
    return Keeper(database, Profiles(database, utc_now))


def declared(number: int) -> p.BenchmarkDeclared:
    return p.BenchmarkDeclared(name=f"nail {number}", elevation_m=100.0 + number, entered=f"{100 + number} m")


def bench(asked: Keeper, job: str, number: int) -> int:
    """A benchmark recorded; its entry."""

    def decide(_state: JobState, _seq: int) -> p.BenchmarkDeclared:
        return declared(number)

    return asked.record(
        job, Recording(), decide, "anna", after=lambda _: None, key=None, request_hash="r", expected_seq=None
    ).entry.seq  # fmt: skip


@pytest.fixture
def written(address: str) -> str:
    """Two jobs of six entries each."""
    with open_database(address) as database:
        asked = keeper(database)
        for job in JOBS:
            first = p.JobOpened(name=job, units="m", datum="local", rules=p.Rules())
            asked.open_job(job, Recording(), first, "anna", key=None, request_hash="r")
            for number in range(2, LAST + 1):
                assert bench(asked, job, number) == number
    return address


def held(database: Database) -> tuple[Keeper, Holding]:
    """What a service finds at its start."""
    asked = keeper(database)
    logs = Holding(database, asked.withhold)
    while logs.step():
        pass
    assert logs.done
    assert logs.jobs == len(JOBS)
    return asked, logs


ONE = "job_id = 'pump-house' AND seq = "


def moved(address: str, *pairs: tuple[int, int]) -> None:
    for seq, to in pairs:
        behind(address, f"UPDATE event SET seq = {to} WHERE {ONE}{seq}")  # noqa: S608


def resealed(address: str, seq: int, change: Callable[[Event], None]) -> None:
    """An entry changed by one who knows how hashes are made: the chain is made anew from there on."""
    with open_database(address) as database:

        def work(session: Session) -> None:
            before = None
            for at in range(1, LAST + 1):
                row = session.get(Event, ("pump-house", at))
                assert row is not None
                if at == seq:
                    change(row)
                if before is not None and at >= seq:
                    row.previous_hash = before
                session.flush()
                [event] = events.read_events(session, "pump-house", at - 1, 1)
                row.hash = before = event_hash(replace(event, hash=""))

        database.write(work)


def unknown_type(row: Event) -> None:
    row.type = "dreamt"


def later_version(row: Event) -> None:
    row.payload_version = p.VERSION + 1


def of_another_type(row: Event) -> None:
    row.type = "touched"


Damaging = Callable[[str], None]


def changed(to: str, seq: int = 4) -> Damaging:
    """A column of an entry is another."""
    return lambda address: alter(address, f"UPDATE event SET {to} WHERE {ONE}{seq}")  # noqa: S608


def gone(where: str) -> Damaging:
    """Rows are not there."""
    return lambda address: alter(address, f"DELETE FROM event WHERE {where}")  # noqa: S608


def alter(address: str, statement: str) -> None:
    behind(address, statement)


def strayed(address: str) -> None:
    alter(address, "UPDATE event SET job_id = 'pump-house', seq = 7 WHERE job_id = 'well' AND seq = 6")


DAMAGE: dict[str, tuple[Damaging, int, str]] = {
    "a byte of a payload": (changed("payload = replace(payload, '104', '105')"), 4, "changed-entry"),
    "a hash": (changed("hash = previous_hash"), 4, "changed-entry"),
    "a row in the middle": (gone(f"{ONE}4"), 4, "missing-entry"),
    "the first row": (gone(f"{ONE}1"), 1, "missing-entry"),
    "all rows": (gone("job_id = 'pump-house'"), 1, "missing-entry"),
    "rows swapped": (lambda address: moved(address, (3, 99), (5, 3), (99, 5)), 3, "changed-entry"),
    "a row moved to the end": (lambda address: moved(address, (4, 7)), 4, "missing-entry"),
    "no JSON": (changed("payload = '{'"), 4, "changed-entry"),
    "no time": (changed("recorded_utc = 'noon'", 6), 6, "changed-entry"),
    "a row of another job": (strayed, 7, "changed-entry"),
    "sealed anew, of another type": (lambda address: resealed(address, 4, of_another_type), 4, "changed-entry"),
    "sealed anew, an unknown type": (lambda address: resealed(address, 4, unknown_type), 4, "later-release"),
    "sealed anew, a later version": (lambda address: resealed(address, 4, later_version), 4, "later-release"),
}  # fmt: skip


@pytest.mark.parametrize("what", DAMAGE)
def test_what_is_found_at_the_start(written: str, caplog: pytest.LogCaptureFixture, what: str) -> None:
    """Named, withheld and readable up to there; the other job is served as ever."""
    damaging, seq, code = DAMAGE[what]
    damaging(written)
    with open_database(written) as database, caplog.at_level(logging.ERROR, logger="tipdatum"):
        asked, logs = held(database)
        [damage] = asked.damages
        assert (damage.job, damage.seq, damage.at.code) == ("pump-house", seq, code)
        assert logs.entries >= seq - 1
        assert [f"job 'pump-house' at entry {seq}" in each.getMessage() for each in caplog.records] == [True]
        refusal = p.EventFromTheFutureError if damage.later else LogDamaged
        before = behind(written, "SELECT count(*) FROM event")
        for work in (partial(asked.state, "pump-house"), partial(bench, asked, "pump-house", 9)):
            with pytest.raises(refusal) as refused:
                work()
            assert getattr(refused.value, "seq", seq) == seq
        assert behind(written, "SELECT count(*) FROM event") == before
        assert asked.latest("pump-house") is None
        if seq == 1:
            with pytest.raises(refusal):
                asked.legible("pump-house")
        else:
            found = asked.legible("pump-house")
            assert found.damage == damage
            assert [each.seq for each in found.events] == list(range(1, seq))
            assert found.state.seq == seq - 1
            assert f"up to entry {seq - 1} only" in damage.words
        if what != "a row of another job":
            assert bench(asked, "well", 7) == LAST + 1


def test_whoever_reads_first_finds_it_too(written: str) -> None:
    """No number waits for the look at all logs to be done: each log is held before it is first used."""
    DAMAGE["a byte of a payload"][0](written)
    with open_database(written) as database:
        for work in (
            lambda asked: asked.state("pump-house"), lambda asked: bench(asked, "pump-house", 9),
            lambda asked: asked.catch_up(["pump-house", "well"]), lambda asked: asked.legible("pump-house"),
        ):  # fmt: skip
            asked = keeper(database)
            with suppress(LogDamaged):
                work(asked)
            assert [(each.job, each.seq) for each in asked.damages] == [("pump-house", 4)]
            assert asked.latest("pump-house") is None


def test_one_that_does_not_hold_keeps_nobody_else_behind(written: str) -> None:
    DAMAGE["a byte of a payload"][0](written)
    with open_database(written) as database:
        asked = keeper(database)
        asked.catch_up(JOBS)
        found = asked.latest("well")
        assert found is not None
        assert found.seq == LAST


def test_each_service_finds_it(written: str) -> None:
    DAMAGE["a row in the middle"][0](written)
    with open_database(written) as one, open_database(written) as other:
        assert [held(each)[0].damages[0].seq for each in (one, other)] == [4, 4]


def test_damage_under_a_service_is_found_when_its_record_is_asked_for(written: str) -> None:
    """And from then on what it had in memory gives no number either."""
    with open_database(written) as database:
        asked, _ = held(database)
        assert asked.state("pump-house").seq == LAST
        DAMAGE["a byte of a payload"][0](written)
        assert asked.legible("pump-house").state.seq == 3
        assert asked.latest("pump-house") is None
        with pytest.raises(LogDamaged):
            asked.state("pump-house")


def test_an_entry_that_does_not_fit_what_was_read_before_is_not_gone_on_from(
    written: str, store_kind: str
) -> None:
    """The rows are exchanged for others that hold among themselves, one more among them."""
    with open_database(written) as database:
        asked, _ = held(database)
        asked.state("pump-house")
        resealed(written, LAST, lambda row: setattr(row, "actor", "ben"))
        with open_database(written) as another:
            bench(keeper(another), "pump-house", 7)
        with pytest.raises(LogDamaged) as damaged:
            asked.state("pump-house")
        # A server's last entry is read again each time, a file's is taken to be what it was: the next does not fit it.
        assert damaged.value.seq == (LAST if store_kind == "postgresql" else LAST + 1)
        assert [each.seq for each in asked.damages] == [LAST]


def test_an_end_that_was_cut_off_leaves_no_trace(written: str) -> None:
    """Only what was noted elsewhere tells: a head, or the memory of a service that runs."""
    with open_database(written) as database:
        running, _ = held(database)
        running.state("pump-house")
        [noted] = database.read(lambda s: events.read_events(s, "pump-house", LAST - 1))
        gone(f"{ONE}{LAST}")(written)
        assert held(database)[0].damages == []
        rest = database.read(lambda s: events.read_events(s, "pump-house"))
        found, _ = broken("pump-house", rest, [Head(noted.seq, noted.hash)])
        assert found is not None
        assert (found.seq, found.code) == (LAST, "cut-off")
        if not database.shared:  # a server that lags behind its last word was set back, and is believed
            assert running.legible("pump-house").damage is not None
            assert [(each.seq, each.at.code) for each in running.damages] == [(LAST, "cut-off")]


def test_page_by_page_and_again_where_the_database_did_not_answer(
    written: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(holding, "PAGE", 2)
    behind(written, "UPDATE event SET actor = 'ben' WHERE job_id = 'well' AND seq = 6")
    with open_database(written) as database:
        asked = keeper(database)
        logs = Holding(database, asked.withhold)
        assert logs.step()
        assert (logs.jobs, logs.entries) == (0, 2)
        with monkeypatch.context() as patch:

            def away(_: object) -> None:
                raise OperationalError("away", {}, Exception("away"))

            patch.setattr(database, "read", away)
            assert not logs.step()
            assert not logs.done
        while logs.step():
            pass
        assert logs.done
        assert (logs.jobs, logs.entries) == (2, 2 * LAST - 1)
        assert [(each.job, each.seq) for each in asked.damages] == [("well", 6)]
