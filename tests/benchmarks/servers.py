"""Three servers in one process for the benchmarks: the service, and the empty routes for one pose and for bulk.

Prints their ports.
"""

import asyncio
import gc
import json
import sys
import tempfile
from pathlib import Path

import uvicorn
from fastapi import FastAPI, Request, Response

from kinematics import LengthUnit
from service.api import column_arrow, columns
from service.api.column_request import Head, Pair
from service.api.column_solving import solve as solve_columns
from service.api.column_solving import workers
from service.api.poses import PoseOut, PoseRequest, pose_out
from service.app import create_app, open_store
from service.book.posing import solve
from service.book.profiles import Profiles
from service.book.requests import PoseIn
from service.book.state import Named
from service.guard import ARROW, Guard
from service.serving import bind
from service.settings import Settings
from service.store import utc_now
from tests.benchmarks import bulk
from tests.benchmarks.door import BODY
from tests.demo_machine import arm_of_demo


def floor_app() -> FastAPI:
    """An empty route with the same models: it answers the same document, computed once."""
    app = FastAPI()
    asked = json.loads(BODY)
    given = PoseIn.model_validate({"angles_deg": asked["angles_deg"], "attitude_deg": asked["attitude_deg"]})
    named = Named("crawler-14t", "0" * 64)
    ready = pose_out(solve(arm_of_demo(), given), named, named, LengthUnit.M)

    @app.post("/v1/poses")
    async def answer(asked: PoseRequest) -> PoseOut:
        return ready

    return app


def empty_bulk_app(settings: Settings) -> FastAPI:
    """An empty route behind the same guard: it takes the same body and answers the same bytes, computed once."""
    app = FastAPI()
    ready = _bulk_answer(settings)

    @app.post(columns.PATH)
    async def answer(request: Request) -> Response:
        async for _ in request.stream():
            pass
        return Response(ready, media_type=ARROW)

    app.add_middleware(
        Guard, max_body_bytes=settings.max_body_bytes, bulk={columns.PATH: settings.max_bulk_body_bytes}
    )
    return app


def _bulk_answer(settings: Settings) -> bytes:
    pairs = [Pair(machine="crawler-14t", attachment="tilting-1800")]
    asked = column_arrow.read(bulk.stream(), Head(machines=pairs, outputs=list(bulk.WANTED)))
    with open_store(settings) as database, workers() as crew:
        profiles = Profiles(database, utc_now)
        profiles.load_shipped()
        return bytes(column_arrow.write(solve_columns(asked, profiles, crew)))


async def serve(configs: list[uvicorn.Config]) -> None:
    """All on free ports, which are printed, until terminated."""
    servers = []
    ports = []
    for config in configs:
        listener = bind("127.0.0.1", 0)
        ports.append(listener.getsockname()[1])
        servers.append(uvicorn.Server(config).serve(sockets=[listener]))
    gc.collect()
    gc.freeze()  # as the service does
    sys.stdout.write(json.dumps(ports) + "\n")
    sys.stdout.flush()
    await asyncio.gather(*servers)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        settings = Settings(data_folder=Path(name))
        apps = create_app(settings), floor_app(), empty_bulk_app(settings)
        asyncio.run(serve([uvicorn.Config(app, log_level="warning") for app in apps]))
