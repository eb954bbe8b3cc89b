"""Append, replay, idempotency, sequence."""

from datetime import datetime, timedelta, timezone
from threading import Barrier, Thread

import pytest
from sqlalchemy.orm import Session

from service.store import (
    Database,
    IdempotencyConflict,
    JobExists,
    JobUnknown,
    NewEvent,
    NotStorable,
    SequenceMismatch,
    StoredJob,
    events,
    verify_chain,
)
from tests.amounts import several

from .conftest import Clock
from .making import OBSERVED, append, log, open_job, touched

ON_EVERY_DATABASE = True


def never(_: int) -> NewEvent:
    raise AssertionError("decide was asked")


def test_what_is_recorded_is_what_is_read(database: Database, now: Clock) -> None:
    first = open_job(database, now)
    second, replayed = append(
        database, now, touched(z_m=-1.4224, corners=("left", "right")), key="k1", request_hash="r1"
    )
    assert not replayed
    assert log(database) == [first, second]
    assert (first.seq, second.seq) == (1, 2)
    assert first.previous_hash == events.NO_PREVIOUS
    assert second.previous_hash == first.hash
    assert second.payload == {"z_m": -1.4224, "corners": ["left", "right"]}
    assert (second.type, second.payload_version, second.actor) == ("touched", 1, "operator")
    assert second.observed_utc == OBSERVED
    assert second.recorded_utc == now.time
    assert (second.idempotency_key, second.request_hash) == ("k1", "r1")


def test_decide_is_given_the_last_seq(database: Database, now: Clock) -> None:
    open_job(database, now)
    asked: list[int] = []

    def decide(last: int) -> NewEvent:
        asked.append(last)
        return touched()

    for _ in range(3):
        database.write(
            lambda s: events.record(
                s, "pump-house", decide, idempotency_key=None, request_hash=None, expected_seq=None, now=now
            )
        )
    assert asked == [1, 2, 3]
    assert database.read(lambda s: events.last_seq(s, "pump-house")) == 4


def test_pages_of_a_log(database: Database, now: Clock) -> None:
    open_job(database, now)
    for station in range(5):
        append(database, now, touched(station=station))
    page = database.read(lambda s: events.read_events(s, "pump-house", after_seq=2, limit=3))
    assert [event.seq for event in page] == [3, 4, 5]
    assert database.read(lambda s: events.read_events(s, "pump-house", after_seq=6)) == []
    with pytest.raises(ValueError, match="at least 1"):
        database.read(lambda s: events.read_events(s, "pump-house", limit=0))


def test_a_repeat_returns_the_event_and_asks_nobody(database: Database, now: Clock) -> None:
    open_job(database, now)
    event, _ = append(database, now, touched(z_m=1.0), key="k", request_hash="same")
    append(database, now, touched(z_m=2.0))

    def repeat(session: Session) -> tuple[events.StoredEvent, bool]:
        # The stale expected_seq must not matter: the first attempt met it.
        return events.record(
            session, "pump-house", never, idempotency_key="k", request_hash="same", expected_seq=1, now=now
        )

    assert database.write(repeat) == (event, True)
    assert len(log(database)) == 3


def test_a_key_for_another_request_is_a_conflict(database: Database, now: Clock) -> None:
    open_job(database, now)
    append(database, now, touched(z_m=1.0), key="k", request_hash="one")
    with pytest.raises(IdempotencyConflict) as refused:
        append(database, now, touched(z_m=2.0), key="k", request_hash="two", expected_seq=99)
    assert (refused.value.job_id, refused.value.key, refused.value.seq) == ("pump-house", "k", 2)
    assert len(log(database)) == 2


def test_a_key_belongs_to_its_job(database: Database, now: Clock) -> None:
    for job_id in ("north", "south"):
        open_job(database, now, job_id)
        _, replayed = append(database, now, touched(), job_id=job_id, key="k", request_hash=job_id)
        assert not replayed


def test_a_key_without_a_request_hash_is_refused(database: Database, now: Clock) -> None:
    open_job(database, now)
    with pytest.raises(ValueError, match="expected a request hash"):
        append(database, now, touched(), key="k")


def test_expected_seq(database: Database, now: Clock) -> None:
    open_job(database, now)
    event, _ = append(database, now, touched(), expected_seq=1)
    assert event.seq == 2
    with pytest.raises(SequenceMismatch) as refused:
        database.write(
            lambda s: events.record(
                s, "pump-house", never, idempotency_key=None, request_hash=None, expected_seq=1, now=now
            )
        )
    assert (refused.value.job_id, refused.value.expected, refused.value.found) == ("pump-house", 1, 2)
    assert len(log(database)) == 2


def test_an_unknown_job(database: Database, now: Clock) -> None:
    with pytest.raises(JobUnknown) as refused:
        append(database, now, touched(), job_id="nowhere", key="k", request_hash="r", expected_seq=4)
    assert refused.value.job_id == "nowhere"
    with pytest.raises(JobUnknown):
        log(database, "nowhere")
    with pytest.raises(JobUnknown):
        database.read(lambda s: events.last_seq(s, "nowhere"))


