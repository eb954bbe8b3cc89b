"""Two servers in one process for the benchmark: the service, and the empty route. Prints their ports."""

import asyncio
import json
import sys
import tempfile
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from kinematics import LengthUnit
from service.api.poses import PoseOut, PoseRequest, pose_out
from service.app import create_app
from service.book.posing import solve
from service.book.requests import PoseIn
from service.book.state import Named
from service.serving import bind
from service.settings import Settings
from service.shift import arm_of_demo
from tests.benchmarks.door import BODY


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


async def serve(folder: Path) -> None:
    """Both on free ports until terminated."""
    servers = []
    ports = []
    for app in (create_app(Settings(data_folder=folder)), floor_app()):
        listener = bind("127.0.0.1", 0)
        ports.append(listener.getsockname()[1])
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
        servers.append(server.serve(sockets=[listener]))
    sys.stdout.write(json.dumps(ports) + "\n")
    sys.stdout.flush()
    await asyncio.gather(*servers)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        asyncio.run(serve(Path(name)))
