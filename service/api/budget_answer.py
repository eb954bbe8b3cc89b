"""An error budget as it is answered: the map, its worst and best place, what the sensors would have to be."""

import csv
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from pydantic import Field
from typing_extensions import TypedDict

from kinematics.errors import Fault, Refused
from kinematics.propagation import coverage
from kinematics.sensing_block import ANGLES
from kinematics.sources import KINDS
from kinematics.units import LengthUnit, show
from kinematics.zone_accuracy import Needed, figures_of, needed
from kinematics.zone_block import OK, STATUS
from kinematics.zone_budget import Cell, ZoneBudget
from service.book.posing import joints_deg
from service.book.requests import Units
from service.book.state import Named
from service.strict import Strict

from . import budget_words as words
from .answers import ADVISORY, Length, Reference, length, maybe, reference_to

FACTOR = coverage(1.0)
"""Of a 95 % interval, from standard uncertainty to half width."""
_MOST_SOURCES = 12
_JUST = 0.99
"""A factor above this and below 1 is told as just missed."""
_BEFORE = (
    "A budget before the work, from what profiles and data sheets say: no more true than these. It knows no tracks, no "
    "ground, no knocks and no faulty sensor. "
)


class PartOut(TypedDict):
    """One part of an uncertainty; the squares of all add up."""

    part: Annotated[str, Field(description="In words, or a source by name.")]
    standard_mm: Annotated[
        float,
        Field(
            description="Standard uncertainty; below 0 where a correlation makes it count against the others."
        ),
    ]


class PlaceOut(Strict):
    """A place of the zone."""

    reach: Length
    height: Length = Field(description="Over the body origin.")
    depth: Length | None = Field(description="Below the ground; null where the profile does not say.")


class CellOut(PlaceOut):
    """A place of the zone in full."""

    standard_mm: float = Field(description="Standard uncertainty of the elevation of the edge's centre.")
    within_95_mm: float = Field(description="Half width of the 95 % interval.")
    joints_deg: dict[str, float]
    parts: list[PartOut] = Field(description="By kind, largest first.")
    sources: list[PartOut] = Field(
        description=f"The {_MOST_SOURCES} largest single sources, without what comes anew at touch and strikes."
    )


class FigureOut(TypedDict):
    """A figure of a sensor, as it was reckoned with, and as it would have to be."""

    figure: Annotated[str, Field(description="Its name in `sensors` of the request, unit included.")]
    now: float
    needed: Annotated[
        float | None, Field(description="null where no tolerance was asked for, or none can be met.")
    ]


class ToleranceOut(Strict):
    """What a tolerance asks for."""

    half_width: Length
    share_within: float = Field(description="Of the places with a number, 0 to 1, by the 95 % interval.")
    factor: float | None = Field(
        description="All figures of all sensors times this, and the tightest place just keeps to it: above 1 they may be "
        "coarser. null where the sensors alone cannot do it, or do not count."
    )
    tightest: PlaceOut | None = Field(description="The place that asks the most of the sensors.")
    beyond_sensors: bool = Field(description="True where even sensors that never err would not do.")
    words: list[str] = Field(description="The same in sentences.")


