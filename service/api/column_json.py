"""Columns of poses as JSON: read without a model for each number, written without one for each row."""

import sys
from collections.abc import Mapping
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict, Field, ValidationError
from pydantic_core import to_json

from service.book.requests import CylinderName, Joint
from service.problems import Problem
from service.strict import Strict, example
from service.text import FaultOut, fault, misfit, pointer, read_json, shown, unknown_field

from .answers import ADVISORY, Reference
from .column_request import (
    ANGLES,
    CYLINDERS,
    LEAN,
    MOST_MACHINES,
    MOST_VALUES,
    PAST_SQUARE,
    Asked,
    Head,
    not_finite,
    room,
    too_many,
)
from .column_solving import Solved

# A piece of this many numbers is written in some 5 ms, for which the writer keeps every other thread waiting.
_PIECE = 65_536

Column = float | list[float]


class Lean(Strict):
    """How the body leans."""

    pitch: Column = Field(description="Degrees, nose up positive; one number for all rows, or one a row.")
    roll: Column = Field(description="Degrees, left side up positive; one number for all rows, or one a row.")


class ColumnsIn(Head):
    """Machines, columns of poses, and the outputs that are wanted.

    Each joint that the machines have is given once: by its angle, its cylinder, or (the bucket) by idler or power link.
    """

    model_config = ConfigDict(json_schema_extra=example({
        "machines": [{"machine": "crawler-14t", "attachment": "digging-1500"}],
        "attitude_deg": {"pitch": 0.4, "roll": [-0.2, -0.2, 0.3]},
        "angles_deg": {"boom": [30.0, 28.0, 26.0], "stick": [-100.0, -97.0, -94.0], "bucket": 60.0},
        "outputs": ["centre_height_m", "centre_reach_m", "cross_slope_percent"],
    }))  # fmt: skip
    attitude_deg: Annotated[Lean, Field(description="Pitch and roll of each row.")]
    angles_deg: dict[Joint, Column] = Field(
        default_factory=dict, description="By joint: one number for all rows, or a list with one a row."
    )
    cylinders_mm: dict[CylinderName, Column] = Field(
        default_factory=dict, description="Pin to pin, by the joint it moves; as `angles_deg`."
    )
    machine_of: list[int] | None = Field(
        None, description="Which machine of `machines` takes each row, counted from 0."
    )


class PairOut(Strict):
    """The revisions behind a machine's rows."""

    machine: Reference
    attachment: Reference


class ColumnsOut(Strict):
    """Columns of results, all of one length."""

    rows: int
    machines: list[PairOut]
    machine_of: list[int] | None = Field(
        None, description="Where there are several machines: which of them each row belongs to."
    )
    columns: dict[str, list[float | bool | None]] = Field(
        description="By output; null in a row that has no trustworthy number."
    )
    status: list[str] = Field(description='"ok", or why the row has no number.')
    failed: int = Field(description="How many rows have no number.")
    advisory: str


def _shape(asked: ColumnsIn) -> None:
    """Where `misfit` finds the fields that a body has."""


def place_in_json(name: str) -> str:
    """The field of a column: "boom" stands at "angles_deg.boom"."""
    if name in LEAN:
        return f"attitude_deg.{name}"
    if name.endswith("_cylinder"):
        return f"cylinders_mm.{name.removesuffix('_cylinder')}"
    return name if name in {"machine_of", "machines", "outputs"} else f"angles_deg.{name}"


def read(body: bytes) -> Asked:
    """The request in a JSON text. Raises `Problem` where it is none or too large; other faults stand in the answer."""
    if (values := body.count(b",")) > MOST_VALUES:
        raise Problem("too-many-values", [too_many("numbers in the body", values)])
    if (lists := body.count(b"[")) > 8 * MOST_MACHINES:
        raise Problem("invalid-request", [
            fault("wrong-length", f"{lists} lists", "a list a column", "a column is a flat list of numbers")
        ])  # fmt: skip
    value, faults = read_json(body)
    if faults:
        raise Problem("malformed-json" if faults[0].code == "malformed-json" else "invalid-request", faults)
    if not isinstance(value, dict):
        found = [fault("wrong-type", shown(value), "a JSON object as the body")]
        raise Problem("invalid-request", found)
    asked = Asked(_head(value, faults), place_in_json, faults=faults)
    _fill(asked, value)
    if asked.faults:
        not_finite(asked)
    return asked


def _head(value: Mapping[str, Any], faults: list[FaultOut]) -> Head | None:
    head = {name: value[name] for name in Head.model_fields if name in value}
    try:
        found = Head.model_validate(head)
    except ValidationError as error:
        for each in error.errors()[: room(faults)]:
            faults.append(misfit({**each, "loc": ("body", *each["loc"])}, _shape))
        return None
    for i, name in enumerate(found.outputs):
        if name in found.outputs[:i]:
            faults.append(fault("given-twice", shown(name), "each output once", "", pointer(["outputs", i])))
    return found


