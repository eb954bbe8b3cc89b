"""From a file's `[hydraulics]` to `kinematics.hydraulics`, and what is wrong with it."""

import math
from collections.abc import Iterator

from kinematics.errors import Fault, Refused, refuse
from kinematics.hydraulics import BAR, L_PER_MIN, MPA, PSI, RAMS, Hydraulics, Ram

from .measures import Measures
from .schema import MachineDocument
from .schema_hydraulics import HydraulicsTable, RamTable

_AT = "hydraulics"
_PRESSURES = {"bar": BAR, "MPa": MPA, "psi": PSI}
_FLOWS = {"l/min": L_PER_MIN}


def hydraulics_from(document: MachineDocument) -> Hydraulics | None:
    """Rams in metres, pascals and m^3/s, None where the file says nothing of them.

    Raises `Refused` with every fault, each `where` a dotted path in the file: as `Hydraulics`; "missing-key" for a
    unit; "no-cylinder" for a joint that the file gives no cylinder.
    """
    table = document.hydraulics
    if table is None:
        return None
    rams = {name: ram for name in RAMS if (ram := getattr(table, name)) is not None}
    refuse([*_unit_faults(table, rams), *_joint_faults(document, rams)])
    m = Measures(document.units)
    try:
        return Hydraulics({name: _ram(m, table, ram) for name, ram in rams.items()})
    except Refused as refused:
        raise Refused([fault.at(_AT) for fault in refused.faults]) from None


def _ram(m: Measures, table: HydraulicsTable, ram: RamTable) -> Ram:
    units = table.units
    pressure = math.nan if units is None else _PRESSURES[units.pressure]
    flow = math.nan if units is None or units.flow is None else _FLOWS[units.flow]
    return Ram(
        m.unlimited(ram.bore), m.unlimited(ram.rod), ram.count, ram.working_pressure * pressure,
        ram.holding_pressure * pressure, None if ram.flow is None else ram.flow * flow,
    )  # fmt: skip


def _unit_faults(table: HydraulicsTable, rams: dict[str, RamTable]) -> Iterator[Fault]:
    wanted = {"pressure": _PRESSURES} | (
        {"flow": _FLOWS} if any(ram.flow is not None for ram in rams.values()) else {}
    )
    for unit, known in wanted.items():
        if table.units is None or getattr(table.units, unit) is None:
            yield Fault(
                "missing-key", f"{_AT}.units.{unit}", "no such key", f"the unit of every {unit}: " + ", ".join(known),
                "add it; no unit is guessed",
            )  # fmt: skip


def _joint_faults(document: MachineDocument, rams: dict[str, RamTable]) -> Iterator[Fault]:
    for name in rams:
        link = getattr(document, name)
        if link is None or link.cylinder is None:
            yield Fault(
                "no-cylinder", f"{_AT}.{name}", "bores of a joint without a cylinder", "a cylinder with its pins",
                "measure the cylinder's pins, or take its bores out",
            )  # fmt: skip
