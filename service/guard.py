"""What stands before every route: Host, Origin, size, media type, JSON. Plain ASGI, so that nothing is read before it.

A bulk route has a limit of its own, takes Arrow too, and checks its text itself (`text.read_json`) away from the event
loop, which megabytes would hold up.

A page from elsewhere, a name rebound to this machine, a flood, or a text that means two things gets no further. The
last resort stands here too: what nobody foresaw is logged and answered without a word of the inside.
"""

import re
from collections.abc import Mapping

from fastapi.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .problems import internal, problem
from .settings import LOOPBACK
from .text import fault, json_faults

_HERE = re.compile(
    "(?:" + "|".join(re.escape(f"[{h}]" if ":" in h else h) for h in LOOPBACK) + r")(?::[0-9]{1,5})?"
)
_JSON = re.compile(r'application/json\s*(?:;\s*charset\s*=\s*"?utf-8"?\s*)?', re.IGNORECASE)
ARROW = "application/vnd.apache.arrow.stream"
_LONGEST_LENGTH = 18  # digits of a Content-Length; an exabyte has no more
_ELSEWHERE = "a page of this machine, or no page at all"

_PAGE_POLICY = (
    "default-src 'none'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# The interactive documentation starts itself with a script inside its page.
_DOCS_POLICY = (
    "default-src 'none'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

Headers = Mapping[str, list[str]]


def _extra(policy: str, *more: tuple[bytes, bytes]) -> tuple[tuple[bytes, bytes], ...]:
    return (
        (b"x-content-type-options", b"nosniff"), (b"referrer-policy", b"no-referrer"),
        (b"content-security-policy", policy.encode()), *more,
    )  # fmt: skip


_EXTRA = {
    "v1": _extra(_PAGE_POLICY, (b"cache-control", b"no-store")),
    "docs": _extra(_DOCS_POLICY),
    "page": _extra(_PAGE_POLICY),
}


class Guard:
    """The ASGI application `app` behind the checks; bodies of more than `max_body_bytes` are refused.

    `bulk`: paths that take larger bodies, JSON or Arrow, with the limit of each.
    """

    def __init__(self, app: ASGIApp, max_body_bytes: int, bulk: Mapping[str, int] | None = None) -> None:
        self._app = app
        self._most = max_body_bytes
        self._bulk = bulk or {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection of any kind."""
        if scope["type"] == "http":
            await self._http(scope, receive, _Answer(scope["path"], send))
        elif scope["type"] == "websocket":
            refusal = _stranger(_headers(scope))
            if refusal is None:
                await self._app(scope, receive, send)
            else:
                await _deny(scope, receive, send, refusal)
        else:
            await self._app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: "_Answer") -> None:
        headers = _headers(scope)
        bulk = scope["path"] in self._bulk
        most = self._bulk.get(scope["path"], self._most)
        refusal = _stranger(headers) or _length_fault(headers, most)
        if refusal is None:
            body = await _read(receive, most)
            if body is None:  # half a body: nobody waits for an answer, and half is never acted on
                return
            refusal = _body_fault(body, headers, most, bulk=bulk)
            receive = _replay(body, receive)
        if refusal is not None:
            refusal.headers["Connection"] = "close"  # what is left of the body is not read
            await refusal(scope, receive, send)
            return
        try:
            await self._app(scope, receive, send)
        except Exception as error:
            if send.begun:  # too late for another answer: the server breaks the connection off
                raise
            await internal(error)(scope, receive, send)


class _Answer:
    """A `send` that puts the security headers on the answer and knows whether it has begun."""

    def __init__(self, path: str, send: Send) -> None:
        self._send = send
        self.begun = False
        self._extra = _EXTRA["page"]
        if path == "/v1" or path.startswith("/v1/"):
            self._extra = _EXTRA["v1"]
        elif path == "/docs" or path.startswith("/docs/"):
            self._extra = _EXTRA["docs"]

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            message = {**message, "headers": [*message.get("headers", ()), *self._extra]}
        await self._send(message)


def _headers(scope: Scope) -> Headers:
    headers: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return headers


def _stranger(headers: Headers) -> JSONResponse | None:
    """The refusal of a request that is not meant for this machine, or that a page from elsewhere makes."""
    hosts = headers.get("host", [])
    if len(hosts) != 1:
        return _refuse(
            "bad-request", f"{len(hosts)} Host headers", "one Host header", "use an HTTP/1.1 client"
        )
    if not _HERE.fullmatch(hosts[0].lower()):
        return _refuse(
            "foreign-host", f"Host {hosts[0]!r}", f"one of: {', '.join(LOOPBACK)}, with the port",
            "ask by the address that `tipdatum serve` prints",
        )  # fmt: skip
    origins = headers.get("origin", [])
    for origin in origins:
        scheme, _, host = origin.lower().partition("://")
        if len(origins) > 1 or scheme not in {"http", "https"} or not _HERE.fullmatch(host):
            return _refuse("foreign-origin", f"Origin {', '.join(origins)!r}", _ELSEWHERE)
    if any(site.strip().lower() == "cross-site" for site in headers.get("sec-fetch-site", [])):
        advice = "type the address into the browser, or follow a link of this service's own pages"
        return _refuse("foreign-origin", "a request that a page of another site makes", _ELSEWHERE, advice)
    return None


def _length_fault(headers: Headers, most: int) -> JSONResponse | None:
    for length in (lengths := headers.get("content-length", [])):
        if len(lengths) > 1 or not re.fullmatch("[0-9]+", length):
            return _refuse(
                "bad-request", f"Content-Length {', '.join(lengths)!r}", "one whole number of bytes"
            )
        if len(length) > _LONGEST_LENGTH or int(length) > most:
            return _too_large(f"{length} bytes", most)
    return None


def _body_fault(body: bytes, headers: Headers, most: int, *, bulk: bool) -> JSONResponse | None:
    if len(body) > most:
        return _too_large(f"more than {most} bytes", most)
    if not body:
        return None
    kinds = [kind.strip() for kind in headers.get("content-type", [])]
    if bulk and [kind.lower() for kind in kinds] == [ARROW]:
        return None
    if len(kinds) != 1 or not _JSON.fullmatch(kinds[0]):
        found = ", ".join(kinds)
        return _refuse(
            "wrong-media-type", f"Content-Type {found!r}",
            f"Content-Type: application/json, in UTF-8{f'; or {ARROW}' if bulk else ''}",
            "say what the body is; forms and plain text are not taken",
        )  # fmt: skip
    if bulk:
        return None
    faults = json_faults(body)
    if faults:
        broken = faults[0].code == "malformed-json"
        return problem("malformed-json" if broken else "invalid-request", faults)
    return None


def _too_large(found: str, most: int) -> JSONResponse:
    return _refuse("too-large", found, f"at most {most} bytes", "send less at a time")


async def _read(receive: Receive, most: int) -> bytes | None:
    """The whole body; of one that grows past the limit only as much as shows it; None if the sender left."""
    chunks: list[bytes] = []
    size = 0
    while size <= most:
        message = await receive()
        if message["type"] == "http.disconnect":
            return None
        chunks.append(message.get("body", b""))
        size += len(chunks[-1])
        if not message.get("more_body", False):
            break
    return b"".join(chunks)


def _refuse(slug: str, found: str, expected: str, advice: str = "") -> JSONResponse:
    return problem(slug, [fault(slug, found, expected, advice)])


async def _deny(scope: Scope, receive: Receive, send: Send, refusal: JSONResponse) -> None:
    """Refuse a WebSocket before it is one: as a problem document where the server can send one."""
    if "websocket.http.response" in scope.get("extensions", {}):
        await refusal(scope, receive, send)  # the response knows the messages of this extension
    else:
        await send({"type": "websocket.close", "code": 1008})


def _replay(body: bytes, receive: Receive) -> Receive:
    """A receive that gives a body once and then what comes after it."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again
