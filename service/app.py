"""create_app(settings): assembly only."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from importlib.metadata import version
from typing import Any, Literal

from fastapi import Depends, FastAPI, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import PlainTextResponse, Response
from fastapi_offline import FastAPIOffline

from . import pages, problems
from .access import rights
from .access.admission import Access
from .api import ROUTERS, calibrations, columns, error_budgets, health, poses
from .api.brokered import at_broker
from .api.column_solving import workers
from .api.door import admitted
from .book.calibrations import Calibrations
from .book.holding import BEFORE_READY_S, Holding
from .book.keeper import Keeper
from .book.payloads import EventFromTheFutureError
from .book.profiles import Profiles
from .book.studies import Studies
from .classroom.classes import Classes
from .fleet.fleet import Fleet
from .guard import Guard
from .live import strikes
from .live.hub import LOOK_EVERY_S, LOOK_EVERY_SHARED_S, Hub
from .live.warm import warm_shipped
from .settings import Settings
from .store import Database, open_database, utc_now
from .strict import Strict
from .watching import CONTENT_TYPE, Counts, Watched

_ABOUT = """Cutting-edge elevation, cross-slope and cut or fill from joint angles, a benchmark and laser strikes.

**Advisory only**, not a safety function: it never commands a machine. Cautions: [/guide/cautions](/guide/cautions).
Every refusal is a problem document: [/guide/problems](/guide/problems).
"""


_TAGS = [
    {"name": "poses", "description": "One pose, or columns of many: where the cutting edge, receiver and pins are, and "
     "what that hangs on. No job needed. "
     "`curl -s localhost:8311/v1/poses -H 'content-type: application/json' -d @pose.json`"},
    {"name": "inverse", "description": "Where joints must stand for an edge to be where it is wanted. Advice, never a "
     "command. No job needed. See /guide/inverse. "
     "`curl -s localhost:8311/v1/placements -H 'content-type: application/json' -d @placement.json`"},
    {"name": "budgets", "description": "How uncertain a readout will be over a working zone, before anything is bought "
     "or dug. No job needed. See /guide/budget. "
     "`curl -s localhost:8311/v1/error-budgets -H 'content-type: application/json' -d @budget.json`"},
    {"name": "laboratory", "description": "What one machine can do: digging envelope, linkages over their stroke, tool "
     "forces. No job needed. See /guide/laboratory. "
     "`curl -s localhost:8311/v1/digging-envelopes -H 'content-type: application/json' -d @envelope.json`"},
    {"name": "calibrations", "description": "Sensor zeros and dimensions from the machine's own touches and levels; "
     "applied as new profile revisions, kept, rolled back. No job needed. See /guide/calibration. "
     "`curl -s 'localhost:8311/v1/calibrations/unknowns?machine=crawler-14t&attachment=digging-1500'`"},
    {"name": "studies", "description": "Geometry varied by a seeded design and posed, by a worker beside the service. No "
     "job needed. See /guide/studies. `curl -s localhost:8311/v1/studies`"},
    {"name": "classroom", "description": "What the page /classroom asks for: a usual pose, lessons with computed "
     "answers, exercises that are scored. No job needed. See /guide/classroom. "
     "`curl -s 'localhost:8311/v1/stances?machine=crawler-14t&attachment=digging-1500&units=m'`"},
    {"name": "profiles", "description": "Measured machines and attachments, immutable by content hash. "
     "`curl -s localhost:8311/v1/machines/crawler-14t`"},
    {"name": "jobs", "description": "What a job's log says now: heights, depth sheet, level book. The demo's, kept with "
     "`tipdatum demo --keep DIR`: `curl -s localhost:8311/v1/jobs/pump-house/level-book`"},
    {"name": "records", "description": "What is recorded on a job, answered once it is on disk. "
     "`curl -s localhost:8311/v1/jobs/pump-house/moves -H 'content-type: application/json' -d '{}'`"},
    {"name": "checks", "description": "What was dug, checked, summed up and printed for whoever inspects it. See "
     "/guide/record. `curl -s localhost:8311/v1/jobs/pump-house/record?format=html`"},
    {"name": "daily trust", "description": "A staff beside the edge, a tape along the bucket, two staffs round the "
     "laser: whether the tool is within its uncertainty. See /guide/daily. "
     "`curl -s localhost:8311/v1/jobs/pump-house/daily-trust`"},
    {"name": "certificates", "description": "Staff-checked points all over the zone against an agreed tolerance, to be "
     "handed over. See /guide/acceptance. `curl -s localhost:8311/v1/jobs/pump-house/certificates`"},
    {"name": "readouts", "description": "Cut or fill for a pose, what it hangs on, and why there is no number. "
     "See /guide/shift."},
    {"name": "live", "description": "Readings in by WebSocket (`/v1/jobs/{job}/readings`), the newest readout out by "
     "WebSocket and server-sent events (`/v1/jobs/{job}/readouts/live`), the health of the sensors. See /guide/live. "
     "`curl -sN localhost:8311/v1/jobs/pump-house/readouts/live?rate_hz=2`"},
    {"name": "fitting", "description": "Newly fitted sensors: which moves tell them apart, what each says at rest, what "
     "is wrong, and their zeros by level and plumb line. See /guide/fitting. "
     "`curl -s localhost:8311/v1/jobs/pump-house/fitting/moves`"},
    {"name": "access", "description": "Who is asking, and pages that sign in. Off unless asked for: /guide/access. "
     "`sed 's/^/authorization: Bearer /' office.token | curl -s -H @- localhost:8311/v1/sessions/current`"},
    {"name": "service", "description": "Health and version. `curl -s localhost:8311/v1/health`"},
]  # fmt: skip


class Alive(Strict):
    """The process answers."""

    status: Literal["alive"]


class Version(Strict):
    """Which release answers."""

    version: str


def create_app(settings: Settings) -> FastAPI:
    """The service; opens its database when it starts and closes it when it stops.

    Raises the store's `DatabaseFromTheFuture` or `DatabaseUnreadable` at start.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        with workers() as crew, await run_in_threadpool(open_store, settings) as database:
            profiles = Profiles(database, utc_now)
            for ready in (profiles.load_shipped, warm_shipped, error_budgets.warm, calibrations.warm):
                await run_in_threadpool(ready)
            app.state.database = database
            if settings.access:
                app.state.access = Access(
                    database, utc_now, per_s=settings.requests_per_s, at_once=settings.requests_at_once,
                    session_hours=settings.session_hours,
                )  # fmt: skip
            app.state.profiles = profiles
            app.state.keeper = keeper = Keeper(database, profiles)
            app.state.logs = logs = Holding(database, keeper.withhold)
            await run_in_threadpool(logs.run, BEFORE_READY_S)
            app.state.calibrations = Calibrations(database, profiles, utc_now)
            app.state.classes = Classes(database, utc_now)
            app.state.workers = crew
            app.state.studies = studied = Studies(
                database, profiles, settings.data_folder.resolve() / "studies", utc_now, settings.dask
            )
            await run_in_threadpool(studied.start)
            app.state.hub = hub = Hub(
                keeper, partial(strikes.judge, keeper),
                look_every_s=LOOK_EVERY_SHARED_S if database.shared else LOOK_EVERY_S,
            )  # fmt: skip
            app.state.counts.watch(hub, logs, keeper)
            app.state.judging = asyncio.Lock()
            app.state.fleet = fleet = at_broker(app, settings)
            try:
                async with _running(hub, fleet, logs):
                    yield
            finally:
                await run_in_threadpool(studied.close)

    app: FastAPI = FastAPIOffline(
        title="tipdatum", description=_ABOUT, version=version("tipdatum"), lifespan=lifespan, redoc_url=None,
        # Off, everybody may do everything, and there is nothing to look at.
        dependencies=[Depends(admitted)] if settings.access else [],
        license_info={"name": "MIT"}, redirect_slashes=False, openapi_tags=_TAGS,
        # What was asked is told to nobody; the framework would look for a listener at every request.
        telemetry={"tracing": False, "metrics": False, "logs": False},
        # null: the documentation page must not offer its text to a validator elsewhere.
        swagger_ui_parameters={"validatorUrl": None},
    )  # fmt: skip
    app.state.access = app.state.fleet = None
    app.state.readings_per_s = settings.readings_per_s
    app.state.counts = Counts()
    poses.install(app)
    for router in (*ROUTERS, pages.router):
        app.include_router(router)
    _status_routes(app)
    unknown = rights.undecided(app.routes)
    if unknown:
        raise RuntimeError(
            f"expected every route in the table of rights, found without: {', '.join(unknown)}"
        )
    problems.install(app)
    app.add_exception_handler(
        EventFromTheFutureError,
        problems.answering(
            "database-from-the-future", "A later release wrote an entry of this log; use that one."
        ),
    )
    app.add_middleware(
        Guard, max_body_bytes=settings.max_body_bytes, bulk={columns.PATH: settings.max_bulk_body_bytes},
        hosts=settings.hosts, access=lambda: app.state.access, proxy=settings.proxy,
    )  # fmt: skip
    app.add_middleware(Watched, counts=app.state.counts)
    described = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            columns.document(described())
            rights.document(described())
            problems.document(described())
        return described()

    app.openapi = openapi  # type: ignore[method-assign]
    return app


