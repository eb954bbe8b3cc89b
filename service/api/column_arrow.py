"""Columns of poses as an Arrow IPC stream: read where it lies in the body, written once.

The format: Arrow columnar format 1.5, "Serialization and Interprocess Communication".
"""

import struct
from collections.abc import Callable, Iterator
from importlib.metadata import version
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pydantic_core import to_json

from service.problems import Problem
from service.text import FaultOut, fault, pointer, shown, unknown_field

from .answers import ADVISORY
from .column_request import (
    ANGLES,
    CYLINDERS,
    LEAN,
    MOST_VALUES,
    PAST_SQUARE,
    Asked,
    Head,
    not_finite,
    room,
    too_many,
)
from .column_solving import Solved

_RELEASE = version("tipdatum")  # asked of the file system, a millisecond each time
_END = b"\xff\xff\xff\xff\x00\x00\x00\x00"
_NAMES = {f"{name}_deg": name for name in (*LEAN, *ANGLES)} | {
    f"{name}_cylinder_mm": f"{name}_cylinder" for name in CYLINDERS
}
COLUMNS = (*_NAMES, "machine_of")
"""What an Arrow column may be called: the angles and lengths of a JSON body, with their units."""

# What the reader raises for bytes that are no stream; its own exceptions have no common base but Exception.
_BROKEN = (
    pa.ArrowException, OSError, ValueError, KeyError, IndexError, TypeError, OverflowError, MemoryError, StopIteration,
    struct.error,
)  # fmt: skip


def place_in_arrow(name: str) -> str:
    """The column of a name: "boom" stands at "boom_deg"; machines and outputs stand in the query."""
    if name in {"machines", "outputs"}:
        return ""
    return name if name == "machine_of" else f"{name}_mm" if name.endswith("_cylinder") else f"{name}_deg"


def read(body: bytes, head: Head) -> Asked:
    """The request in an Arrow stream and what its query named. Raises `Problem` where the bytes are no such stream."""
    asked = Asked(head, place_in_arrow)
    try:
        schema, rows = _looked_over(body)
        _schema_faults(schema, asked.faults)
        if asked.faults:
            asked.columns = {_NAMES[name]: np.zeros(()) for name in schema.names if name in _NAMES}
            return asked
        if rows * len(schema) > MOST_VALUES:
            raise Problem("too-many-values", [too_many("values in the body", rows * len(schema))])
        batches = [_whole(batch) for batch in pa.ipc.open_stream(pa.py_buffer(body))]
    except _BROKEN as error:
        raise _malformed(str(error) or type(error).__name__) from None
    if rows == 0:
        asked.faults.append(fault("wrong-length", "no rows", "at least one row"))
    for i, name in enumerate(schema.names):
        column = _column([batch.column(i) for batch in batches], name, asked.faults)
        if name == "machine_of":
            asked.machine_of = column
        else:
            asked.columns[_NAMES[name]] = column
    if asked.faults:
        not_finite(asked)
    return asked


def _looked_over(body: bytes) -> tuple[Any, int]:
    """(schema, rows) of a stream none of whose rows is read yet.

    What is packed could unfold to any size, and a stream cut off between two batches looks like a whole one.
    """
    source = pa.BufferReader(pa.py_buffer(body))
    messages = pa.ipc.MessageReader.open_stream(source)
    try:
        first = messages.read_next_message()
    except StopIteration:
        raise _malformed("no schema in the stream") from None
    if first.type != "schema":
        raise _malformed(f"a {first.type} in front")
    schema = pa.ipc.read_schema(first)
    rows = 0
    before = source.tell()
    for message in _rest(messages):
        before = source.tell()
        if message.type == "dictionary":  # its column is refused by its type
            continue
        if message.type != "record batch":
            raise _malformed(f"a {message.type} after the schema")
        count, packed = _batch_head(message.metadata.to_pybytes())
        if packed:
            raise Problem("invalid-request", [
                fault("wrong-form", "compressed buffers", "buffers as they are", "write the stream without compression")
            ])  # fmt: skip
        rows += count
    rest = body[before:]
    if not rest.startswith(_END):
        raise _malformed(f"{len(rest)} bytes after the last whole batch, and no end-of-stream mark")
    if rest != _END:
        raise _malformed(
            f"{len(rest) - len(_END)} bytes after the end of the stream",
            "send one stream and nothing after it",
        )
    return schema, rows


def _rest(messages: Any) -> Iterator[Any]:
    while True:
        try:
            yield messages.read_next_message()
        except StopIteration:
            return


