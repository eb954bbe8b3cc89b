"""Clients that are slow or say no end: cut off in words after their time, and the others are served meanwhile."""

import asyncio
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from typing import Any

import pytest

from service import guard, patience

from .making import DEADLINE_S, LARGE
from .test_raw import START, exchange, read, refused

ASKED = b"GET /v1/version HTTP/1.1\r\nHost: 127.0.0.1\r\n"
MANY = 30
# The time each has, shortened; what dribbles sends twenty bytes in it.
PATIENCE_S = 0.4


@pytest.fixture(autouse=True)
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "HEAD_WITHIN_S", PATIENCE_S)
    monkeypatch.setattr(patience, "READ_WITHIN_S", PATIENCE_S)
    monkeypatch.setattr(guard, "_PATIENCE_S", PATIENCE_S)


def connected(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S)


@contextmanager
def dribbling(port: int, first: bytes, many: int = MANY) -> Iterator[list[socket.socket]]:
    """So many connections that send `first`, then a byte now and then for as long as they are let."""
    with ExitStack() as held:
        each = [held.enter_context(closing(connected(port))) for _ in range(many)]
        for one in each:
            one.sendall(first)
        over = threading.Event()

        def go_on() -> None:
            left = list(each)
            while left and not over.wait(PATIENCE_S / 20):
                for one in list(left):
                    try:
                        one.sendall(b"a")
                    except OSError:
                        left.remove(one)

        sending = threading.Thread(target=go_on)
        sending.start()
        try:
            yield each
        finally:
            over.set()
            sending.join()


def served(port: int, times: int = 20) -> None:
    """Others get their answers."""
    for _ in range(times):
        assert exchange(port, ASKED + b"\r\n")[0] == 200


def all_of(connection: socket.socket) -> bytes:
    """What is said until the end."""
    said = b""
    try:
        while piece := connection.recv(65_536):
            said += piece
    except ConnectionError:  # what we sent meanwhile was not read
        pass
    return said


def test_heads_that_dribble(port: int) -> None:
    with dribbling(port, ASKED + b"X-Note: ") as slow:
        served(port)
        for each in slow:
            assert refused(read(each)) == (408, "too-slow")
    served(port, 1)


def test_a_second_head_that_dribbles(port: int) -> None:
    with dribbling(port, ASKED + b"\r\n" + ASKED + b"X-Note: ", 5) as slow:
        for each in slow:
            said = all_of(each)
            assert said.startswith(b"HTTP/1.1 200")
            assert said.count(b"HTTP/1.1 408") == said.count(b"/guide/problems#too-slow") == 1


def test_bodies_that_dribble(port: int) -> None:
    with dribbling(port, START + b"Content-Length: 5000\r\n\r\n{") as slow:
        served(port)
        for each in slow:
            assert refused(read(each)) == (408, "too-slow")


def test_connections_that_say_nothing(port: int) -> None:
    with ExitStack() as held:
        silent = [held.enter_context(closing(connected(port))) for _ in range(MANY)]
        served(port)
        assert [each.recv(100) for each in silent] == [b""] * MANY


def test_what_comes_in_time_is_served(port: int) -> None:
    """Slow is who takes longer in all, not who sends in pieces; a connection may be used again and again."""
    with closing(connected(port)) as connection:
        for _ in range(3):
            for at in range(0, len(ASKED), 9):
                connection.sendall(ASKED[at : at + 9])
            connection.sendall(b"\r\n")
            assert read(connection)[0] == 200


def test_answers_that_nobody_reads(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Given up: who reads later finds what the system had taken already, and then the end."""
    looked = threading.Semaphore(0)
    look = patience.Reading.look

    def looking(reading: patience.Reading) -> None:
        look(reading)
        looked.release()

    monkeypatch.setattr(patience.Reading, "look", looking)
    many = 5
    with ExitStack() as held:
        unread = [held.enter_context(closing(socket.socket())) for _ in range(many)]
        for each in unread:
            each.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 8192)
            each.settimeout(DEADLINE_S)
            each.connect(("127.0.0.1", port))
            each.sendall(ASKED.replace(b"version", b"large") + b"\r\n")
        served(port)
        for _ in range(many):
            assert looked.acquire(timeout=DEADLINE_S), "an answer that nobody reads is kept"
        for each in unread:
            assert len(all_of(each)) < LARGE


class Transport(asyncio.Transport):
    """One whose buffer holds what a test says."""

    def __init__(self, *left: int) -> None:
        super().__init__()
        self.left, self.aborted = list(left), False

    def get_write_buffer_size(self) -> int:
        return self.left.pop(0) if len(self.left) > 1 else self.left[0]

    def abort(self) -> None:
        self.aborted = True


@pytest.mark.parametrize(
    ("left", "aborted"), [((5_000_000, 4_000_000, 3_000_000), False), ((5_000_000, 4_999_000), True)]
)
def test_who_reads_at_a_pace_is_waited_for(
    left: tuple[int, ...], aborted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long the whole takes: 1 MB in 30 s is more than 4096 bytes a second, 1 kB is not."""
    monkeypatch.setattr(patience, "READ_WITHIN_S", 30.0)
    waiting = patience.Reading(transport := Transport(*left), Timers())
    waiting.begin()
    waiting.look()
    assert transport.aborted is aborted


class Timers:
    """What has no time of its own: nothing is ever called."""

    def call_later(self, *_: Any) -> "Timers":
        return self

    def cancel(self) -> None:
        """Nothing waits."""


def test_endless_headers(port: int) -> None:
    """Never more of them is kept than the limit; told in the shape of every refusal."""
    line = b"X-Note: " + b"a" * 990 + b"\r\n"
    try:
        answer = exchange(port, ASKED, line, 2000)
    except ConnectionError:  # cut off while sending
        answer = None
    assert answer is None or refused(answer) in {(431, "headers-too-large"), (400, "bad-request")}
    served(port, 1)


def test_a_thousand_headers_within_the_limit(port: int) -> None:
    assert exchange(port, ASKED + b"".join(b"X-%d: a\r\n" % i for i in range(1000)) + b"\r\n")[0] == 200


@pytest.mark.parametrize(
    "first", [b"\x16\x03\x01\x02\x00\x01\x00", b"\x00\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n"]
)
def test_what_is_no_request_is_told_as_any_refusal(port: int, first: bytes) -> None:
    assert refused(exchange(port, first + b"\r\n\r\n")) == (400, "bad-request")


def test_large_answers_are_whole_for_who_reads(port: int) -> None:
    assert len(exchange(port, ASKED.replace(b"version", b"large") + b"\r\n")[2]) == LARGE
