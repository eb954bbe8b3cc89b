"""The service with access control, in memory: asked by anybody, from any address, at any time."""

import asyncio
import json
from collections.abc import Awaitable, Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Self, TypeVar
from urllib.parse import unquote

import httpx
from fastapi import FastAPI
from starlette.types import Message, Scope

from service.access.admission import Access
from service.access.caller import Role
from service.access.holders import Holders
from service.app import create_app
from service.secret import Credential, mint, parse
from service.settings import Settings
from tests.service.door.making import told

T = TypeVar("T")
Headers = Iterable[tuple[str, str]]
HOST = "127.0.0.1:8311"
ORIGIN = f"http://{HOST}"
VIEWER, OPERATOR, BUILDER, ADMINISTRATOR = Role
# Fast enough that no test meets it unless it means to.
UNHURRIED = {"requests_per_s": 1e6, "requests_at_once": 1_000_000}


class Clock:
    """Stands still until it is put forward."""

    def __init__(self) -> None:
        self.time = datetime(2026, 5, 4, 7, 31, 12, 250, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.time

    def pass_by(self, **time: float) -> None:
        """Later by so many hours, days and so on."""
        self.time += timedelta(**time)


class Site:
    """One service; every request comes from an address of its own unless `sender` says which."""

    def __init__(self, folder: Path, **settings: Any) -> None:
        given = {"data_folder": folder, "access": True, **UNHURRIED, **settings}
        self.folder = folder
        self.settings = Settings(**given)
        self.app: FastAPI = create_app(self.settings)
        self.now = Clock()
        self.passed_s = 0.0
        self._runner = asyncio.Runner()
        self._lifespan = self.app.router.lifespan_context(self.app)
        self._senders = iter(range(1, 1 << 24))

    def __enter__(self) -> Self:
        self._runner.__enter__()
        self._runner.run(self._lifespan.__aenter__())
        self.renew()
        self.holders = Holders(self.app.state.database, self.now)
        return self

    def renew(self) -> None:
        """Let in by the clock as it stands now, as one that has just started does."""
        self.app.state.access = Access(
            self.app.state.database, self.now, per_s=self.settings.requests_per_s, at_once=self.settings.requests_at_once,
            session_hours=self.settings.session_hours, steady=self.steady,
        )  # fmt: skip

    def __exit__(self, *_: object) -> None:
        self._runner.run(self._lifespan.__aexit__(None, None, None))
        self._runner.close()

    def steady(self) -> float:
        """Seconds by the clock that nobody sets: `passed_s`."""
        return self.passed_s

    def run(self, awaited: Awaitable[T]) -> T:
        """The result of something awaited, on the loop that serves."""

        async def wait() -> T:
            return await awaited

        return self._runner.run(wait())

    def create(
        self, name: str, *roles: Role, machines: list[str] | None = None, days: float | None = 180.0
    ) -> str:
        """A new holder's token; an operator has every machine unless some are named."""
        return self.holders.create(name, roles, machines, days).credential.text

    def ask(
        self, method: str, path: str, body: object = None, *, token: str | None = None, cookie: str | None = None,
        headers: Headers = (), sender: str | None = None, scheme: str = "http", host: str = HOST,
        kind: str = "application/json",
    ) -> httpx.Response:  # fmt: skip
        """One request; the shape of a refusal and the security headers are checked on the way."""
        asked = self.asking(method, path, body, token, cookie, headers, sender, scheme, host, kind)
        return checked(self.run(asked))

    async def asking(
        self, method: str, path: str, body: object = None, token: str | None = None, cookie: str | None = None,
        headers: Headers = (), sender: str | None = None, scheme: str = "http", host: str = HOST,
        kind: str = "application/json",
    ) -> httpx.Response:  # fmt: skip
        """The same, to be awaited. Without a client between: thousands of requests are made of this."""
        content = b"" if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
        lines = [*headers, *shown(token, cookie)]
        given = {name for name, _ in lines}
        lines += [] if "host" in given else [("host", host)]
        if body is not None:
            lines.append(("content-type", kind))
            lines += [] if "content-length" in given else [("content-length", str(len(content)))]
        address, _, query = path.partition("?")
        scope: Scope = {
            "type": "http", "method": method, "path": unquote(address), "raw_path": address.encode(),
            "query_string": query.encode(), "root_path": "", "scheme": scheme, "http_version": "1.1",
            "headers": encoded(lines), "client": (sender or self.stranger(), 40_000), "server": ("127.0.0.1", 8311),
        }  # fmt: skip
        sent: list[Message] = []
        incoming: list[Message] = [{"type": "http.request", "body": content, "more_body": False}]

        async def receive() -> Message:
            if not incoming:
                await asyncio.Event().wait()  # it stays until it is answered
            return incoming.pop(0)

        async def send(message: Message) -> None:
            sent.append(message)

        await self.app(scope, receive, send)
        start, *bodies = sent
        return httpx.Response(
            start["status"], headers=start["headers"], content=b"".join(each["body"] for each in bodies),
            request=httpx.Request(method, ORIGIN),
        )  # fmt: skip

    def status(self, method: str, path: str, body: object = None, **more: Any) -> tuple[int, str]:
        """(status, slug of the problem or "") of one request."""
        return outcome(self.ask(method, path, body, **more))

    def stranger(self) -> str:
        """An address that has never asked before."""
        number = next(self._senders)
        return f"10.{number >> 16}.{number >> 8 & 255}.{number & 255}"

    def socket(
        self, path: str, *, token: str | None = None, cookie: str | None = None, headers: Headers = (),
        scheme: str = "ws", host: str = HOST,
    ) -> list[Message]:  # fmt: skip
        """What the service sends to a WebSocket that connects and then leaves."""
        incoming: list[Message] = [
            {"type": "websocket.connect"},
            {"type": "websocket.disconnect", "code": 1001},
        ]
        sent: list[Message] = []
        lines = [("host", host), *headers, *shown(token, cookie)]
        address, _, query = path.partition("?")
        scope: Scope = {
            "type": "websocket", "path": address, "raw_path": address.encode(), "query_string": query.encode(),
            "root_path": "", "scheme": scheme, "http_version": "1.1", "subprotocols": [],
            "headers": encoded(lines),
            "client": (self.stranger(), 40_000), "server": ("127.0.0.1", 8311),
            "extensions": {"websocket.http.response": {}},
        }  # fmt: skip

        async def receive() -> Message:
            return incoming.pop(0)

        async def send(message: Message) -> None:
            sent.append(message)

        self.run(self.app(scope, receive, send))
        return sent

    def sign_in(self, token: str, **more: Any) -> str:
        """The session cookie's value for a token."""
        answer = self.ask("POST", "/v1/sessions", {"token": token}, **more)
        assert answer.status_code == 201, answer.text
        return answer.headers["set-cookie"].partition(";")[0].partition("=")[2]

    def open_job(self, job: str, token: str) -> None:
        """A new job, in metres."""
        asked = {"id": job, "name": "Village pump house", "units": "m"}
        answer = self.ask("POST", "/v1/jobs", asked, token=token)
        assert answer.status_code == 201, answer.text

    def set_up(self, job: str, machine: str, token: str) -> httpx.Response:
        """A machine put on a job with a bucket that fits it."""
        attachment = {"crawler-14t": "tilting-1800", "compact-1t8": "compact-bucket-400"}[machine]
        asked = {"machine": machine, "attachment": attachment}
        return self.ask("POST", f"/v1/jobs/{job}/setups", asked, token=token)


def shown(token: str | None, cookie: str | None, name: str = "tipdatum-session") -> list[tuple[str, str]]:
    """The headers that show a token, a session or both."""
    bearer = [] if token is None else [("authorization", f"Bearer {token}")]
    return bearer + ([] if cookie is None else [("cookie", f"{name}={cookie}")])


def encoded(lines: Headers) -> list[tuple[bytes, bytes]]:
    """Headers as a server hands them on."""
    return [(name.encode(), value.encode("utf-8")) for name, value in lines]


def outcome(answer: httpx.Response) -> tuple[int, str]:
    """(status, slug of the problem or "")."""
    problem = answer.headers.get("content-type") == "application/problem+json"
    return answer.status_code, str(answer.json()["type"]).rpartition("#")[2] if problem else ""


def code_of(answer: httpx.Response) -> str:
    """The code of the one fault."""
    [fault] = answer.json()["errors"]
    return str(fault["code"])


def checked(answer: httpx.Response) -> httpx.Response:
    """The answer, held to what every answer must be."""
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert not [name for name in answer.headers if name.startswith("access-control-")]
    if answer.status_code >= 400 and answer.request.method != "HEAD":
        told(answer.status_code, answer.headers["content-type"], answer.content)
    if answer.status_code in {401, 429}:
        wanted = "www-authenticate" if answer.status_code == 401 else "retry-after"
        assert answer.headers[wanted]
    return answer


def taken_apart(token: str) -> Credential:
    """A token as its id and its secret."""
    parsed = parse(token)
    assert parsed is not None
    return parsed


def forged(token: str) -> str:
    """A true id with the secret of nobody."""
    return Credential(taken_apart(token).id, mint().secret).text