class BudgetOut(Strict):
    """How uncertain the elevation of the edge's centre is over a zone. Rows by height, the deepest first."""

    units: Units
    machine: Reference
    attachment: Reference
    reach_m: list[float] = Field(description="Of each column, level, ahead of the swing axis.")
    height_m: list[float] = Field(description="Of each row, over the body origin.")
    depth_m: list[float] | None = Field(
        description="Of each row, below the ground; null where the profile does not say."
    )
    standard_mm: list[list[float | None]] = Field(
        description="By row and column, to a thousandth; null where there is no number, see `without_number`."
    )
    coverage_factor: float = Field(description="From standard uncertainty to half width of a 95 % interval.")
    cells: int = Field(description="Places with a number.")
    without_number: dict[str, int] = Field(
        description="How many places have none: out-of-reach, beyond-joint, not-sensed (no readout there), dead-centre."
    )
    touch: PlaceOut = Field(description="Where the benchmark is touched.")
    carried: int
    worst: CellOut
    best: CellOut
    cell: CellOut | None = Field(description="The place that was asked for.")
    reach_shown: list[str] = Field(description="`reach_m` in the units asked for.")
    down_shown: list[str] = Field(
        description="`depth_m`, or `height_m` where that is null, in the units asked for."
    )
    tolerance: ToleranceOut | None
    sensors: dict[str, list[FigureOut]] = Field(description="What was reckoned with, by sensor.")
    assumed: list[str] = Field(
        description="Taken as usual (common practice, no source), since no profile says it."
    )
    advisory: str


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """A budget and what it was asked for; `machine`, `attachment` as they are named; `ground` (m over the origin)."""

    budget: ZoneBudget
    machine: Named
    attachment: Named
    units: LengthUnit
    carried: int
    touch: tuple[float, float]
    tolerance: float | None
    ground: float | None
    cell: Cell | None = None


def answer(told: Told) -> BudgetOut:
    """The answer in full."""
    budget, units = told.budget, told.units
    zone = budget.zone
    need, why_not = _need(told)
    standard = np.round(1e3 * budget.standard, 3)
    rows = [[None if math.isnan(size) else size for size in row] for row in standard.tolist()]
    counts = {
        name: int(np.count_nonzero(budget.status == code)) for code, name in enumerate(STATUS) if code != OK
    }
    heights = zone.heights
    down = heights if told.ground is None else told.ground - heights
    return BudgetOut(
        units=units.value, machine=reference_to(told.machine), attachment=reference_to(told.attachment),
        reach_m=zone.reaches.tolist(), height_m=heights.tolist(),
        depth_m=None if told.ground is None else (told.ground - heights).tolist(), standard_mm=rows,
        coverage_factor=FACTOR, cells=int(np.count_nonzero(budget.ok)),
        without_number={name: count for name, count in counts.items() if count},
        touch=PlaceOut(**_place(told, *told.touch)), carried=told.carried,
        worst=_cell(told, budget.worst), best=_cell(told, budget.best),
        cell=None if told.cell is None else _cell(told, told.cell),
        reach_shown=[show(each, units) for each in zone.reaches.tolist()],
        down_shown=[show(each, units) for each in down.tolist()],
        tolerance=None if told.tolerance is None else _tolerance(told, told.tolerance, need, why_not),
        sensors=_figures(told, need), assumed=list(budget.sources.assumed), advisory=_BEFORE + ADVISORY,
    )  # fmt: skip


def _need(told: Told) -> tuple[Needed | None, Fault | None]:
    if told.tolerance is None:
        return None, None
    try:
        return needed(told.budget, told.tolerance), None
    except Refused as refused:
        return None, refused.faults[0]


def _place(told: Told, reach: float, height: float) -> dict[str, Any]:
    depth = None if told.ground is None else told.ground - height
    return {
        "reach": length(reach, told.units), "height": length(height, told.units), "depth": maybe(depth, told.units),
    }  # fmt: skip


def _cell(told: Told, cell: Cell) -> CellOut:
    return CellOut(
        **_place(told, cell.reach, cell.height), standard_mm=1e3 * cell.standard,
        within_95_mm=1e3 * FACTOR * cell.standard, joints_deg=joints_deg(cell.pose),
        parts=[{"part": str(kind), "standard_mm": 1e3 * size} for kind, size in cell.parts],
        sources=[{"part": name, "standard_mm": 1e3 * size} for name, size in cell.sources[:_MOST_SOURCES]],
    )  # fmt: skip


def _tolerance(told: Told, half_width: float, need: Needed | None, why_not: Fault | None) -> ToleranceOut:
    tightest = None
    if need is not None:
        zone = told.budget.zone
        tightest = PlaceOut(**_place(told, float(zone.reaches[need.column]), float(zone.heights[need.row])))
    return ToleranceOut(
        half_width=length(half_width, told.units), share_within=told.budget.share_within(half_width),
        factor=None if need is None or math.isinf(need.factor) else need.factor,
        tightest=tightest, beyond_sensors=why_not is not None, words=list(_words(told, need, why_not)),
    )  # fmt: skip


