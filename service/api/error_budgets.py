"""The error budget before buying: how uncertain a readout will be over a working zone, as numbers, table or picture."""

from collections.abc import Callable
from functools import cache

from anyio import to_thread
from fastapi import APIRouter, Request, Response

from kinematics.assembly import Assembly, assemble
from kinematics.errors import Fault, Refused, refuse
from kinematics.machine import Attachment, Machine
from kinematics.sensor_set import SensorSet
from kinematics.units import LengthUnit
from kinematics.zone_budget import Cell, Progress, ZoneBudget, zone_budget
from machine_profiles import shipped
from service.book.profiles import Profiles
from service.book.state import Named

from .accepting import accepted
from .budget_answer import BudgetOut, Told, answer, as_csv
from .budget_ready import placed, ready
from .budget_request import BudgetIn, CellIn
from .column_solving import Workers
from .door import ProfilesDep, WorkersDep
from .zone_picture import as_png, as_svg

router = APIRouter(prefix="/v1/error-budgets", tags=["budgets"])
_AT_ONCE = 2
"""So many threads at most, so that bulk leaves room for the rest."""
JSON, CSV, SVG, PNG = "application/json", "text/csv", "image/svg+xml", "image/png"
_WRITTEN: dict[str, Callable[[Told], str | bytes]] = {CSV: as_csv, SVG: as_svg, PNG: as_png}


@router.post(
    "",
    summary="How uncertain a readout will be over a zone",
    responses={200: {
        "model": BudgetOut, "description": "The budget.",
        "content": {
            CSV: {"schema": {"type": "string", "description": "One line a place."}},
            SVG: {"schema": {"type": "string", "description": "A long section with the zone, to scale."}},
            PNG: {"schema": {"type": "string", "format": "binary", "description": "The same, 1200 pixels wide."}},
        },
    }},
)  # fmt: skip
async def budget(asked: BudgetIn, request: Request, profiles: ProfilesDep, workers: WorkersDep) -> Response:
    """The error budget of a zone before anything is bought or dug: a map of the uncertainty of elevation, its worst place
    with every part, and how good the sensors must be for a tolerance.

    JSON, or by the Accept header a table (`text/csv`) or a picture (`image/svg+xml`, `image/png`). See /guide/budget.

    curl -s localhost:8311/v1/error-budgets -H 'content-type: application/json' -d @budget.json
    """
    wanted = accepted(request.headers.get("accept", ""), {kind: kind for kind in (JSON, *_WRITTEN)}, JSON)
    return await to_thread.run_sync(_answer, asked, wanted, profiles, workers, limiter=workers.seats)


def _answer(asked: BudgetIn, wanted: str, profiles: Profiles, crew: Workers) -> Response:
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    own = profiles.sensed(machine, attachment)
    told = reckoned(asked, machine, attachment, fitted, own, crew=crew)
    if wanted in _WRITTEN:
        return Response(_WRITTEN[wanted](told), media_type=wanted)
    return Response(answer(told).model_dump_json(), media_type=JSON)


def reckoned(
    asked: BudgetIn, machine: Named, attachment: Named, fitted: Assembly, own: SensorSet | None, *,
    crew: Workers | None = None, progress: Progress | None = None,
) -> Told:  # fmt: skip
    """The budget of a request on these profiles; `own`: their sensors. Raises `Refused` with faults at their places."""
    given = ready(asked, fitted, own)
    try:
        found = zone_budget(
            given.sensors, given.sources, given.surroundings, given.zone, given.touch, carried=asked.carried,
            executor=None if crew is None else crew.pool, parts=1 if crew is None else min(_AT_ONCE, crew.count),
            progress=progress,
        )  # fmt: skip
        cell = None if asked.cell is None else _cell(found, asked.cell)
    except Refused as refused:
        raise Refused(placed(refused, asked)) from None
    return Told(
        found,
        machine,
        attachment,
        LengthUnit(asked.units),
        asked.carried,
        given.touch,
        given.tolerance,
        given.ground,
        cell,
    )


def _cell(found: ZoneBudget, asked: CellIn) -> Cell:
    faults = [
        Fault("out-of-range", f"cell.{name}", str(given), f"at most {most}, as many as the zone has")
        for name, given, most in (
            ("row", asked.row, found.zone.rows - 1), ("column", asked.column, found.zone.columns - 1)
        ) if given > most
    ]  # fmt: skip
    refuse(faults)
    return found.cell(asked.row, asked.column)


@cache
def warm() -> None:
    """Have the loop compiled before the service says where it is: the first to ask would keep all other threads waiting.

    By the example of the request, on plain sensors.
    """
    [example] = BudgetIn.model_json_schema()["examples"]
    asked = BudgetIn.model_validate(example | {"sensors": {}, "by": "gravity"})
    carrier = shipped()["machine", asked.machine].geometry
    tool = shipped()["attachment", asked.attachment].geometry
    if isinstance(carrier, Machine) and isinstance(tool, Attachment):
        reckoned(asked, Named(asked.machine, ""), Named(asked.attachment, ""), assemble(carrier, tool), None)
