"""Columns of poses as JSON and Arrow, read and solved as the route does; Arrow streams of any type and shape."""

import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from random import Random
from typing import Any

import numpy as np
import pyarrow as pa

from kinematics.assembly import Assembly, assemble
from kinematics.errors import Fault, Refused
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped
from service.api import column_arrow, column_json
from service.api.column_request import Asked, Head, Pair
from service.api.column_solving import Workers, solve
from service.book.state import Named
from tests.service.api.tabling import OUTPUTS, PAIR, as_json, batch_of, poses, stream

_ROWS = 12


class Shipped:
    """The shipped profiles, as `Profiles` gives them."""

    def pair(self, machine: str, attachment: str) -> tuple[Named, Named, Assembly]:
        """Both revisions and their assembly. `Refused` "unknown-machine", "unknown-attachment"."""
        halves = []
        for kind, name in (("machine", machine), ("attachment", attachment)):
            if (kind, name) not in shipped():
                raise Refused([Fault(f"unknown-{kind}", kind, repr(name[:60]), f"a {kind} on record")])
            halves.append(shipped()[kind, name])
        one, other = halves
        assert isinstance(one.geometry, Machine)
        assert isinstance(other.geometry, Attachment)
        named = [Named(each.id, each.content_hash) for each in halves]
        return named[0], named[1], assemble(one.geometry, other.geometry)


@cache
def _crew() -> Workers:
    return Workers(ThreadPoolExecutor(1), 1, None)  # type: ignore[arg-type]  # nobody waits for a seat here


def json_body() -> bytes:
    """A good one."""
    return json.dumps(as_json(poses(count=_ROWS))).encode()


def from_json(data: bytes) -> object:
    """As the route reads, solves and writes it."""
    return _written(column_json.read(data))


def from_arrow(data: bytes) -> object:
    """The same, of an Arrow body with a good query."""
    head = Head(machines=[Pair(machine=PAIR[0], attachment=PAIR[1])], outputs=list(OUTPUTS))
    return _written(column_arrow.read(data, head))


def _written(asked: Asked) -> object:
    solved = solve(asked, Shipped(), _crew())  # type: ignore[arg-type]  # all of it that is asked
    told = json.loads(column_json.write(solved))
    assert told["rows"] == solved.rows
    table = pa.ipc.open_stream(column_arrow.write(solved)).read_all()
    assert table.num_rows == solved.rows
    return told["columns"], {name: column[solved.ok] for name, column in solved.columns.items()}


@cache
def streams() -> Sequence[bytes]:
    """Good ones: one batch, two batches."""
    angles = poses(count=_ROWS)
    whole = batch_of(angles)
    return [stream(whole), stream(whole.slice(0, 5), whole.slice(5))]


_KINDS: tuple[Any, ...] = (
    pa.float64(), pa.float32(), pa.float16(), pa.int8(), pa.int64(), pa.uint64(), pa.bool_(), pa.string(), pa.null(),
    pa.large_string(), pa.binary(), pa.decimal128(38, 3), pa.timestamp("ns"), pa.duration("s"), pa.date32(),
    pa.list_(pa.float64()), pa.large_list(pa.int32()), pa.list_(pa.float64(), 3), pa.struct([("a", pa.float64())]),
    pa.map_(pa.string(), pa.int8()), pa.dictionary(pa.int8(), pa.float64()), pa.dictionary(pa.int32(), pa.string()),
    pa.month_day_nano_interval(), pa.run_end_encoded(pa.int32(), pa.float64()), pa.string_view(),
    pa.dense_union([pa.field("a", pa.float64())]),
)  # fmt: skip


def made(rng: Random) -> bytes:
    """A stream that is one, of whatever types, names, batches, nulls, metadata and compression; sometimes spoilt."""
    angles = poses(count=_ROWS)
    names = list(column_arrow.COLUMNS) if rng.random() < 0.3 else [f"{name}_deg" for name in angles]
    rng.shuffle(names)
    names = names[: rng.randrange(1, len(names) + 1)] if rng.random() < 0.4 else names
    if rng.random() < 0.3:
        names.append(rng.choice(("boom_deg", "", "\0", "é" * 99, "boom", "a.b", "machine_of")))
    deep = pa.float64()
    for _ in range(rng.choice((0, 3, 40))):
        deep = pa.list_(deep)
    rows = rng.choice((0, 1, _ROWS, 3000))
    fields = [pa.field(name, _kind(rng, deep)) for name in names]
    schema = pa.schema(fields, {"x": "y" * rng.choice((0, 10, 100_000))} if rng.random() < 0.2 else None)
    sink = pa.BufferOutputStream()
    options = pa.ipc.IpcWriteOptions(
        compression=rng.choice((None, None, None, "lz4", "zstd")), allow_64bit=rng.random() < 0.5,
        emit_dictionary_deltas=rng.random() < 0.5,
    )  # fmt: skip
    with pa.ipc.new_stream(sink, schema, options=options) as writer:
        for _ in range(rng.choice((0, 1, 1, 2, 5))):
            writer.write_batch(
                pa.RecordBatch.from_arrays([_column(rng, each.type, rows) for each in fields], schema=schema)
            )
    data = bytearray(sink.getvalue().to_pybytes())
    for _ in range(rng.choice((0, 0, 1, 3))):
        at = rng.randrange(len(data)) // 4 * 4
        told = rng.choice((0, 1, 2**31 - 1, 2**32 - 1, rng.randrange(2**32)))
        data[at : at + 4] = told.to_bytes(4, "little")
    return bytes(data)


def _kind(rng: Random, deep: Any) -> Any:
    return pa.float64() if rng.random() < 0.85 else rng.choice((*_KINDS, deep))


def _column(rng: Random, kind: Any, rows: int) -> Any:
    if kind != pa.float64():
        try:
            return (
                pa.nulls(rows, kind)
                if rng.random() < 0.5
                else pa.array([rng.randrange(100)] * rows).cast(kind)
            )
        except (pa.ArrowException, ValueError):
            return pa.nulls(rows, kind)
    values = np.array([rng.uniform(-100, 100) for _ in range(min(rows, 50))] or [0.0])
    values = np.resize(values, rows)
    if rows and rng.random() < 0.3:
        values[rng.randrange(rows)] = rng.choice((float("nan"), float("inf"), -1e308, 5e-324, 1e18))
    mask = np.zeros(rows, dtype=bool)
    if rows and rng.random() < 0.2:
        mask[rng.randrange(rows)] = True
    return pa.array(values, mask=mask)
