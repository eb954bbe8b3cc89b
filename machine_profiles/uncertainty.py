"""From a file's `[uncertainty]` to `kinematics.machine`, and what is wrong with it."""

from collections.abc import Collection, Iterator
from typing import TypedDict

from kinematics.errors import Fault
from kinematics.machine import AttachmentUncertainty, MachineUncertainty
from kinematics.parameters import TURNS, unknown_names

from .measures import Measures
from .schema_uncertainty import AttachmentUncertaintyTable, MachineUncertaintyTable, UncertaintyTable

_AT = "uncertainty"


class _Shared(TypedDict):
    lengths: float | None
    angles: float | None
    of: dict[str, float]


def machine_uncertainty(m: Measures, table: MachineUncertaintyTable | None) -> MachineUncertainty | None:
    """The table in metres and radians, None where there is none. A `boom_length` of 2 in a file in mm is 0.002."""
    if table is None:
        return None
    return MachineUncertainty(
        **_shared(m, table, table.of), pin_slop=_length(m, table.pin_slop), flex=_length(m, table.flex)
    )


def attachment_uncertainty(
    m: Measures, table: AttachmentUncertaintyTable | None
) -> AttachmentUncertainty | None:
    """The same of an attachment: an `edge_wear` of 3 in a file in mm is 0.003."""
    if table is None:
        return None
    return AttachmentUncertainty(**_shared(m, table, table.of), edge_wear=_length(m, table.edge_wear))


def uncertainty_faults(
    known: MachineUncertainty | AttachmentUncertainty | None, there: Collection[str]
) -> Iterator[Fault]:
    """All that is wrong with it, at its place in the file; `there`: the parameters that `of` may name."""
    if known is None:
        return
    yield from known.faults(_AT)
    kind = "machine" if isinstance(known, MachineUncertainty) else "attachment"
    for fault in unknown_names(known.of, kind, there):
        yield fault.at(f"{_AT}.of")


def _shared(m: Measures, table: UncertaintyTable, of: dict[str, float] | None) -> _Shared:
    return {
        "lengths": _length(m, table.lengths),
        "angles": None if table.angles is None else m.turned(table.angles),
        "of": {
            name: m.turned(value) if name in TURNS else m.unlimited(value)
            for name, value in (of or {}).items()
        },
    }


def _length(m: Measures, value: float | None) -> float | None:
    return None if value is None else m.unlimited(value)
