"""The door as bytes on a socket meet it, with the server's own HTTP readers in between."""

import re
import socket
from contextlib import closing

import pytest

from .making import DEADLINE_S, LIMIT, told

FIFTY_MB = 50_000_000
START = b"POST /v1/bodies HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"


def exchange(port: int, first: bytes, more: bytes = b"", times: int = 0) -> tuple[int, dict[str, str], bytes]:
    """(status, headers, body) of the answer to raw bytes; `more` is sent up to `times` while the server takes it."""
    with closing(socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S)) as connection:
        connection.sendall(first)
        try:
            for _ in range(times):
                connection.sendall(more)
        except ConnectionError:
            assert times, "the server hung up on a short request"
        return read(connection)


def read(connection: socket.socket) -> tuple[int, dict[str, str], bytes]:
    received = b""
    while b"\r\n\r\n" not in received:
        received += more_of(connection, received)
    head, _, body = received.partition(b"\r\n\r\n")
    lines = head.decode("latin-1").split("\r\n")
    headers = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines[1:])}
    while len(body) < int(headers.get("content-length", "0")):
        body += more_of(connection, received)
    status = re.fullmatch(r"HTTP/1\.1 ([0-9]{3}) .*", lines[0])
    assert status, lines[0]
    return int(status[1]), headers, body


def more_of(connection: socket.socket, so_far: bytes) -> bytes:
    piece = connection.recv(65536)
    assert piece, f"the connection ended after {so_far!r}"
    return piece


def refused(answer: tuple[int, dict[str, str], bytes]) -> tuple[int, str]:
    status, headers, body = answer
    document = told(status, headers["content-type"], body)
    return status, document["type"].rpartition("#")[2]


def test_a_short_request_is_served(port: int) -> None:
    status, _, body = exchange(port, START + b'Content-Length: 13\r\n\r\n{"number":21}')
    assert (status, b'"number":21' in body) == (200, True)


def test_fifty_megabytes_announced(port: int) -> None:
    announced = exchange(port, START + b"Content-Length: %d\r\n\r\n" % FIFTY_MB)
    assert refused(announced) == (413, "too-large")
    assert announced[1]["connection"] == "close"


def test_fifty_megabytes_sent(port: int) -> None:
    """The sender may find the line cut; the service must answer the next one all the same."""
    piece = b" " * 100_000
    try:
        answer = exchange(
            port, START + b"Content-Length: %d\r\n\r\n" % FIFTY_MB, piece, FIFTY_MB // len(piece)
        )
    except ConnectionError:
        pass
    else:
        assert refused(answer) == (413, "too-large")
    test_a_short_request_is_served(port)


def test_fifty_megabytes_in_chunks(port: int) -> None:
    piece = b"186a0\r\n" + b" " * 100_000 + b"\r\n"
    try:
        answer = exchange(port, START + b"Transfer-Encoding: chunked\r\n\r\n", piece, FIFTY_MB // 100_000)
    except ConnectionError:
        pass
    else:
        assert refused(answer) == (413, "too-large")
    test_a_short_request_is_served(port)


def test_a_chunk_over_the_limit_is_told(port: int) -> None:
    size = LIMIT + 1
    chunk = b"%x\r\n" % size + b" " * size + b"\r\n"
    assert refused(exchange(port, START + b"Transfer-Encoding: chunked\r\n\r\n" + chunk)) == (
        413,
        "too-large",
    )


@pytest.mark.parametrize("length", [b"junk", b"-5", b"5, 6", b"1e3"])
def test_junk_for_a_length(port: int, length: bytes) -> None:
    """The server's own reader stops most of these; whoever does, it is a 400 and nothing was taken."""
    assert exchange(port, START + b"Content-Length: " + length + b"\r\n\r\n{}")[0] == 400


def test_foreign_host(port: int) -> None:
    answer = exchange(port, b"GET /v1/version HTTP/1.1\r\nHost: example.org\r\n\r\n")
    assert refused(answer) == (421, "foreign-host")


@pytest.mark.parametrize("hosts", [b"", b"Host: 127.0.0.1\r\nHost: 127.0.0.1\r\n"])
def test_no_host_and_two_hosts(port: int, hosts: bytes) -> None:
    assert exchange(port, b"GET /v1/version HTTP/1.1\r\n" + hosts + b"\r\n")[0] == 400


def test_no_host_in_the_old_protocol(port: int) -> None:
    assert refused(exchange(port, b"GET /v1/version HTTP/1.0\r\n\r\n")) == (400, "bad-request")


def test_foreign_origin(port: int) -> None:
    answer = exchange(port, START + b"Origin: http://example.org\r\nContent-Length: 2\r\n\r\n{}")
    assert refused(answer) == (403, "foreign-origin")


def test_text_for_json(port: int) -> None:
    start = b"POST /v1/bodies HTTP/1.1\r\nHost: localhost\r\nContent-Type: text/plain\r\n"
    assert refused(exchange(port, start + b"Content-Length: 2\r\n\r\n{}")) == (415, "wrong-media-type")


def test_broken_json(port: int) -> None:
    answer = exchange(port, START + b'Content-Length: 11\r\n\r\n{"number":}')
    assert refused(answer) == (400, "malformed-json")


def test_nothing_of_the_inside(port: int) -> None:
    answer = exchange(port, b"GET /v1/failures HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    assert refused(answer) == (500, "internal")
    assert b"mat" not in answer[2]
    assert b"Traceback" not in answer[2]


@pytest.mark.parametrize(
    "path", [b"/guide/../app", b"/guide/..%2f..%2fapp.py", b"/guide//etc/passwd", b"/guide/%2e%2e/app"]
)
def test_no_way_out_of_the_guide(port: int, path: bytes) -> None:
    assert refused(exchange(port, b"GET " + path + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")) == (
        404,
        "not-found",
    )
