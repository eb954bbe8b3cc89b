"""What stands before every route: Host, Origin, who asks, size, media type, JSON. Plain ASGI: nothing is read before it.

A bulk route has a limit of its own, takes Arrow too, and checks its text itself (`text.read_json`) away from the event
loop, which megabytes would hold up.

A page from elsewhere, a name rebound to this machine, a flood, or a text that means two things gets no further. The
last resort stands here too: what nobody foresaw is logged and answered without a word of the inside.
"""

import json
import re
from asyncio import timeout
from collections.abc import Callable, Collection, Mapping
from time import monotonic
from urllib.parse import unquote_to_bytes

from fastapi.responses import JSONResponse
from sqlalchemy.exc import SQLAlchemyError
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from . import policy
from .access.admission import Access, Admitted
from .access.caller import LOCAL, NOBODY
from .access.pace import sender
from .access.proxy import through
from .access.rights import is_public
from .problems import Problem, as_response, internal, problem, refuse_socket, unanswered
from .secret import holds_one
from .settings import LOOPBACK
from .store import StoreError
from .text import fault, json_faults

_JSON = re.compile(r'application/json\s*(?:;\s*charset\s*=\s*"?utf-8"?\s*)?', re.IGNORECASE)
ARROW = "application/vnd.apache.arrow.stream"
_LONGEST_LENGTH = 18  # digits of a Content-Length; an exabyte has no more
_ELSEWHERE = "a page of this service, or no page at all"
_SECURE = frozenset({"https", "wss"})
_NOBODY_S_BYTES = 4096  # a token and its braces; nothing else that is public has a body
_PATIENCE_S, _PATIENCE_BULK_S = 30.0, 120.0
_SAME_MOMENT_S = 0.25
_SIGNING_IN = "/v1/sessions"
_HARMLESS = frozenset({"GET", "HEAD", "OPTIONS"})

Headers = Mapping[str, list[str]]


