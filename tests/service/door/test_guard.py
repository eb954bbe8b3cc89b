"""Who may ask, how large a body may be, and what it must be."""

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import pytest
from starlette.types import Message, Receive, Scope, Send

from service.guard import ARROW, Guard
from service.settings import LOOPBACK

from .making import BULK, JSON, LIMIT, Door

BODY = b'{"number": 1.5}'


def slug_of(document: dict[str, Any]) -> str:
    return str(document["type"]).rpartition("#")[2]


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "127.0.0.1:8311", "localhost", "LOCALHOST:80", "[::1]", "[::1]:8311"]
)
def test_this_machine_is_served(door: Door, host: str) -> None:
    assert door.ask("GET", "/v1/version", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "example.org", "127.0.0.1.example.org", "localhost.example.org", "127.0.0.1@example.org", "example.org@127.0.0.1",
        "127.0.0.1:port", "127.0.0.1:", "127.0.0.1/x", "127.0.0.1?x", "127.0.0.1#x", "127.0.0.1, example.org", "::1", "",
        "127.0.0.2", "10.0.0.1", "2130706433", "127.1",
        "localhost.", " 127.0.0.1", "127.0.0.1\xa0", "[::1", "127.0.0.1\n",
    ],
)  # fmt: skip
def test_foreign_host(host: str) -> None:
    assert guarded([(b"host", host.encode("latin-1"))]) == (421, "foreign-host")


def test_no_host_and_two_hosts() -> None:
    assert guarded([]) == (400, "bad-request")
    assert guarded([(b"host", b"localhost"), (b"host", b"localhost")]) == (400, "bad-request")


@pytest.mark.parametrize("host", ["127.0.0.1:8311", "localhost", "[::1]:9", "LOCALHOST:1"])
def test_own_pages_may_ask(door: Door, host: str) -> None:
    for origin in (f"http://{host}", f"HTTP://{host.swapcase()}"):
        assert door.post("/v1/bodies", BODY, host=host, origin=origin).status_code == 200


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        ("127.0.0.1:8311", "http://127.0.0.1:8312"), ("127.0.0.1:8311", "http://127.0.0.1"),
        ("127.0.0.1:8311", "http://localhost:8311"), ("localhost", "http://localhost:8311"),
        ("127.0.0.1:8311", "https://127.0.0.1:8311"), ("[::1]:8311", "http://[::1]"),
        ("[::1]:8311", "http://::1:8311"), ("127.0.0.1:80", "http://127.0.0.1"),
    ],
)  # fmt: skip
def test_another_service_of_this_machine_is_another_origin(door: Door, host: str, origin: str) -> None:
    """To the port: what listens beside this one is not trusted with it."""
    answer = door.post("/v1/bodies", BODY, host=host, origin=origin)
    assert (answer.status_code, slug_of(answer.json())) == (403, "foreign-origin")


@pytest.mark.parametrize(("scheme", "kind"), [("https", "http"), ("wss", "websocket")])
def test_over_tls_our_pages_come_from_https(scheme: str, kind: str) -> None:
    host = (b"host", b"pit.example")
    incoming: list[Message] = [{"type": "http.request", "body": b"", "more_body": False}]
    for origin, reached in ((b"https://pit.example", True), (b"http://pit.example", False)):
        asked = {"kind": kind, "scheme": scheme, "hosts": ("pit.example",), "incoming": list(incoming)}
        assert run([host, (b"origin", origin)], **asked)[0] == reached  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "origin",
    [
        "null", "http://example.org", "https://127.0.0.1.example.org", "http://localhost@example.org", "file://", "",
        "http://127.0.0.1/", "ftp://127.0.0.1", "127.0.0.1", "http://example.org#http://127.0.0.1", "moz-extension://x",
    ],
)  # fmt: skip
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_foreign_origin(door: Door, origin: str, method: str) -> None:
    answer = door.ask(method, "/v1/version", headers={"origin": origin})
    assert answer.status_code == 403
    assert slug_of(answer.json()) == "foreign-origin"


