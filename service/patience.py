"""How long the server waits for a client: for the head of a request, and for an answer to be read.

uvicorn's readers of HTTP wait for ever: connections that dribble a head would use up all there may be, and answers
that nobody reads all memory. What stands between is theirs; this looks at its outside alone.
"""

import asyncio
from typing import TYPE_CHECKING, Any, Protocol

from uvicorn.protocols.http.h11_impl import H11Protocol

from .problems import Problem, as_response
from .text import fault

HEAD_WITHIN_S = 10.0
"""Of the connection, or of the first byte of a further request on it."""
MOST_HEAD = 65_536
READ_WITHIN_S = 30.0
LEAST_BYTES_PER_S = 4096
"""Of an answer that waits, in the mean of each READ_WITHIN_S; a bad mobile line has several times as much."""
_REASONS = {400: "Bad Request", 408: "Request Timeout", 431: "Request Header Fields Too Large"}

if TYPE_CHECKING:
    _Reader = H11Protocol
else:
    _Reader = object


class Timers(Protocol):
    """As much of an event loop as is asked for here."""

    def call_later(self, delay: float, callback: Any) -> Any:
        """A handle with `cancel`."""


class Reading:
    """Whether what waits in a transport goes out, from `begin` to `end`."""

    def __init__(self, transport: asyncio.WriteTransport, timers: Timers) -> None:
        self._transport, self._timers = transport, timers
        self._timer: Any = None
        self._waited = 0

    def begin(self) -> None:
        """More waits than is good."""
        self.end()
        self._waited = self._transport.get_write_buffer_size()
        self._timer = self._timers.call_later(READ_WITHIN_S, self.look)

    def look(self) -> None:
        """Give up what is read too slowly, else wait on."""
        left = self._transport.get_write_buffer_size()
        if self._waited - left < LEAST_BYTES_PER_S * READ_WITHIN_S:
            self._transport.abort()
        else:
            self.begin()

    def end(self) -> None:
        """It went out, or there is nobody any more."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None


class _Patient(_Reader):
    """What either reader of uvicorn's is given besides."""

    _late: asyncio.TimerHandle | None = None
    _reading: Reading | None = None
    _head = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)  # type: ignore[arg-type]
        self._reading = Reading(self.transport, self.loop)
        self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._forget_head()
        if self._reading is not None:
            self._reading.end()
        super().connection_lost(exc)

    # The head.

    def data_received(self, data: bytes) -> None:
        before = self.cycle
        if self._late is None and (before is None or before.response_complete):
            self._await_head()
        super().data_received(data)
        if self.cycle is not before or self.transport.get_protocol() is not self:
            self._forget_head()
        elif self._late is not None:
            self._head += len(data)
            if self._head > MOST_HEAD and not self.transport.is_closing():
                found = f"no end of the headers in {self._head} bytes"
                self._refuse("headers-too-large", found, f"at most {MOST_HEAD}")

    def send_400_response(self, msg: str) -> None:
        """In the shape of every other refusal."""
        self._refuse("bad-request", msg, "a request of HTTP/1.1")

    def _await_head(self) -> None:
        self._head = 0
        self._late = self.loop.call_later(HEAD_WITHIN_S, self._is_late)

    def _forget_head(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _is_late(self) -> None:
        self._late = None
        if self._head:
            self._refuse(
                "too-slow", f"headers not here after {HEAD_WITHIN_S:g} s", "the whole of them sooner"
            )
        else:
            self.transport.close()

    def _refuse(self, slug: str, found: str, expected: str) -> None:
        """Say why and close; what still comes is not read."""
        self._forget_head()
        if self.transport.is_closing():
            return
        answer = as_response(Problem(slug, [fault(slug, found, expected)]))
        lines = [f"HTTP/1.1 {answer.status_code} {_REASONS[answer.status_code]}".encode()]
        lines += [name + b": " + value for name, value in (*answer.raw_headers, (b"connection", b"close"))]
        self.transport.write(b"\r\n".join([*lines, b"", bytes(answer.body)]))
        self.transport.close()

    # The answer.

    def pause_writing(self) -> None:
        super().pause_writing()
        if self._reading is not None:
            self._reading.begin()

    def resume_writing(self) -> None:
        super().resume_writing()
        if self._reading is not None:
            self._reading.end()


class PatientH11(_Patient, H11Protocol):
    """The reader that keeps to the letter of HTTP and limits headers by itself."""


def reader(*, strict: bool) -> type[asyncio.Protocol]:
    """The reader of HTTP of a service: the strict one where strangers may come, else the quick one if it is installed."""
    if strict:
        return PatientH11
    try:
        from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol  # noqa: PLC0415
    except ImportError:
        return PatientH11
    return type("PatientHttpTools", (_Patient, HttpToolsProtocol), {})