def _words(told: Told, need: Needed | None, why_not: Fault | None) -> Iterator[str]:
    if why_not is not None:
        yield _beyond(told, why_not)
        return
    if need is None or not need.then:
        yield "no sensor counts here: touch and dig are alike"
        return
    better = "must be" if need.factor < 1.0 else "may be"
    just = ""
    if _JUST < need.factor < 1.0 and told.tolerance is not None:
        over = FACTOR * told.budget.worst.standard - told.tolerance
        just = f"just missed, by {words.missed(over, told.units)}: "
    yield f"{just}all figures {better} {words.floored(need.factor)} times what they are"
    for name, figures in need.now.items():
        shown = ", ".join(
            f"{figure.replace('_', ' ')} {_in_unit(told, name, now):.3g} -> "
            f"{words.floored(_in_unit(told, name, need.then[name][figure]))} "
            f"{_unit(told, name)}{'/K' if 'kelvin' in figure else ''}"
            for figure, now in figures.items() if now > 0.0
        )  # fmt: skip
        yield f"{name}: {shown}"


def _beyond(told: Told, why_not: Fault) -> str:
    rest = words.size(1e-3 * why_not.numbers["rest_mm"], told.units)
    if told.tolerance is not None and rest == words.size(told.tolerance, told.units):
        rest = f"just over {rest}"
    _, found, kind = why_not.expected.rpartition("; largest: ")
    largest = f"; largest: {words.part(kind)}" if found else ""
    return f"sensors alone cannot do it: the rest gives {rest} (95 %){largest}"


def _figures(told: Told, need: Needed | None) -> dict[str, list[FigureOut]]:
    now = figures_of(told.budget)
    return {
        name: [
            {
                "figure": f"{figure}_{_unit(told, name)}",
                "now": _in_unit(told, name, value),
                "needed": _in_unit(told, name, need.then[name][figure])
                if need is not None and need.then
                else None,
            }
            for figure, value in figures.items()
        ]
        for name, figures in now.items()
    }


def _unit(told: Told, sensor: str) -> str:
    return "mm" if told.budget.sensors.sensors[sensor].unit == "m" else "deg"


def _in_unit(told: Told, sensor: str, value: float) -> float:
    return 1e3 * value if _unit(told, sensor) == "mm" else math.degrees(value)


def as_csv(told: Told) -> str:
    """One line a place (RFC 4180), rows from the deepest, reaches ascending; empty where there is no number."""
    budget, out = told.budget, io.StringIO()
    columns = [ANGLES.index(name) for name in ("boom", "stick", "bucket")]
    write = csv.writer(out)
    depth = [] if told.ground is None else ["depth_m"]
    write.writerow(["reach_m", "height_m", *depth, "standard_mm", "within_95_mm", "boom_deg", "stick_deg", "bucket_deg",
                    "largest_part", "status"])  # fmt: skip
    angles = np.degrees(budget.q[..., columns])
    reaches = [f"{reach:.4f}" for reach in budget.zone.reaches]
    for row, height in enumerate(budget.zone.heights.tolist()):
        at = [f"{height:.4f}", *([] if told.ground is None else [f"{told.ground - height:.4f}"])]
        for column, reach in enumerate(reaches):
            status = int(budget.status[row, column])
            if status == OK:
                size = 1e3 * float(budget.standard[row, column])
                numbers = [
                    f"{size:.3f}",
                    f"{FACTOR * size:.3f}",
                    *(f"{a:.4f}" for a in angles[row, column].tolist()),
                ]
                write.writerow(
                    [reach, *at, *numbers, str(KINDS[budget.largest[row, column]]), STATUS[status]]
                )
            else:
                write.writerow([reach, *at, "", "", "", "", "", "", STATUS[status]])
    return out.getvalue()
