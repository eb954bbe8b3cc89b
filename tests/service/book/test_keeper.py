"""What a keeper holds in memory against a log that others write too."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from service.book import payloads as p
from service.book.keeper import Keeper
from service.book.profiles import Profiles
from service.book.requests import Recording
from service.book.studies import Studies
from service.store import Database, open_database, studies, verify_chain
from tests.service.postgres import own_schema
from tests.service.store.making import behind


def now() -> datetime:
    return datetime.now(UTC)


@pytest.fixture
def address(own_postgres: str) -> str:
    return own_schema(own_postgres)


@pytest.fixture
def pair(address: str) -> Iterator[tuple[Keeper, Keeper]]:
    """Two services on one database, with a job."""
    with open_database(address) as one, open_database(address) as other:
        keepers = keeper(one), keeper(other)
        first = p.JobOpened(name="Pit", units="m", datum="local", rules=p.Rules())
        keepers[0].open_job("pit", Recording(), first, "anna", key=None, request_hash="r")
        yield keepers


def keeper(database: Database) -> Keeper:
    return Keeper(database, Profiles(database, now))


def bench(asked: Keeper, name: str) -> int:
    """A benchmark recorded by one of them; its entry."""
    payload = p.BenchmarkDeclared(name=name, elevation_m=100.0, entered="100 m")
    return asked.record(
        "pit", Recording(), lambda _state, _seq: payload, "anna", after=lambda _: None, key=None, request_hash="r",
        expected_seq=None,
    ).entry.seq  # fmt: skip


def names(asked: Keeper) -> list[str]:
    return [e.payload.name for e in asked.state("pit").entries if isinstance(e.payload, p.BenchmarkDeclared)]


def test_each_decides_and_answers_on_what_the_other_recorded(pair: tuple[Keeper, Keeper]) -> None:
    one, other = pair
    assert [bench(one, "a"), bench(other, "b"), bench(one, "c")] == [2, 3, 4]
    assert names(one) == names(other) == ["a", "b", "c"]
    assert verify_chain(one.stored("pit", 10)) is None


def test_what_others_recorded_is_caught_up_with(pair: tuple[Keeper, Keeper]) -> None:
    one, other = pair
    one.state("pit")
    bench(other, "a")
    before = one.latest("pit")
    assert before is not None
    assert before.seq == 1, "nobody has asked"
    one.catch_up(["pit", "elsewhere"])
    after = one.latest("pit")
    assert after is not None
    assert after.seq == 2
    one.catch_up(["pit"])
    assert one.latest("pit") is after


@pytest.mark.parametrize("instead", [None, "z"])
def test_a_server_that_has_lost_entries_is_believed(
    pair: tuple[Keeper, Keeper], address: str, instead: str | None
) -> None:
    """Set back to a backup, with something else recorded since or nothing: what was lost must not be shown."""
    one, other = pair
    for name in ("a", "b"):
        bench(one, name)
    assert names(other) == ["a", "b"]
    behind(address, "DELETE FROM event WHERE seq > 2")
    if instead is not None:
        with open_database(address) as third:
            bench(keeper(third), instead)
    there = ["a"] if instead is None else ["a", instead]
    one.catch_up(["pit"])
    kept = one.latest("pit")
    assert kept is not None
    assert kept.seq == 1 + len(there), "noticed, whether or not the log is as long as it was"
    assert names(one) == names(other) == there
    assert bench(one, "d") == 2 + len(there)
    assert names(other) == [*there, "d"]


def test_a_study_submitted_to_another_service_keeps_nobody_from_starting(
    address: str, tmp_path: Path
) -> None:
    new = studies.NewStudy("s1", "Reach", ("m", "h1"), ("a", "h2"), "i", "x")
    with open_database(address) as database:
        database.write(lambda s: studies.put_study(s, new, actor="anna", recorded_utc=now()))
        here = Studies(database, Profiles(database, now), tmp_path, now, None)
        here.start()
        here.close()
        told = here.progress(here.listed(None, 1)[0])
    assert told.state == "failed"
    assert [each["code"] for each in told.faults] == ["no-study-here"]