class Guard:
    """The ASGI application `app` behind the checks; bodies of more than `max_body_bytes` are refused.

    `bulk`: paths that take larger bodies, JSON or Arrow, with the limit of each. `hosts`: the names and addresses it
    may be asked by. `access`: gives what lets callers in, or None where access control is off. `proxy`: the address
    that everything must come through, with TLS ended there.
    """

    def __init__(
        self, app: ASGIApp, max_body_bytes: int, bulk: Mapping[str, int] | None = None,
        hosts: Collection[str] = LOOPBACK, access: Callable[[], Access | None] = lambda: None, proxy: str | None = None,
    ) -> None:  # fmt: skip
        self._proxy = proxy
        self._app = app
        self._most = max_body_bytes
        self._bulk = bulk or {}
        self._hosts = hosts
        names = "|".join(re.escape(f"[{host}]" if ":" in host else host) for host in hosts)
        self._here = re.compile(f"(?:{names})(?::[0-9]{{1,5}})?")
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection of any kind."""
        if scope["type"] == "http":
            await self._http(scope, receive, _Answer(scope, send))
        elif scope["type"] == "websocket":
            refusal = await self._admitted(scope, _headers(scope))
            if refusal is None:
                await self._app(scope, receive, send)
            else:
                await refuse_socket(refusal, scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: "_Answer") -> None:
        headers = _headers(scope)
        bulk = scope["path"] in self._bulk
        most = self._bulk.get(scope["path"], self._most)
        try:
            refusal = await self._admitted(scope, headers)
            if scope.get("caller") is NOBODY:
                most = _NOBODY_S_BYTES
            refusal = refusal or _length_fault(headers, most)
            if refusal is None:
                begun = monotonic()
                try:
                    patience = _PATIENCE_BULK_S if bulk else _PATIENCE_S
                    async with timeout(patience):
                        body = await _read(receive, most)
                except TimeoutError:
                    late = _refuse("too-slow", f"a body not here after {patience:g} s", "the whole of it sooner",
                                   "send less at a time")  # fmt: skip
                    await late(scope, receive, send)
                    return
                if body is None:  # half a body: nobody waits for an answer, and half is never acted on
                    return
                # A right may have ended while the body was on its way.
                if monotonic() - begun > _SAME_MOMENT_S:
                    refusal = await self._admitted(scope, headers)
                refusal = refusal or _body_fault(body, headers, most, bulk=bulk)
                refusal = refusal or (None if bulk else _token_in_body(scope, headers, body))
                receive = _replay(body, receive)
            if refusal is not None:
                refusal.headers["Connection"] = "close"  # what is left of the body is not read
                await refusal(scope, receive, send)
                return
            await self._app(scope, receive, send)
        except Exception as error:
            if send.begun:  # too late for another answer: the server breaks the connection off
                raise
            await internal(error)(scope, receive, send)

    async def _admitted(self, scope: Scope, headers: Headers) -> JSONResponse | None:
        """The refusal of a connection, or None with its caller in the scope."""
        access = self._access()
        if access is None:
            scope["caller"] = LOCAL
            return self._stranger(scope, headers) or _token_in_url(scope)
        try:
            scope["caller"] = NOBODY
            if self._proxy is not None and "sender" not in scope:
                past = through(scope, headers, self._proxy)
                if past is not None:
                    return problem(past.code, [past])
            scope["sender"] = sender(scope.get("client"))
            # A page from elsewhere must not use up the pace of the browser that shows it.
            refusal = self._stranger(scope, headers)
            if refusal is None:
                access.keep_pace(scope["sender"])
                refusal = _token_in_url(scope)
            if refusal is not None:
                return refusal
            if not is_public(scope.get("method", "WS"), scope["path"]):
                secure = scope.get("scheme") in _SECURE
                scope["admitted"] = admitted = await access.admit(headers, scope["sender"], secure=secure)
                scope["caller"] = admitted.caller
                return _forged(scope, headers, admitted)
        except Problem as refused:
            return as_response(refused)
        except (StoreError, SQLAlchemyError) as error:
            return unanswered(error)
        return None

    def _stranger(self, scope: Scope, headers: Headers) -> JSONResponse | None:
        """The refusal of a request that is not meant for this machine, or that a page from elsewhere makes."""
        hosts = headers.get("host", [])
        if len(hosts) != 1:
            return _refuse(
                "bad-request", f"{len(hosts)} Host headers", "one Host header", "use an HTTP/1.1 client"
            )
        if not self._here.fullmatch(hosts[0].lower()):
            return _refuse(
                "foreign-host", f"Host {hosts[0]!r}", f"one of: {', '.join(self._hosts)}, with the port",
                "ask by the address that `tipdatum serve` prints, or add the name: tipdatum serve --name",
            )  # fmt: skip
        origins = [origin.lower() for origin in headers.get("origin", [])]
        if origins and origins != [_own_origin(scope, hosts[0])]:
            return _refuse("foreign-origin", f"Origin {', '.join(origins)!r}", _ELSEWHERE)
        from_elsewhere = "cross-site" in _said(headers, "sec-fetch-site")
        if from_elsewhere and not _follows_a_link(scope, headers):
            advice = "type the address into the browser, or follow a link of this service's own pages"
            return _refuse(
                "foreign-origin", "a request that a page of another site makes", _ELSEWHERE, advice
            )
        return None


class _Answer:
    """A `send` that puts the security headers on the answer and knows whether it has begun."""

    def __init__(self, scope: Scope, send: Send) -> None:
        self._send = send
        self.begun = False
        self._path = scope["path"]
        self._scope = scope  # a proxy may tell its scheme later
        self._held: Message | None = None

    async def __call__(self, message: Message) -> None:
        if message["type"] != "http.response.start":
            if self._held is not None:
                await self._begin(
                    self._held,
                    policy.headers_of(message["body"], secure=self._scope.get("scheme") == "https"),
                )
                self._held = None
            await self._send(message)
        elif message["status"] == 200 and self._path in policy.WITH_INLINE_SCRIPT:
            self._held = message  # until the text is there that its policy hangs on
        else:
            secure = self._scope.get("scheme") == "https"
            await self._begin(message, policy.headers(self._path, secure=secure, page=_is_page(message)))

    async def _begin(self, start: Message, extra: policy.Headers) -> None:
        self.begun = True
        await self._send({**start, "headers": [*start.get("headers", ()), *extra]})


def _is_page(start: Message) -> bool:
    return any(
        name == b"content-type" and value.startswith(b"text/html") for name, value in start.get("headers", ())
    )


def _headers(scope: Scope) -> Headers:
    headers: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return headers


def _said(headers: Headers, name: str) -> list[str]:
    return [value.strip().lower() for value in headers.get(name, [])]


def _follows_a_link(scope: Scope, headers: Headers) -> bool:
    """Whether somebody opens a page of no secret by a link in a mail, say: nothing is read or written by who made it."""
    opened = _said(headers, "sec-fetch-mode") == ["navigate"] and scope.get("method") == "GET"
    return opened and is_public("GET", scope["path"]) and not scope["path"].startswith("/v1/")


def _own_origin(scope: Scope, host: str) -> str:
    """What a page of this service says it comes from: the scheme, host and port that it is asked by."""
    scheme = "https" if scope.get("scheme") in _SECURE else "http"
    return f"{scheme}://{host.lower()}"


def _token_in_url(scope: Scope) -> JSONResponse | None:
    """An address is logged, kept in histories and sent on: a token in it is no secret any more."""
    query = scope.get("query_string", b"")
    address = scope["path"] + (unquote_to_bytes(query).decode("latin-1") if query else "")
    if holds_one(address):
        return _refuse("token-in-url", "a token in the address", "it in the header Authorization: Bearer TOKEN",
                       "rotate it now: tipdatum access rotate")  # fmt: skip
    return None


def _token_in_body(scope: Scope, headers: Headers, body: bytes) -> JSONResponse | None:
    """What is recorded is there for good and for every viewer: a token pasted into a note must not be."""
    if scope["path"] == _SIGNING_IN:
        return None
    kept = b"\\" in body or b"tipdatum_" in body.lower()
    if kept:  # looked at as it will be read, not as it is spelt
        kept = holds_one(json.dumps(json.loads(body), ensure_ascii=False))
    if kept or any(map(holds_one, headers.get("idempotency-key", []))):
        return _refuse("token-in-body", "a token, or a piece of one, in what would be recorded",
                       "it in the header Authorization: Bearer TOKEN alone", "take it out")  # fmt: skip
    return None


def _forged(scope: Scope, headers: Headers, admitted: Admitted) -> JSONResponse | None:
    """A cookie comes with whatever a browser sends, so that a write with one must say which page sends it."""
    if admitted.kind == "token" or scope.get("method", "WS") in _HARMLESS or headers.get("origin"):
        return None
    if _said(headers, "sec-fetch-site") == ["same-origin"]:
        return None
    return _refuse(
        "foreign-origin", "a session cookie and no Origin", _ELSEWHERE, "programs send a token, not a cookie"
    )


def _length_fault(headers: Headers, most: int) -> JSONResponse | None:
    for length in (lengths := headers.get("content-length", [])):
        if len(lengths) > 1 or not (length.isascii() and length.isdigit()):
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
    packed = [coding for coding in _said(headers, "content-encoding") if coding != "identity"]
    if packed:
        return _refuse(
            "wrong-media-type", f"Content-Encoding {', '.join(packed)!r}", "the body as it is, not packed",
            "what is packed could unfold to any size; leave the header out",
        )  # fmt: skip
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
