"""What swells, nests, repeats or points elsewhere, sent to the real service: refused in words, in bounded memory."""

import gzip
import json
import socket
import zlib
from collections.abc import Iterator
from contextlib import closing
from http.client import HTTPConnection
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from service.guard import ARROW
from tests.endurance.processes import process_on, resident_mb
from tests.service.api.tabling import batch_of, poses, query
from tests.service.running import service

from .making import DEADLINE_S, told

JOB = {"id": "pit", "name": "Pit", "units": "m"}
# A body may be there as bytes, as text and as objects; each of them at most some ten times the megabyte that is taken.
GROWS_MB = 120.0


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    with service(tmp_path_factory.mktemp("data")) as address:
        yield int(address.rpartition(":")[2])


def ask(
    port: int, method: str, path: str, body: bytes | None = None, kind: str = "application/json", **more: str
) -> tuple[int, Any]:
    """(status, the problem or the text) of an answer to a path as it stands, no client's help in between."""
    with closing(HTTPConnection("127.0.0.1", port, timeout=DEADLINE_S)) as connection:
        connection.putrequest(method, path, skip_accept_encoding=True)
        if body is not None:
            connection.putheader("Content-Type", kind)
            connection.putheader("Content-Length", str(len(body)))
        for name, value in more.items():
            connection.putheader(name.replace("_", "-"), value)
        connection.endheaders()
        if body is not None:
            connection.send(body)
        answer = connection.getresponse()
        text = answer.read()
        refused = answer.status >= 400
        return answer.status, told(answer.status, answer.headers["content-type"], text) if refused else text


def refused(answer: tuple[int, Any]) -> tuple[int, str]:
    status, document = answer
    return status, document["type"].rpartition("#")[2]


@pytest.fixture
def bounded(port: int) -> Iterator[None]:
    """The process is hardly larger after than before."""
    ask(port, "GET", "/v1/nowhere")
    process = process_on(port)
    before = resident_mb(process)
    yield
    assert resident_mb(process) - before < GROWS_MB
    assert ask(port, "POST", "/v1/jobs", b"{}")[0] == 422


def spelt(**more: Any) -> bytes:
    return json.dumps(JOB | more).encode()


BODIES: dict[str, tuple[bytes, tuple[int, str]]] = {
    "lists a hundred thousand deep": (b"[" * 100_000, (400, "malformed-json")),
    "objects a hundred thousand deep": (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, (400, "malformed-json")),
    "a name of ten megabytes": (spelt(name="a" * 10_000_000), (413, "too-large")),
    "a name of nearly a megabyte": (spelt(name="a" * 1_000_000), (422, "invalid-request")),
    "a number of a million digits": (b'{"id": ' + b"9" * 1_000_000 + b"}", (400, "malformed-json")),
    "a fraction of a million digits": (b'{"id": 0.' + b"9" * 1_000_000 + b"}", (422, "invalid-request")),
    "a name a hundred thousand times": (b"{" + b'"a":1,' * 100_000 + b'"b":1}', (422, "invalid-request")),
    "the same, and broken behind": (b"{" + b'"a":1,' * 100_000 + b'"b":}', (400, "malformed-json")),
    "a hundred thousand names": (
        b"{" + b",".join(b'"%d":1' % i for i in range(70_000)) + b"}", (422, "invalid-request")
    ),
    "overlong UTF-8": (b'{"id": "\xc0\xaf\xe0\x80\xaf"}', (400, "malformed-json")),
    "a NUL": (b'{"id": "\x00"}', (400, "malformed-json")),
    "a NUL spelt out": (spelt(name="a\0b"), (422, "invalid-request")),
    "half a letter": (b'{"id": "pit", "units": "m", "name": "\\ud800"}', (422, "invalid-request")),
    "quotes without end": (b'{"id": "' + b'\\"' * 400_000, (400, "malformed-json")),
}  # fmt: skip


@pytest.mark.usefixtures("bounded")
@pytest.mark.parametrize("what", BODIES)
def test_a_body_that_swells(port: int, what: str) -> None:
    body, expected = BODIES[what]
    try:
        answer = ask(port, "POST", "/v1/jobs", body)
    except ConnectionError:  # cut off while it was sent
        assert expected[0] == 413
        return
    assert refused(answer) == expected


PACKED = {
    "gzip": gzip.compress(bytes(20_000_000), 9), "deflate": zlib.compress(bytes(20_000_000), 9),
    "br": b"\x1b\xff\xff\xff", "zstd": b"\x28\xb5\x2f\xfd", "identity, gzip": gzip.compress(spelt()),
}  # fmt: skip


@pytest.mark.usefixtures("bounded")
@pytest.mark.parametrize("coding", PACKED)
@pytest.mark.parametrize("path", ["/v1/jobs", "/v1/pose-columns"])
def test_a_packed_body(port: int, coding: str, path: str) -> None:
    answer = ask(port, "POST", path, PACKED[coding], Content_Encoding=coding)
    assert refused(answer) == (415, "wrong-media-type")
    assert "not packed" in answer[1]["errors"][0]["expected"]


def test_a_body_that_is_said_to_be_as_it_is(port: int) -> None:
    assert refused(ask(port, "POST", "/v1/jobs", b"{}", Content_Encoding="identity")) == (
        422,
        "invalid-request",
    )


