"""A table of pin coordinates as CSV text: its heading, its unit, its rows, or every fault."""

import csv
import difflib
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from kinematics.errors import Fault, Refused, refuse
from kinematics.machine import Point
from kinematics.parameters import EDGE_POINTS, HEEL_POINTS, TOOTH_POINTS
from kinematics.pins import PINS
from kinematics.units import PROFILE_UNITS, profile_length_to_metres

PLANE_PINS = PINS
"""Pins of the arm: their middles all lie in the arm's plane."""
LARGEST_M = 1e7
"""A coordinate beyond this is none: those of a national grid are below, which lengths of a machine are far from."""
MARKS = ("swing_axis", "swing_post", "body_left", "body_right", "receiver", "mast_top")
KNOWN = (*PLANE_PINS, *MARKS, *EDGE_POINTS, *TOOTH_POINTS, *HEEL_POINTS)
"""Every name a row may have."""
_MOST_ROWS = 200
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_SHOWN = 60


@dataclass(frozen=True, slots=True)
class PinTable:
    """Places of pins by name, in metres: x, y, z, or with y at 0 where `plane` (a side view has no y)."""

    places: MappingProxyType[str, Point]
    plane: bool
    unit: str


def read_pin_table(text: str) -> PinTable:
    """Read a table with the heading `pin,x_mm,y_mm,z_mm` (in space, z up) or `pin,x_mm,z_mm` (side view, z up).

    The unit is any of m, mm, cm, ft (international), in, the same in all columns: x_m is read as metres.
    Raises `Refused` with every fault, `where` the line: "not-a-table", "wrong-heading", "unknown-pin", "given-twice",
    "not-a-number", "out-of-range".
    """
    try:
        rows = [(i, row) for i, row in _rows(text) if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise Refused([
            Fault("not-a-table", "", str(error), "comma-separated values", "save the table as CSV, commas between")
        ]) from None  # fmt: skip
    if not rows:
        raise Refused([Fault("not-a-table", "", "no rows", "a heading, then a row for each pin")])
    axes, unit = _heading([cell.strip() for cell in rows[0][1]])
    faults: list[Fault] = []
    places: dict[str, Point] = {}
    for line, cells in rows[1:]:
        name = cells[0].strip()
        told = list(_row_faults(line, cells, axes, places))
        place: list[float] = []
        if not any(fault.code in {"not-a-table", "not-a-number"} for fault in told):
            place, absurd = _metres(line, cells[1:], unit)
            told += absurd
        faults += told
        if name in KNOWN:
            x, *y, z = place or (math.nan, math.nan)
            places.setdefault(name, (x, y[0] if y else 0.0, z))
    if len(rows) > _MOST_ROWS:
        faults.append(Fault("not-a-table", "", f"{len(rows)} rows", f"at most {_MOST_ROWS}", "one row a pin"))
    refuse(faults)
    return PinTable(MappingProxyType(places), len(axes) == 2, unit)


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(text.removeprefix("\ufeff").splitlines(), strict=True)
    for row in reader:
        yield reader.line_num, row


def _heading(cells: Sequence[str]) -> tuple[tuple[str, ...], str]:
    """(axes, unit). In a side view the coordinate that goes up is z, so that nobody has to guess which y is meant."""
    for axes in (("x", "y", "z"), ("x", "z")):
        for unit in PROFILE_UNITS:
            if list(cells) == ["pin", *(f"{axis}_{unit}" for axis in axes)]:
                return axes, unit
    one = "; ".join(",".join(cells).split(";"))[:_SHOWN]
    advice = "name the unit in every column, the same; in a side view the coordinate that goes up is z"
    if any(";" in cell for cell in cells):
        advice = "separate by commas, with points as decimal marks"
    raise Refused([
        Fault("wrong-heading", "line 1", one or "no heading", "pin,x_mm,y_mm,z_mm or pin,x_mm,z_mm, in one of "
              + ", ".join(PROFILE_UNITS), advice)
    ])  # fmt: skip


def _row_faults(
    line: int, cells: Sequence[str], axes: Sequence[str], before: dict[str, Point]
) -> Iterator[Fault]:
    name = cells[0].strip()
    where = f"line {line}"
    if name not in KNOWN:
        near = difflib.get_close_matches(name, KNOWN, n=1)
        advice = f"did you mean {near[0]}?" if near else "take the row out"
        yield Fault("unknown-pin", where, repr(name[:_SHOWN]), "one of " + ", ".join(KNOWN), advice)
    elif name in before:
        yield Fault("given-twice", where, f"{name} a second time", "each pin once", "keep one of the two")
    if len(cells) != 1 + len(axes):
        found = f"{len(cells) - 1} coordinates"
        yield Fault(
            "not-a-table", where, found, f"{len(axes)}: {', '.join(axes)}", "decimal marks are points"
        )
        return
    for axis, cell in zip(axes, cells[1:], strict=True):
        if not _NUMBER.fullmatch(cell.strip()):
            yield Fault(
                "not-a-number", where, f"{axis} {cell.strip()[:_SHOWN]!r}", "a number with a decimal point"
            )


def _metres(line: int, cells: Sequence[str], unit: str) -> tuple[list[float], list[Fault]]:
    """(coordinates, none of them where there are faults; faults at the line)."""
    place = [float(cell) * profile_length_to_metres(1.0, unit) for cell in cells]
    faults = [
        Fault("out-of-range", f"line {line}", f"{cell.strip()[:_SHOWN]} {unit}", f"at most {LARGEST_M:g} m either way",
              "check the unit and the decimal point")
        for cell, metres in zip(cells, place, strict=True) if not abs(metres) <= LARGEST_M
    ]  # fmt: skip
    return ([] if faults else place), faults