def _batch_head(metadata: bytes) -> tuple[int, bool]:
    """(rows, whether buffers are compressed) of a record batch: fields 0 and 3 of its table (Message.fbs)."""
    message = struct.unpack_from("<I", metadata)[0]
    header = _field(metadata, message, 2)
    batch = header + struct.unpack_from("<I", metadata, header)[0]
    length = _field(metadata, batch, 0)
    return (struct.unpack_from("<q", metadata, length)[0] if length else 0), bool(_field(metadata, batch, 3))


def _field(data: bytes, table: int, number: int) -> int:
    """Where a field of a flatbuffer table stands; 0 where it is left out."""
    layout = table - struct.unpack_from("<i", data, table)[0]
    at = 4 + 2 * number
    if at >= struct.unpack_from("<H", data, layout)[0]:
        return 0
    offset: int = struct.unpack_from("<H", data, layout + at)[0]
    return table + offset if offset else 0


def _schema_faults(schema: Any, faults: list[FaultOut]) -> None:
    seen: set[str] = set()
    for each in schema:
        if not room(faults):
            return
        at = pointer([each.name])
        if each.name not in COLUMNS:
            faults.append(unknown_field(each.name, COLUMNS, at))
        elif each.name in seen:
            faults.append(
                fault("given-twice", f"the column {shown(each.name)} again", "each column once", "", at)
            )
        elif not (
            pa.types.is_integer(each.type) or (pa.types.is_floating(each.type) and each.name != "machine_of")
        ):
            expected = "whole numbers" if each.name == "machine_of" else "floating-point or whole numbers"
            faults.append(fault("wrong-type", f"a column of type {each.type}", expected, "cast it", at))
        seen.add(each.name)


def _whole(batch: Any) -> Any:
    batch.validate(full=True)
    return batch


def _column(chunks: list[Any], name: str, faults: list[FaultOut]) -> NDArray[Any]:
    """The values of a column, where they lie in the body if they came in one piece; 0 where one is missing."""
    start = 0
    missing = False
    for chunk in chunks:
        if chunk.null_count:
            missing = True
            absent = np.flatnonzero(chunk.is_null().to_numpy(zero_copy_only=False))
            for i in absent[: room(faults)].tolist():
                at = pointer([name, start + i])
                faults.append(fault("wrong-type", "null", "a number", "leave the row out", at))
        start += len(chunk)
    if missing or not start:
        return np.zeros((), dtype=np.int64 if name == "machine_of" else np.float64)
    values = [chunk.to_numpy(zero_copy_only=True) for chunk in chunks if len(chunk)]
    return np.require(values[0] if len(values) == 1 else np.concatenate(values), requirements=["C", "A"])


_WRITE_ANEW = "write it with an Arrow library, and close the writer before sending"


def _malformed(found: str, advice: str = _WRITE_ANEW) -> Problem:
    expected = "one Arrow IPC stream: schema, record batches, end-of-stream mark"
    return Problem("malformed-arrow", [fault("malformed-arrow", found, expected, advice)])


def write(solved: Solved) -> memoryview:
    """The answer as one stream, in memory of just its size; a row without numbers is null in every output."""
    valid = None if not solved.failed else _bits(solved.ok)
    fields, arrays = [], []
    for name, column in solved.columns.items():
        square = name == PAST_SQUARE
        kind = pa.bool_() if square else pa.float64()
        data = _bits(column < 0.0) if square else pa.py_buffer(column)
        fields.append(pa.field(name, kind))
        arrays.append(pa.Array.from_buffers(kind, solved.rows, [valid, data], solved.failed))
    statuses = pa.array(solved.statuses)
    status = pa.DictionaryArray.from_arrays(pa.array(solved.status), statuses)
    fields.append(pa.field("status", status.type, nullable=False))
    arrays.append(status)
    if solved.machine_of is not None:
        fields.append(pa.field("machine_of", pa.int32(), nullable=False))
        arrays.append(pa.array(solved.machine_of))
    machines = [{"machine": {"id": m.id, "revision": m.hash}, "attachment": {"id": a.id, "revision": a.hash}}
                for m, a in solved.pairs]  # fmt: skip
    schema = pa.schema(fields, {"tipdatum": _RELEASE, "machines": to_json(machines), "advisory": ADVISORY})
    batch = pa.RecordBatch.from_arrays(arrays, schema=schema)
    measure = pa.MockOutputStream()
    _stream(batch, lambda: measure)
    room_for = pa.allocate_buffer(measure.size())
    _stream(batch, lambda: pa.FixedSizeBufferWriter(room_for))
    return memoryview(room_for)


def _stream(batch: Any, sink: Callable[[], Any]) -> None:
    with pa.ipc.new_stream(sink(), batch.schema) as writer:
        writer.write_batch(batch)


def _bits(flags: NDArray[np.bool_]) -> Any:
    return pa.py_buffer(np.packbits(flags, bitorder="little"))