def test_two_origins_are_refused() -> None:
    ours = (b"origin", b"http://127.0.0.1")
    assert guarded([(b"host", b"localhost"), ours, ours]) == (403, "foreign-origin")


@pytest.mark.parametrize(
    ("site", "status"), [("cross-site", 403), ("same-site", 200), ("same-origin", 200), ("none", 200)]
)
def test_a_browser_says_who_asks(door: Door, site: str, status: int) -> None:
    assert door.ask("GET", "/v1/version", headers={"sec-fetch-site": site}).status_code == status


@pytest.mark.parametrize(
    "kind",
    ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonp", "",
     "text/plain; application/json", "application/json; charset=latin-1", "application/json, text/plain",
     "application/json; charset=utf-8; x=y", "application/problem+json"],
)  # fmt: skip
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_a_write_that_is_not_json(door: Door, kind: str, method: str) -> None:
    answer = door.ask(method, "/v1/bodies", BODY, {"content-type": kind})
    assert answer.status_code == 415
    assert slug_of(answer.json()) == "wrong-media-type"


@pytest.mark.parametrize(
    "kind", ["application/json", "Application/JSON; charset=UTF-8", 'application/json;charset="utf-8"']
)
def test_a_write_that_is_json(door: Door, kind: str) -> None:
    assert door.ask("POST", "/v1/bodies", BODY, {"content-type": kind}).status_code == 200


def test_a_write_without_body_needs_no_media_type(door: Door) -> None:
    answer = door.ask("POST", "/v1/bodies")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["code"] == "missing-field"
    assert answer.json()["errors"][0]["pointer"] == ""


@pytest.mark.parametrize("length", [b"+5", b"-1", b"1e3", b"5, 5", b"0x10", b"", b"\xb2", b"5 5"])
def test_junk_for_a_length(length: bytes) -> None:
    assert guarded([(b"host", b"localhost"), (b"content-length", length)]) == (400, "bad-request")


def test_two_lengths() -> None:
    twice = [(b"content-length", b"5")] * 2
    assert guarded([(b"host", b"localhost"), *twice]) == (400, "bad-request")


@pytest.mark.parametrize("length", [str(LIMIT + 1).encode(), b"50000000", b"9" * 5000])
def test_a_length_over_the_limit_is_refused_unread(length: bytes) -> None:
    assert guarded([(b"host", b"localhost"), (b"content-length", length)], reading=False) == (
        413,
        "too-large",
    )


def test_the_limit_itself_is_let_in(door: Door) -> None:
    full = BODY + b" " * (LIMIT - len(BODY))
    assert door.ask("POST", "/v1/bodies", full, JSON).status_code == 200
    assert door.ask("POST", "/v1/bodies", full + b" ", JSON).status_code == 413


def test_a_body_in_chunks_is_stopped_at_the_limit(door: Door) -> None:
    sent = 0

    async def chunks() -> AsyncIterator[bytes]:
        nonlocal sent
        while sent < 50_000_000:
            sent += 10_000
            yield b" " * 10_000

    answer = door.ask("POST", "/v1/bodies", chunks(), JSON)
    assert answer.status_code == 413
    assert sent <= LIMIT + 10_000


def test_a_body_in_small_chunks_arrives_whole(door: Door) -> None:
    async def chunks() -> AsyncIterator[bytes]:
        for place in range(len(BODY)):
            yield BODY[place : place + 1]

    answer = door.ask("POST", "/v1/bodies", chunks(), JSON)
    assert answer.status_code == 200
    assert answer.json()["number"] == 1.5


def test_half_a_body_is_never_acted_on() -> None:
    """What arrived before the sender left may be whole JSON; it is not the request all the same."""
    incoming: list[Message] = [
        {"type": "http.request", "body": BODY, "more_body": True},
        {"type": "http.disconnect"},
    ]
    headers = [
        (b"host", b"localhost"),
        (b"content-type", b"application/json"),
        (b"transfer-encoding", b"chunked"),
    ]
    assert run(headers, incoming) == (False, [])


