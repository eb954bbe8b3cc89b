"""What columns of poses are asked for, whichever form they came in: names, units, limits, and places of faults."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Annotated, Any, NoReturn, get_args

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Field
from pydantic_core import PydanticKnownError

from kinematics.chain import POINT_OUTPUTS
from kinematics.errors import Fault, Refused
from service.book.requests import AttachmentId, CylinderName, Joint, MachineId
from service.problems import MOST_FAULTS, Problem
from service.strict import Strict
from service.text import FaultOut, fault, pointer

MOST_VALUES = 5_000_000
MOST_MACHINES = 256
LEAN = ("pitch", "roll")
ANGLES: tuple[str, ...] = get_args(Joint)
CYLINDERS: tuple[str, ...] = get_args(CylinderName)
PAST_SQUARE = "past_square"
PARAMETERS: Mapping[str, str] = MappingProxyType({"machines": "machine", "outputs": "output"})
"""Field of a JSON body -> the query parameter that is repeated in its place beside an Arrow body."""

OUTPUTS: Mapping[str, tuple[str, float]] = MappingProxyType(
    {f"{name}_m": (name, 1.0) for name in (*POINT_OUTPUTS, "heel_clearance")}
    | {"cross_slope_percent": ("cross_slope", 100.0), PAST_SQUARE: ("square", 1.0)}
    | {f"{name}_deg": (name, math.degrees(1.0)) for name in ("floor_angle", "mast_angle")}
)
"""Name at the door -> name in the chain, and what its value is multiplied by."""


def among(known: Iterable[str]) -> Callable[[str], str]:
    """A validator that takes the known words alone."""
    words = tuple(known)

    def check(word: str) -> str:
        if word not in words:
            raise PydanticKnownError("literal_error", {"expected": ", ".join(f"'{each}'" for each in words)})
        return word

    return check


OutputName = Annotated[
    str,
    AfterValidator(among(OUTPUTS)),
    Field(
        description="Place in the level frame in metres (reach, lateral, height of a point), or a shape of the bucket.",
        json_schema_extra={"enum": list(OUTPUTS)},
    ),
]


class Pair(Strict):
    """A machine with its attachment."""

    machine: MachineId
    attachment: AttachmentId


class Head(Strict):
    """What is asked of which machines."""

    machines: list[Pair] = Field(
        min_length=1, max_length=MOST_MACHINES,
        description="One or several, alike in their joints. Several without `machine_of`: each takes every pose, and "
        "the rows stand machine after machine.",
    )  # fmt: skip
    outputs: list[OutputName] = Field(
        min_length=1, max_length=len(OUTPUTS), description="Each once; the answer has a column for each."
    )


@dataclass(slots=True)
class Asked:
    """A request as read. `columns`: by the chain's names ("boom", "boom_cylinder"), degrees and millimetres.

    `place`: from a name of `columns`, "machine_of", "machines" or "outputs" to where it stands in the body (dotted),
    "" where it stands outside. `faults`: of form; a faulty column holds 0, so that the rest can be looked at.
    """

    head: Head | None
    place: Callable[[str], str]
    columns: dict[str, NDArray[Any]] = field(default_factory=dict)
    machine_of: NDArray[Any] | None = None
    faults: list[FaultOut] = field(default_factory=list)

    @property
    def poses(self) -> int:
        """How many rows the longest column has."""
        columns = [*self.columns.values(), *([] if self.machine_of is None else [self.machine_of])]
        return max((column.size for column in columns if column.ndim), default=1)

    def placed(self, each: Fault) -> Fault:
        """A fault of the chain's columns at its place in this request: "boom.17" becomes "angles_deg.boom.17"."""
        head, *rest = each.where.split(".")
        where, found = self.place(head), each.found
        if not where:  # in the query: "machines.1.attachment" is its parameter attachment.1
            name = "attachment" if rest[1:] == ["attachment"] else PARAMETERS[head]
            found += f" in the query parameter {'.'.join([name, *rest[:1]])}"
        return Fault(
            each.code, ".".join([where, *rest]) if where else "", found, each.expected, each.advice, each.numbers
        )  # fmt: skip


def room(faults: Sequence[FaultOut]) -> int:
    """How many more faults will be told."""
    return max(0, MOST_FAULTS - len(faults))


def not_finite(asked: Asked) -> None:
    """Add the values that are no finite numbers, which else the chain finds by itself."""
    for name, column in asked.columns.items():
        values = np.atleast_1d(column)
        for i in np.flatnonzero(~np.isfinite(values))[: room(asked.faults)].tolist():
            where = [*asked.place(name).split("."), *([str(i)] if column.ndim else [])]
            asked.faults.append(
                fault("not-finite", str(values[i]), "a finite number", "leave the row out", pointer(where))
            )


def refuse(form: Sequence[FaultOut], found: Iterable[Fault]) -> NoReturn:
    """Refuse with the faults of form and those of the chain, each at its place."""
    if not form:
        raise Refused(found)
    told = [
        fault(each.code, each.found, each.expected, each.advice, pointer(each.where.split(".")) if each.where else "",
              each.numbers)
        for each in found
    ]  # fmt: skip
    every = [*form, *told]
    raise Problem(
        "not-finite" if {each.code for each in every} == {"not-finite"} else "invalid-request", every
    )


def too_many(what: str, count: int) -> FaultOut:
    """The fault of more values than one request may have."""
    return fault(
        "too-many-values", f"{count} {what}", f"at most {MOST_VALUES}", "send the rows in several requests",
        numbers={"found_values": count, "most_values": MOST_VALUES},
    )  # fmt: skip
