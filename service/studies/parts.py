"""One part of a study: variants evaluated, as a Parquet file in memory. The same bytes whoever makes them."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from kinematics.room import Room
from kinematics.study import STATUS
from kinematics.study_rows import Evaluated, evaluate

from .plan import Column, Plan

_WORD = pa.dictionary(pa.int8(), pa.string())
_CODES = tuple(STATUS)
_PLACES = np.zeros(256, dtype=np.int8)
_PLACES[list(_CODES)] = np.arange(len(_CODES))
_COUNTED = ("variant", "pose", "solved")
_AT_ONCE = 2**16  # rows; a sixth quicker than as it comes
PAGE = 4096
"""What a part's content begins at a multiple of, so that a disk can take it from where it is."""
_ROOM = 2**20  # bytes for names, schema and what each page says of itself


@dataclass(frozen=True, slots=True)
class Part:
    """A part's file, and what is told of it: `rows`, and how many variants and how many evaluations had which status."""

    number: int
    content: memoryview
    rows: int
    variants: Mapping[str, int]
    evaluations: Mapping[str, int]


def schema_of(plan: Plan) -> Any:
    """The columns of a study's results, as Arrow has them; each number's unit stands in its metadata too."""
    fields = [pa.field("variant", pa.int32(), nullable=False)]
    if plan.each_pose:
        fields.append(pa.field("pose", pa.int32(), nullable=False))
    if plan.document.results.parameters:
        fields += [pa.field(each.name, pa.float64(), nullable=False) for each in plan.parameters]
    fields += [pa.field(each.name, _WORD if each.words else pa.float64()) for each in plan.results]
    if not plan.each_pose:
        fields.append(pa.field("solved", pa.int32(), nullable=False))
    fields.append(pa.field("status", _WORD, nullable=False))
    return pa.schema(fields)


def make_part(plan: Plan, number: int, room: Room) -> Part:
    """Evaluate a part and write it down. Its content stands in `room`, until the next part does."""
    found = evaluate(plan.study, *plan.variants(number), room)
    table = _by_pose(plan, found, room) if plan.each_pose else _by_variant(plan, found)
    variants = np.where(found.variant_status == 0, found.trait_status, found.variant_status)
    return Part(number, parquet(table, room), table.num_rows, _counted(variants), _counted(found.status))


def parquet(table: Any, room: Room) -> memoryview:
    """A table as a Parquet file of one row group, written into `room`."""
    # Twice as much as its numbers take: no encoding here adds as much, and a sink that is too small says so.
    space = room.array("file", (2 * table.nbytes + _ROOM + PAGE,), np.uint8)
    space = space[-space.ctypes.data % PAGE :]
    with pa.FixedSizeBufferWriter(pa.py_buffer(space)) as sink:
        pq.write_table(table, sink, **writing(table.schema, table.num_rows))
        return space.data[: sink.tell()]


def writing(schema: Any, rows: int) -> dict[str, Any]:
    """How a table of results is written. What stands in every row, pose after pose, all but vanishes with the quickest
    compression; computed numbers do not compress, and looking for repetitions takes longer than to write them."""
    return {
        "row_group_size": max(rows, 1), "use_dictionary": [field.name for field in schema if field.type == _WORD],
        "compression": {field.name: "none" if field.nullable else "snappy" for field in schema},
        "write_statistics": [name for name in _COUNTED if name in schema.names], "write_batch_size": _AT_ONCE,
    }  # fmt: skip


def _by_pose(plan: Plan, found: Evaluated, room: Room) -> Any:
    variants, poses = shape = found.status.shape
    ok = found.status == 0
    variant, pose = (room.array(name, shape, np.int32) for name in ("variant", "pose"))
    variant[:] = np.arange(found.first, found.first + variants, dtype=np.int32)[:, None]
    pose[:] = np.arange(poses, dtype=np.int32)
    columns: list[Any] = [variant.reshape(-1), pose.reshape(-1)]
    if plan.document.results.parameters:
        columns += [np.repeat(each, poses) for each in _scaled(plan.parameters, found.parameters)]
    lost = None if ok.all() else ~ok.reshape(-1)
    for each in plan.outputs:
        values = found.outputs[each.source]
        if each.words:
            columns.append(_words(values.reshape(-1), each.words))
            continue
        if each.factor != 1.0:
            values *= each.factor
        columns.append(pa.array(values.reshape(-1), mask=lost))
    return pa.table([*columns, _status(found.status.reshape(-1))], schema=schema_of(plan))


def _by_variant(plan: Plan, found: Evaluated) -> Any:
    variants = len(found.variant_status)
    columns: list[Any] = [np.arange(found.first, found.first + variants, dtype=np.int32)]
    if plan.document.results.parameters:
        columns += _scaled(plan.parameters, found.parameters)
    values = {**found.traits, **found.metrics}
    columns += [
        pa.array(values[each.source] * each.factor, mask=np.isnan(values[each.source]))
        for each in plan.results
    ]
    # Of a machine whose poses were not all solved, why the first was not; else why it has not all of its envelope.
    first = np.argmax(found.status != 0, axis=1)
    status = found.status[np.arange(variants), first]
    status = np.where(status == 0, found.trait_status, status)
    return pa.table([*columns, found.solved.astype(np.int32), _status(status)], schema=schema_of(plan))


def _scaled(columns: tuple[Column, ...], values: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    return [values[:, i] * each.factor for i, each in enumerate(columns)]


def _words(values: NDArray[np.float64], words: tuple[str, ...]) -> Any:
    none = np.isnan(values)
    places = np.where(none, 0.0, values).astype(np.int8)
    return pa.DictionaryArray.from_arrays(pa.array(places, mask=none), pa.array(words))


@cache
def _status_words() -> Any:
    """Made at the first use: with the first array pyarrow looks for packages that a service needs not."""
    return pa.array([STATUS[code] for code in _CODES])


def _status(codes: NDArray[np.uint8]) -> Any:
    places = _PLACES[codes] if codes.any() else np.zeros(codes.size, dtype=np.int8)
    return pa.DictionaryArray.from_arrays(pa.array(places), _status_words())


def _counted(codes: NDArray[np.uint8]) -> dict[str, int]:
    if not codes.any():
        return {STATUS[0]: codes.size}
    counts = np.bincount(codes.reshape(-1), minlength=256)
    return {STATUS[int(code)]: int(counts[code]) for code in np.flatnonzero(counts)}
