"""The service with a few routes of the tests' own, asked in memory or as raw bytes over a socket."""

import asyncio
import json
import socket
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Literal, Self

import httpx
import uvicorn
from fastapi import FastAPI, HTTPException
from fastapi.responses import Response
from pydantic import Field

from kinematics.errors import Fault, Refused
from service.app import create_app
from service.patience import MOST_HEAD, reader
from service.problems import MEDIA_TYPE, Problem
from service.settings import Settings
from service.strict import Strict

LIMIT = 64 * 1024
BULK = 2 * LIMIT
INSIDE = "the pump house key is under the mat"
LARGE = 24 * 1024 * 1024
JSON = {"content-type": "application/json"}
DEADLINE_S = 30.0


class Inner(Strict):
    """An object inside."""

    depth_m: float
    side: Literal["left", "right"] = "left"


class Body(Strict):
    """A body with one of each."""

    number: float
    count: int = Field(1, ge=1, le=9)
    name: str = Field("", max_length=5)
    inner: Inner | None = None
    several: list[Inner] = Field(default_factory=list)
    by_name: dict[Literal["boom", "stick"], float] = Field(default_factory=dict)


def service(folder: Path) -> FastAPI:
    """The real application with the tests' routes beside its own."""
    app = create_app(Settings(data_folder=folder, max_body_bytes=LIMIT, max_bulk_body_bytes=BULK))

    @app.post("/v1/bodies")
    def take(asked: Body) -> Body:
        return asked

    @app.get("/v1/failures")
    def fail() -> None:
        raise RuntimeError(INSIDE)

    @app.get("/v1/gateways")
    def gateway() -> None:
        raise HTTPException(502, INSIDE)

    @app.get("/v1/conflicts")
    def conflict() -> None:
        raise HTTPException(428, "say which state you saw")

    @app.get("/v1/own")
    def own() -> None:
        raise Problem("name-taken", detail="mine", headers={"Retry-After": "7"})

    @app.get("/v1/large")
    def large() -> Response:
        return Response(bytes(LARGE))

    @app.post("/v1/refusals")
    def refuse(codes: list[str]) -> None:
        raise Refused(
            Fault(code, "inner.depth_m", "1 \udc80", "2", "", {"a_m": 1.0, "b_m": float("nan")})
            for code in codes
        )

    return app


class Door:
    """Asks the application in memory; every answer's shape is checked on the way."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app
        self._runner = asyncio.Runner()
        self._lifespan = app.router.lifespan_context(app)

    def __enter__(self) -> Self:
        self._runner.__enter__()
        self._runner.run(self._lifespan.__aenter__())
        return self

    def __exit__(self, *_: object) -> None:
        self._runner.run(self._lifespan.__aexit__(None, None, None))
        self._runner.close()

    def ask(
        self, method: str, path: str, content: bytes | AsyncIterator[bytes] | None = None,
        headers: dict[str, str] | list[tuple[str, str]] | None = None,
    ) -> httpx.Response:  # fmt: skip
        """One request."""

        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8311") as client:
                return await client.request(method, path, content=content, headers=headers)

        answer = self._runner.run(go())
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["content-security-policy"].startswith("default-src 'none'")
        if answer.status_code >= 400:
            told(answer.status_code, answer.headers["content-type"], answer.content)
        return answer

    def post(self, path: str, body: object, **headers: str) -> httpx.Response:
        """JSON, or bytes and text sent as they are."""
        content = (
            body
            if isinstance(body, bytes)
            else body.encode()
            if isinstance(body, str)
            else json.dumps(body).encode()
        )
        return self.ask("POST", path, content, JSON | headers)


def told(status: int, media_type: str, content: bytes) -> dict[str, Any]:
    """A problem document, held to the one shape all of them have."""
    assert media_type == MEDIA_TYPE
    document = json.loads(content, parse_constant=_no_constant)
    assert set(document) == {"type", "title", "status", "detail", "instance", "errors"}
    assert document["status"] == status
    assert document["type"].startswith("/guide/problems#")
    assert document["instance"].startswith("urn:uuid:")
    assert document["title"]
    assert document["detail"]
    assert len(document["errors"]) <= 100
    for each in document["errors"]:
        assert set(each) == {"pointer", "code", "expected", "found", "advice", "numbers"}
        assert each["pointer"] == "" or each["pointer"].startswith("/")
        assert each["code"]
        assert each["expected"]
        assert each["found"]
    return dict(document)


def _no_constant(name: str) -> None:
    raise AssertionError(f"{name} in a document that must be JSON")


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.up = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        self.up.set()


@contextmanager
def serving(app: FastAPI, http: str) -> Iterator[int]:
    """A real uvicorn on a free port in a thread of its own, with one of the two readers of HTTP; yields the port."""
    with closing(socket.create_server(("127.0.0.1", 0))) as listener:
        reads = reader(strict=http == "h11")
        config = uvicorn.Config(
            app, log_level="critical", http=reads, h11_max_incomplete_event_size=MOST_HEAD, lifespan="on"
        )
        server = _Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            assert server.up.wait(DEADLINE_S), "the server did not start"
            yield listener.getsockname()[1]
        finally:
            server.should_exit = True
            thread.join(DEADLINE_S)
            assert not thread.is_alive()