def _fill(asked: Asked, value: Mapping[str, Any]) -> None:
    known = sorted(ColumnsIn.model_fields)
    for name in [name for name in value if name not in known][: room(asked.faults)]:
        asked.faults.append(unknown_field(name, known, pointer([name])))
    for group, names, end in (
        ("attitude_deg", LEAN, ""), ("angles_deg", ANGLES, ""), ("cylinders_mm", CYLINDERS, "_cylinder")
    ):  # fmt: skip
        lean = group == "attitude_deg"
        if group not in value and not lean:
            continue
        columns = value.get(group)
        if not isinstance(columns, dict):
            asked.faults.append(
                fault("wrong-type", shown(columns), "an object", "", pointer([group])) if group in value else
                fault("missing-field", "nothing", f"the field {group}", "", pointer([group]))
            )  # fmt: skip
            columns = dict.fromkeys(names, 0.0) if lean else {}
        for name in [name for name in columns if name not in names][: room(asked.faults)]:
            asked.faults.append(unknown_field(name, names, pointer([group, name])))
        for name in names:
            at = [group, name]
            if name in columns:
                asked.columns[name + end] = _column(columns[name], at, asked.faults)
            elif lean:
                asked.columns[name] = np.zeros(())
                asked.faults.append(fault("missing-field", "nothing", f"the field {name}", "", pointer(at)))
    if value.get("machine_of") is not None:
        asked.machine_of = _machine_of(value["machine_of"], asked.faults)
    _ragged(asked)


def _ragged(asked: Asked) -> None:
    rows = asked.poses
    columns = asked.columns if asked.machine_of is None else {**asked.columns, "machine_of": asked.machine_of}
    for name, column in columns.items():
        if column.ndim and column.size != rows and room(asked.faults):
            asked.faults.append(
                fault("ragged", f"{column.size} values", f"{rows} values, as in the longest column",
                      "give one number for all rows without brackets", pointer(asked.place(name).split(".")))
            )  # fmt: skip


def _column(value: object, at: list[str], faults: list[FaultOut]) -> NDArray[np.float64]:
    """A number (shape ()) or a list of them; 0 where it is faulty."""
    numbers = value if isinstance(value, list) else [value]
    if not numbers:
        faults.append(fault("wrong-length", "an empty list", "at least one row", "", pointer(at)))
        return np.zeros(())
    if set(map(type, numbers)) <= {int, float}:
        try:
            return np.array(value, dtype=np.float64)
        except OverflowError:
            pass  # a whole number beyond double precision, found below
    for i, each in enumerate(numbers):
        if not room(faults):
            break
        where = pointer([*at, i] if isinstance(value, list) else at)
        if type(each) not in {int, float}:
            expected = "a number" if isinstance(value, list) else "a number, or a list of numbers"
            advice = "leave out the quotes" if isinstance(each, str) else ""
            faults.append(fault("wrong-type", shown(each), expected, advice, where))
        elif abs(each) > sys.float_info.max:
            faults.append(fault("not-finite", shown(each), "a finite number", "leave the row out", where))
    return np.zeros(())


def _machine_of(value: object, faults: list[FaultOut]) -> NDArray[np.int64] | None:
    at = ["machine_of"]
    if not isinstance(value, list):
        faults.append(fault("wrong-type", shown(value), "a list of whole numbers", "", pointer(at)))
        return None
    if not value:
        faults.append(fault("wrong-length", "an empty list", "at least one row", "", pointer(at)))
    elif set(map(type, value)) == {int} and min(value) >= 0 and max(value) < MOST_MACHINES:
        return np.array(value, dtype=np.int64)
    else:
        for i, each in enumerate(value):
            if not room(faults):
                break
            if type(each) is not int:
                faults.append(fault("wrong-type", shown(each), "a whole number", "", pointer([*at, i])))
            elif not 0 <= each < MOST_MACHINES:
                faults.append(fault("unknown-machine", shown(each), "a place in `machines`, counted from 0", "",
                                    pointer([*at, i])))  # fmt: skip
    return None


def write(solved: Solved) -> bytes:
    """The answer as a JSON text; a NaN is written as null."""
    head = {
        "rows": solved.rows,
        "machines": [
            {"machine": {"id": m.id, "revision": m.hash}, "attachment": {"id": a.id, "revision": a.hash}}
            for m, a in solved.pairs
        ],
    }
    parts = [to_json(head)[:-1]]
    if solved.machine_of is not None:
        parts += [b',"machine_of":', *_list(solved.machine_of)]
    parts.append(b',"columns":{')
    for i, (name, column) in enumerate(solved.columns.items()):
        parts += [b"," if i else b"", to_json(name), b":"]
        if name == PAST_SQUARE:
            words = np.array(["false", "true", "null"])[np.where(solved.ok, column < 0.0, 2)]
            parts += [b"[", ",".join(words.tolist()).encode(), b"]"]
        else:
            parts += _list(column)
    quoted = np.array([f'"{word}"' for word in solved.statuses])[solved.status]
    parts += [b'},"status":[', ",".join(quoted.tolist()).encode(), b"],"]
    parts.append(to_json({"failed": solved.failed, "advisory": ADVISORY})[1:])
    return b"".join(parts)


def _list(column: NDArray[Any]) -> list[bytes]:
    pieces = [b"["]
    for start in range(0, column.size, _PIECE):
        pieces.append(b"," if start else b"")
        pieces.append(to_json(column[start : start + _PIECE].tolist(), inf_nan_mode="null")[1:-1])
    return [*pieces, b"]"]