@pytest.mark.parametrize(
    ("path", "limit"), [("/v1/pose-columns", BULK), ("/v1/pose-columns/", LIMIT), ("/v1", LIMIT)]
)
def test_a_bulk_path_has_a_limit_of_its_own(door: Door, path: str, limit: int) -> None:
    """Bulk alone, and by its exact path; the text is then its own affair."""
    full = b'{"x": 1}' + b" " * (limit - 8)
    assert door.ask("POST", path, full, JSON).status_code in {404, 422}
    answer = door.ask("POST", path, full + b" ", JSON)
    assert (answer.status_code, slug_of(answer.json())) == (413, "too-large")
    assert str(limit) in answer.json()["detail"]


@pytest.mark.parametrize(
    ("path", "status"), [("/v1/pose-columns", 422), ("/v1/bodies", 415), ("/v1/pose-columns/", 415)]
)
def test_arrow_is_taken_by_bulk_alone(door: Door, path: str, status: int) -> None:
    assert door.ask("POST", path, b"x", {"content-type": ARROW.upper()}).status_code == status


def test_only_the_api_is_kept_from_caches(door: Door) -> None:
    assert door.ask("GET", "/v1/version").headers["cache-control"] == "no-store"
    assert door.ask("GET", "/guide").headers["cache-control"] == "no-cache", "kept, and asked for each time"


@pytest.mark.parametrize(
    "headers", [[(b"host", b"example.org")], [(b"host", b"localhost"), (b"origin", b"null")]]
)
def test_a_web_socket_from_elsewhere(headers: list[tuple[bytes, bytes]]) -> None:
    assert run(headers, kind="websocket") == (False, [{"type": "websocket.close", "code": 1008}])
    reached, sent = run(headers, kind="websocket", extensions={"websocket.http.response": {}})
    assert not reached
    assert [message["type"] for message in sent] == [
        "websocket.http.response.start",
        "websocket.http.response.body",
    ]
    assert sent[0]["status"] in {403, 421}


def test_a_web_socket_from_here() -> None:
    here = (b"host", b"localhost:8311")
    for origin, expected in ((b"http://localhost:8311", True), (b"http://localhost:8312", False)):
        reached, _ = run([here, (b"origin", origin)], kind="websocket")
        assert reached == expected
    assert run([here], kind="websocket")[0], "a program sends no Origin"


def guarded(headers: list[tuple[bytes, bytes]], *, reading: bool = True) -> tuple[int, str]:
    """(status, slug) of a refusal by the guard alone; with `reading` off, the body must not be asked for."""
    incoming: list[Message] = [{"type": "http.request", "body": b"", "more_body": False}] if reading else []
    reached, sent = run(headers, incoming)
    assert not reached
    body = sent[1]["body"].decode()
    return sent[0]["status"], body.partition("#")[2].partition('"')[0]


def run(
    headers: list[tuple[bytes, bytes]], incoming: list[Message] | None = None, kind: str = "http",
    extensions: dict[str, Any] | None = None, scheme: str = "http", hosts: tuple[str, ...] = LOOPBACK,
) -> tuple[bool, list[Message]]:  # fmt: skip
    """(whether the application was reached, what was sent) for one connection made of bare ASGI messages."""
    reached = False
    sent: list[Message] = []
    left = list(incoming or [])

    async def application(scope: Scope, receive: Receive, send: Send) -> None:
        nonlocal reached
        reached = True

    async def receive() -> Message:
        return left.pop(0)

    async def send(message: Message) -> None:
        sent.append(message)

    scope: Scope = {
        "type": kind,
        "method": "POST",
        "scheme": scheme,
        "path": "/v1/bodies",
        "headers": headers,
        "extensions": extensions or {},
    }
    asyncio.run(Guard(application, LIMIT, hosts=hosts)(scope, receive, send))
    return reached, sent
