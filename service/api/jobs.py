"""Jobs: one pit, its units, its log. curl -s http://127.0.0.1:8311/v1/jobs"""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response
from pydantic import Field

from service.book import payloads as p
from service.book import requests as q
from service.book.holding import Damage
from service.book.keeper import Keeper
from service.book.state import JobState
from service.store import LogDamaged
from service.strict import Strict

from . import answers as a
from .door import KeeperDep, RecorderDep
from .level_book import LevelBookOut, level_book, withdrawn_directly

router = APIRouter(prefix="/v1/jobs", tags=["jobs"])
JobId = Annotated[str, Path(description="The job's id.", max_length=40)]


class JobLine(Strict):
    """A job in a list."""

    id: str
    name: str


class JobsOut(Strict):
    """Jobs in order of id; `next` is the cursor of the following page."""

    jobs: list[JobLine]
    next: str | None


class EventOut(Strict):
    """An entry of the log, as it was recorded."""

    seq: int
    type: str
    version: int
    uuid: str
    actor: str
    observed_utc: str
    recorded_utc: str
    status: str = Field(
        description="counts, waits (for the seat), withdrawn, void (hung on a withdrawn entry), or turned down."
    )
    payload: dict[str, Any] = Field(description="Lengths in metres, angles in degrees.")


class EventsOut(Strict):
    """Entries after a seq, oldest first; `next` is the `after` of the following page."""

    events: list[EventOut]
    next: int | None
    ends_because: str | None = Field(
        None,
        description="Of a log that does not hold: how far it can be relied on, and why. Left out where it holds.",
    )


@router.get("")
def list_jobs(
    keeper: KeeperDep,
    after: Annotated[str | None, Query(description="Cursor from `next`.", max_length=40)] = None,
    limit: Annotated[int, Query(ge=1, le=500, description="At most so many.")] = 100,
) -> JobsOut:
    """All jobs."""
    rows = keeper.jobs(after, limit + 1)
    more = rows[limit - 1][0] if len(rows) > limit else None
    return JobsOut(jobs=[JobLine(id=i, name=n) for i, n in rows[:limit]], next=more)


@router.post("", status_code=201)
def open_job(asked: q.JobIn, recorder: RecorderDep, response: Response) -> a.JobOut:
    """Open a job. Its units cannot change later."""
    first = p.JobOpened(
        name=asked.name, units=asked.units, datum=asked.datum, rules=asked.rules, estimates=asked.estimates,
        note=asked.note,
    )  # fmt: skip
    recorder.no_match()
    done = recorder.keeper.open_job(
        asked.id,
        asked,
        first,
        recorder.caller.name,
        key=recorder.key,
        request_hash=recorder.request_hash(asked),
    )
    response.headers["Location"] = f"/v1/jobs/{asked.id}"
    response.headers["ETag"] = f'"{done.entry.seq}"'
    return a.job_out(asked.id, done.state)


@router.get("/{job}")
def get_job(job: JobId, keeper: KeeperDep, response: Response) -> a.JobOut:
    """What the log says now: heights, plane, points, rules, estimates, what is missing and what waits."""
    state = keeper.state(job)
    response.headers["ETag"] = f'"{state.seq}"'
    return a.job_out(job, state)


@router.get("/{job}/events", response_model_exclude_unset=True)
def list_events(
    job: JobId,
    keeper: KeeperDep,
    after: Annotated[int, Query(ge=0, description="Entries after this one.")] = 0,
    limit: Annotated[int, Query(ge=1, le=1000, description="At most so many.")] = 200,
) -> EventsOut:
    """The log itself. Nothing in it is ever changed or deleted. One that was altered from outside is told up to there."""
    state, damage = _as_far_as_it_holds(keeper, job)
    rest = [e for e in state.entries if e.seq > after]
    withdrawn = withdrawn_directly(state)
    page = [
        EventOut(
            seq=e.seq, type=e.type, version=p.VERSION, uuid=e.uuid, actor=e.actor,
            observed_utc=a.stamp(e.observed_utc.isoformat()), recorded_utc=a.stamp(e.recorded_utc.isoformat()),
            status=a.entry_status(e, state, withdrawn), payload=e.payload.model_dump(mode="json"),
        )
        for e in rest[:limit]
    ]  # fmt: skip
    told = {} if damage is None else {"ends_because": damage.words}
    return EventsOut(events=page, next=page[-1].seq if len(rest) > limit else None, **told)


def _as_far_as_it_holds(keeper: Keeper, job: str) -> tuple[JobState, Damage | None]:
    try:
        return keeper.state(job), None
    except (LogDamaged, p.EventFromTheFutureError):
        found = keeper.legible(job)
        return found.state, found.damage


@router.get("/{job}/benchmarks")
def list_benchmarks(job: JobId, keeper: KeeperDep) -> list[a.PointOut]:
    """Benchmarks and turning points, with elevations."""
    return a.job_out(job, keeper.state(job)).points


@router.get("/{job}/targets")
def list_targets(job: JobId, keeper: KeeperDep) -> list[a.TargetOut]:
    """The depth sheet: every target with its layers summed."""
    state = keeper.state(job)
    return [a.target_out(state, name) for name in state.targets]


@router.get("/{job}/level-book")
def get_level_book(job: JobId, keeper: KeeperDep) -> LevelBookOut:
    """The log as a surveyor's level book: staff, elevation, height of instrument, misclosure."""
    return level_book(keeper.state(job))