def arrow(columns: dict[str, Any], **options: Any) -> bytes:
    sink = pa.BufferOutputStream()
    batch = pa.RecordBatch.from_pydict(columns)
    with pa.ipc.new_stream(sink, batch.schema, options=pa.ipc.IpcWriteOptions(**options)) as writer:
        writer.write_batch(batch)
    return sink.getvalue().to_pybytes()  # type: ignore[no-any-return]


def _deep(levels: int) -> Any:
    array = pa.array([1.0])
    for _ in range(levels):
        array = pa.ListArray.from_arrays([0, 1], array)
    return array


STREAMS: dict[str, bytes] = {
    "LZ4, a thousand to one": arrow({"boom_deg": pa.array(np.zeros(2_000_000))}, compression="lz4"),
    "ZSTD, a thousand to one": arrow({"boom_deg": pa.array(np.zeros(2_000_000))}, compression="zstd"),
    "a dictionary": arrow({"boom_deg": pa.array([1.0] * 10).dictionary_encode()}),
    "forty lists": arrow({"boom_deg": _deep(40)}),
    "rows without bytes": arrow({"boom_deg": pa.nulls(7777)}).replace(
        (7777).to_bytes(8, "little"), (2**40).to_bytes(8, "little")
    ),
    "one run of all rows": arrow({
        "boom_deg": pa.RunEndEncodedArray.from_arrays(pa.array([7777], pa.int32()), pa.array([1.0]))
    }),
}  # fmt: skip


@pytest.mark.usefixtures("bounded")
@pytest.mark.parametrize("what", STREAMS)
def test_columns_that_swell(port: int, what: str) -> None:
    status, document = ask(port, "POST", query(), STREAMS[what], ARROW)
    assert (status, refused((status, document))[1]) in {
        (422, "invalid-request"), (422, "too-many-values"), (400, "malformed-arrow"), (422, "refused")
    }  # fmt: skip
    assert all(each["found"] and each["expected"] for each in document["errors"])


@pytest.mark.usefixtures("bounded")
def test_a_length_that_is_not_there(port: int) -> None:
    """Every number of a good stream in turn as the largest there is: refused, or the number was of no account."""
    whole = arrow(batch_of(poses(count=3)).to_pydict())
    for at in range(0, len(whole) - 4, 4):
        value = b"\xff\xff\xff\x7f" if at % 8 else b"\xff\xff\xff\xff"
        status, document = ask(port, "POST", query(), whole[:at] + value + whole[at + 4 :], ARROW)
        assert status in {200, 400, 422}, (at, document)


TRICKS = (
    "..", "%2e%2e", "..%2f..%2f..%2fetc%2fpasswd", "%2e%2e%2f%2e%2e%2fetc%2fpasswd", "....%2f%2fetc", "..%5c..%5cwin.ini",
    "%2fetc%2fpasswd", "%00", "pump-house%00.md", "%c0%ae%c0%ae%c0%afetc", "%e0%80%af", "%ff%fe", "C:%5cwin.ini", "~root",
    "%252e%252e%252fetc", "a" * 3000, "%3Cscript%3E", "'%20OR%201=1--", "index.md%2f..%2f..",
    "file:%2f%2f%2fetc%2fpasswd",
    ";cat%20%2fetc%2fpasswd", "%0d%0aX-Made:%20up", "*", "..;", "__init__.py", "%E2%80%AE", "con", ".git", "app.py",
)  # fmt: skip


def paths(port: int) -> list[str]:
    """Every path of the service that has a part of the caller's, the pages' own among them."""
    with closing(HTTPConnection("127.0.0.1", port, timeout=DEADLINE_S)) as connection:
        connection.request("GET", "/openapi.json")
        described = json.loads(connection.getresponse().read())["paths"]
    ours = [path for path, routes in described.items() if "{" in path and "get" in routes]
    return [*ours, "/guide/{name}", "/guide/figures/{name}", "/page/{name}"]


def test_names_that_point_elsewhere(port: int) -> None:
    """In every path: refused in words, nothing of the machine in it, no header of the caller's making."""
    known = paths(port)
    assert len(known) > 25
    with closing(HTTPConnection("127.0.0.1", port, timeout=DEADLINE_S)) as connection:
        for path in known:
            for trick in TRICKS if not path.startswith("/v1/") else TRICKS[::4]:
                whole = "/".join(trick if part.startswith("{") else part for part in path.split("/"))
                connection.putrequest("GET", whole, skip_accept_encoding=True)
                connection.endheaders()
                answer = connection.getresponse()
                text = answer.read()
                assert answer.status in {404, 409, 422}, (whole, answer.status, text)
                assert "x-made" not in answer.headers
                assert b"root:" not in text
                told(answer.status, answer.headers["content-type"], text)


def test_headers_of_a_megabyte(port: int) -> None:
    with closing(socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S)) as connection:
        head = b"GET /v1/version HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Note: " + b"a" * 1_000_000
        said = b""
        try:
            connection.sendall(head)
            while piece := connection.recv(65_536):
                said += piece
        except ConnectionError:
            pass
    assert not said or said.startswith((b"HTTP/1.1 431", b"HTTP/1.1 400"))
    assert ask(port, "POST", "/v1/jobs", b"{}")[0] == 422
