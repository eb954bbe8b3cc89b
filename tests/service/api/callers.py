"""Requests that come from several people."""

from collections.abc import Iterator
from contextlib import contextmanager

from service.access.caller import Caller, Role
from service.api.door import caller_of
from service.book.keeper import Keeper
from service.book.profiles import Profiles
from service.store import utc_now

from .doing import Client, JobDoer, Json


@contextmanager
def asking(client: Client, name: str, machines: frozenset[str] | None = None) -> Iterator[None]:
    """Requests come from this caller, of any role, for these machines; None: for every one."""
    overrides = client.app.dependency_overrides
    before = dict(overrides)
    overrides[caller_of] = lambda: Caller(name, frozenset(Role), machines)
    try:
        yield
    finally:
        overrides.clear()
        overrides.update(before)


def by(job: JobDoer, who: str, what: str, body: Json, status: int = 201, **headers: str) -> Json:
    with asking(job.client, who):
        answer: Json = job.post(what, body, status, **headers)
        return answer


def refused(job: JobDoer, who: str, what: str, body: Json, status: int) -> dict[str, str]:
    with asking(job.client, who):
        return job.refused(what, body, status)


def acknowledge(job: JobDoer, *seqs: int) -> Json:
    answer: Json = job.post("acknowledgements", {"seqs": list(seqs)})
    return answer


def waiting(job: JobDoer) -> list[int]:
    return [each["seq"] for each in job.get()["waiting"]]


def as_on_disk(job: JobDoer) -> None:
    """A keeper that has seen nothing reads the same state."""
    app = job.client.app
    fresh = Keeper(app.state.database, Profiles(app.state.database, utc_now)).state(job.id)
    assert fresh == app.state.keeper.state(job.id)