def test_a_job_is_opened_once(database: Database, now: Clock) -> None:
    def create(key: str | None, request_hash: str | None) -> tuple[events.StoredEvent, bool]:
        return database.write(
            lambda s: events.create_job(
                s, "pit", "Pit", touched(), idempotency_key=key, request_hash=request_hash, now=now
            )
        )

    first, replayed = create("k", "r")
    assert not replayed
    assert create("k", "r") == (first, True)
    with pytest.raises(IdempotencyConflict):
        create("k", "other")
    with pytest.raises(JobExists) as refused:
        create("another key", "r")
    assert refused.value.job_id == "pit"
    with pytest.raises(JobExists):
        create(None, None)
    append(database, now, touched(), job_id="pit", key="later", request_hash="r")
    with pytest.raises(JobExists):  # the key of a later event did not open the job
        create("later", "r")
    assert len(log(database, "pit")) == 2


def test_jobs_are_listed_in_pages(database: Database, now: Clock) -> None:
    opened = {job_id: open_job(database, now, job_id).recorded_utc for job_id in ("c", "a", "b")}
    assert database.read(events.list_jobs) == [StoredJob(i, "Pump house", opened[i]) for i in "abc"]
    assert [job.id for job in database.read(lambda s: events.list_jobs(s, limit=2))] == ["a", "b"]
    assert [job.id for job in database.read(lambda s: events.list_jobs(s, after="b", limit=2))] == ["c"]


def test_all_faults_of_a_new_event_at_once() -> None:
    with pytest.raises(NotStorable) as refused:
        NewEvent("", 0, {}, "a\x00b", OBSERVED.replace(tzinfo=None))
    assert [place for place, _, _ in refused.value.faults] == [
        "type",
        "actor",
        "payload_version",
        "observed_utc",
    ]


@pytest.mark.parametrize("payload", [{"z_m": float("nan")}, {"z_m": float("inf")}, {"when": OBSERVED}])
def test_a_payload_that_is_no_json_leaves_nothing(
    database: Database, now: Clock, payload: dict[str, float | datetime]
) -> None:
    open_job(database, now)
    with pytest.raises(NotStorable):
        append(database, now, touched(**payload))
    assert len(log(database)) == 1


def test_a_time_in_another_zone_is_the_same_time(database: Database, now: Clock) -> None:
    open_job(database, now)
    there = OBSERVED.astimezone(timezone(timedelta(hours=-7)))
    event, _ = append(database, now, NewEvent("touched", 1, {}, "operator", there))
    assert event.observed_utc == OBSERVED
    assert event.observed_utc.utcoffset() == timedelta()


def test_rollback_leaves_nothing(database: Database, now: Clock) -> None:
    open_job(database, now)
    before = log(database)

    def half(session: Session) -> None:
        events.create_job(session, "half", "Half", touched(), now=now)
        events.record(
            session,
            "pump-house",
            lambda _: touched(),
            idempotency_key="k",
            request_hash="r",
            expected_seq=1,
            now=now,
        )
        raise ArithmeticError("the linkage does not close")

    with pytest.raises(ArithmeticError, match="does not close"):
        database.write(half)
    assert log(database) == before
    assert [job.id for job in database.read(events.list_jobs)] == ["pump-house"]
    event, replayed = append(database, now, touched(), key="k", request_hash="r", expected_seq=1)
    assert (event.seq, replayed) == (2, False)


def test_threads_neither_lose_nor_double(database: Database, now: Clock) -> None:
    open_job(database, now)
    threads, each = 6, several(30)
    together = Barrier(threads)
    acknowledged: list[tuple[int, str]] = []

    def run(number: int) -> None:
        together.wait(timeout=20)
        for count in range(each):
            event, replayed = append(database, now, touched(thread=number, count=count))
            assert not replayed
            acknowledged.append((event.seq, str(event.uuid)))  # list.append is atomic
            assert log(database)[-1].seq >= event.seq

    crew = [Thread(target=run, args=(number,)) for number in range(threads)]
    for thread in crew:
        thread.start()
    for thread in crew:
        thread.join(timeout=60)
    written = log(database)
    assert [event.seq for event in written] == list(range(1, threads * each + 2))
    assert sorted(acknowledged) == [(event.seq, str(event.uuid)) for event in written[1:]]
    assert verify_chain(written) is None


def test_of_two_that_saw_the_same_seq_one_wins(database: Database, now: Clock) -> None:
    open_job(database, now)
    together = Barrier(2)
    outcome: list[str] = []

    def run() -> None:
        together.wait(timeout=20)
        try:
            append(database, now, touched(), expected_seq=1)
            outcome.append("recorded")
        except SequenceMismatch:
            outcome.append("refused")

    pair = [Thread(target=run) for _ in range(2)]
    for thread in pair:
        thread.start()
    for thread in pair:
        thread.join(timeout=60)
    assert sorted(outcome) == ["recorded", "refused"]


def test_the_latest_of_many_jobs_in_one_question(database: Database, now: Clock) -> None:
    opened = {name: open_job(database, now, name).uuid for name in ("b", "a", "c")}
    last, _ = append(database, now, touched(), job_id="a")
    found = database.read(lambda s: events.latest_of(s, ["a", "b", "nothing"]))
    assert found == {"a": last.uuid, "b": opened["b"]}
    assert database.read(lambda s: events.latest_of(s, [])) == {}
