"""Whether the service and its database answer, and which logs do not hold."""

import asyncio
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import Field

from service.book.holding import Holding
from service.book.keeper import Keeper
from service.fleet.fleet import Fleet
from service.strict import Strict

router = APIRouter(tags=["service"])


class DamagedLog(Strict):
    """A log that gives no number and takes no entry."""

    job: str
    entry: int = Field(description="The first that is not as it was written, or is not there.")
    why: str


class Health(Strict):
    """The service and its database answer."""

    status: Literal["good", "damaged"] = Field(
        examples=["good"], description='"damaged": logs of jobs do not hold; all other jobs are served.'
    )
    broker: str | None = Field(
        None, examples=["here"], description='"here", or "away: " and why; left out where the service has no broker.'
    )  # fmt: skip
    logs: str | None = Field(
        None, examples=["held against themselves: 340 jobs so far"],
        description="Left out once the log of every job was held against itself after the start.",
    )  # fmt: skip
    damaged_jobs: int | None = Field(None, description="How many logs do not hold; left out where all do.")
    damaged: list[DamagedLog] | None = Field(
        None,
        description="Which they are, the first hundred; left out with access control on, where /metrics tells it.",
    )


MOST_TOLD = 100


@router.get(
    "/v1/health", summary="Whether the service and its database answer", response_model_exclude_none=True
)  # fmt: skip
async def get_health(request: Request) -> Health:
    """Whether the service and its database answer, and which logs do not hold. Whoever asks while that is being found
    out shares the answer."""
    state = request.app.state
    running: asyncio.Task[None] | None = getattr(state, "health", None)
    if running is None or running.done():
        running = asyncio.create_task(run_in_threadpool(state.database.check))
        state.health = running
    await asyncio.shield(running)
    fleet: Fleet | None = state.fleet
    logs: Holding = state.logs
    keeper: Keeper = state.keeper
    found = keeper.damages
    told = [DamagedLog(job=each.job, entry=each.seq, why=each.why) for each in found[:MOST_TOLD]]
    return Health(
        status="damaged" if found else "good",
        broker=None if fleet is None else fleet.status,
        logs=None if logs.done else f"held against themselves: {logs.jobs} jobs so far",
        damaged_jobs=len(found) or None,
        damaged=told if told and state.access is None else None,
    )
