"""Results of a study in one file, and what they say in sum: Parquet and CSV with provenance, counts, Sobol indices."""

import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from kinematics.errors import Fault, Refused
from kinematics.sobol_indices import sobol_indices

from .folder import Folder, writing_to
from .parts import schema_of, writing
from .plan import Column, Plan
from .runner import Outcome

ADVISORY = "Advisory only: computed from profiles as they were measured."
_KEY = b"tipdatum"


def write_parquet(plan: Plan, folder: Folder, outcome: Outcome, path: Path) -> None:
    """All finished parts in one new Parquet file; its metadata "tipdatum" is the manifest with the counts. Part by part:
    the memory of one is enough. `Refused` "file-exists", "disk-full", "unwritable"."""
    schema = schema_of(plan).with_metadata({_KEY: json.dumps(provenance(folder, outcome)).encode()})
    with _new(path) as out, writing_to(path):
        _parquet_into(folder, outcome, schema, out)


def _parquet_into(folder: Folder, outcome: Outcome, schema: Any, out: BinaryIO) -> None:
    options = writing(schema, 1)
    options.pop("row_group_size")
    with pq.ParquetWriter(out, schema, **options) as writer:
        for table in tables(folder, outcome):
            writer.write_table(table.cast(schema), row_group_size=max(table.num_rows, 1))


def write_csv(plan: Plan, folder: Folder, outcome: Outcome, path: Path) -> None:
    """All finished parts in one new CSV file (RFC 4180): the provenance in lines that begin with #, names with their
    units, a row each, empty where there is no number; every figure in full. `Refused` as `write_parquet`."""
    with _new(path) as out, writing_to(path):
        for line in json.dumps(provenance(folder, outcome), indent=1).splitlines():
            out.write(f"# {line}\n".encode())
        schema = schema_of(plan)
        plain = pa.schema(
            [
                pa.field(field.name, pa.string()) if pa.types.is_dictionary(field.type) else field
                for field in schema
            ]
        )
        with pcsv.CSVWriter(out, plain, write_options=pcsv.WriteOptions(quoting_style="none")) as writer:
            for table in tables(folder, outcome):
                writer.write_table(table.cast(plain))


class _new:  # noqa: N801 - read as a word
    """A new file that is there whole or not at all."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._under_way = path.with_name(path.name + ".new")

    def __enter__(self) -> BinaryIO:
        if self._path.exists():
            raise Refused(
                [Fault("file-exists", str(self._path), "a file", "a new file", "name another, or remove it")]
            )
        with writing_to(self._path):
            self._file = self._under_way.open("wb")
        return self._file

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        with writing_to(self._path):
            self._file.close()
            if error is None:
                self._under_way.replace(self._path)
            else:
                self._under_way.unlink(missing_ok=True)


def tables(folder: Folder, outcome: Outcome, columns: Sequence[str] | None = None) -> Iterator[Any]:
    """The finished parts in order, as Arrow tables."""
    for path in folder.files(outcome.finished):
        yield pq.ParquetFile(path).read(columns=columns)


def provenance(folder: Folder, outcome: Outcome) -> dict[str, Any]:
    """What was written when the study began, and the counts of what is finished."""
    return {
        **folder.manifest(), "finished": outcome.done, "parts_finished": len(outcome.finished),
        "variants_by_status": outcome.counts("variants"), "evaluations_by_status": outcome.counts("evaluations"),
        "advisory": ADVISORY,
    }  # fmt: skip


def summary(plan: Plan, folder: Folder, outcome: Outcome) -> dict[str, Any]:
    """What a study came to, for programs: provenance; least, mean and greatest of every column; of a design for Sobol
    indices those of every trait and metric, or in words why there are none."""
    told = provenance(folder, outcome)
    told["results"] = [_range(folder, outcome, each) for each in plan.results] if outcome.finished else []
    if plan.document.design.kind == "sensitivity" and outcome.done:
        told["sobol_indices"] = [_indices(plan, folder, outcome, each) for each in plan.results]
    return told


def _range(folder: Folder, outcome: Outcome, column: Column) -> dict[str, Any]:
    if column.words:
        return _tally(folder, outcome, column)
    least, greatest, total, count = math.inf, -math.inf, 0.0, 0
    for table in tables(folder, outcome, [column.name]):
        values = table.column(column.name)
        known = len(values) - values.null_count
        if known:
            ends = pc.min_max(values).as_py()
            least, greatest = min(least, ends["min"]), max(greatest, ends["max"])
            total, count = total + pc.sum(values).as_py(), count + known
    if not count:
        return {"column": column.name, "known": 0, "least": None, "mean": None, "greatest": None}
    return {
        "column": column.name,
        "known": count,
        "least": least,
        "mean": total / count,
        "greatest": greatest,
    }


def _tally(folder: Folder, outcome: Outcome, column: Column) -> dict[str, Any]:
    """How often a column says each of its words."""
    counts = dict.fromkeys(column.words, 0)
    for table in tables(folder, outcome, [column.name]):
        for each in pc.value_counts(table.column(column.name).cast(pa.string()).drop_null()).to_pylist():
            counts[each["values"]] += each["counts"]
    return {"column": column.name, "known": sum(counts.values()), "least": None, "mean": None, "greatest": None,
            "counts": {word: count for word, count in counts.items() if count}}  # fmt: skip


def _indices(plan: Plan, folder: Folder, outcome: Outcome, column: Column) -> dict[str, Any]:
    values = np.concatenate([
        table.column(column.name).to_numpy(zero_copy_only=False) for table in tables(folder, outcome, [column.name])
    ])  # fmt: skip
    try:
        found = sobol_indices(plan.study.design, values)
    except Refused as refused:
        return {"column": column.name, "why_not": str(refused), "parameters": []}
    each = [
        {"parameter": name, "first": first, "first_within_95": [first_low, first_high], "total": total,
         "total_within_95": [total_low, total_high]}
        for name, first, first_low, first_high, total, total_low, total_high in zip(
            found.names, *(getattr(found, field).tolist() for field in (
                "first", "first_low", "first_high", "total", "total_low", "total_high")), strict=True)
    ]  # fmt: skip
    return {"column": column.name, "why_not": None, "parameters": each}