@asynccontextmanager
async def _running(hub: Hub, fleet: Fleet | None, logs: Holding) -> AsyncIterator[None]:
    """What happens by itself, for as long as the service lasts."""
    works = [asyncio.create_task(hub.run()), asyncio.create_task(logs.go_on())]
    if fleet is not None:
        works.append(asyncio.create_task(fleet.run()))
    try:
        yield
    finally:
        if fleet is not None:
            await fleet.close()
        for work in works:
            work.cancel()
        await asyncio.gather(*works, return_exceptions=True)


def open_store(settings: Settings) -> Database:
    """The database of the settings, made and migrated where needed."""
    if settings.database is None:
        settings.data_folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return open_database(settings.database_url, backed_up=settings.database_backed_up)


def _status_routes(app: FastAPI) -> None:
    app.include_router(health.router)

    @app.get(
        "/metrics", tags=["service"], summary="Counts and lags of this service, for Prometheus",
        response_class=PlainTextResponse,
    )  # fmt: skip
    async def metrics(request: Request) -> Response:
        """Requests, readings, viewers, ages and lags in Prometheus' text format. What each is: /guide/operations.

        curl -s localhost:8311/metrics
        """
        return Response(request.app.state.counts.text(), media_type=CONTENT_TYPE)

    @app.get("/v1/alive", tags=["service"], summary="Whether the service runs, whatever its database does")
    async def alive() -> Alive:
        """Whether the process answers at all: for whoever would start it again. `/v1/health` asks the database too: for
        whoever sends requests here."""
        return Alive(status="alive")

    @app.get("/v1/version", tags=["service"], summary="The release that answers")
    def release() -> Version:
        """The release that answers."""
        return Version(version=version("tipdatum"))
