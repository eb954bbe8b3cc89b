"""The longest unbroken pass of an edge point along a line, from one setup."""

import math

from anyio import to_thread
from fastapi import APIRouter
from pydantic import ConfigDict, Field

from kinematics.errors import Fault, Refused
from kinematics.hydraulics import L_PER_MIN, Hydraulics
from kinematics.machine import Range
from kinematics.pass_speed import pass_speed
from kinematics.passes import Pass, Stop, longest_pass
from kinematics.units import LengthUnit, show
from service.book import requests as q
from service.book.decide import together
from service.book.posing import joints_deg
from service.book.profiles import Profiles
from service.book.state import Named
from service.strict import Strict, example

from .answers import ADVISORY, Length, Reference, length, reference_to
from .door import ProfilesDep, WorkersDep
from .inverse import FARTHEST_M, ArmIn, check_standing, line_of, metres, placed
from .laboratory import HydraulicsField, hydraulics_of

router = APIRouter(prefix="/v1/passes", tags=["inverse"])
PATH_IS_ADVICE = (
    "The path is advice and never a command. It knows neither tracks nor pit walls, nor what lies in the ground: keep "
    "its near end off the tracks with `between`. "
)


class WindowIn(Strict):
    """Floor angles to the surface that is cut along the line, degrees; positive with the heel above it."""

    low: float = Field(
        description="The flattest; below 0 the heel would have to be in the ground.", examples=[0.0]
    )
    high: float = Field(description="The steepest.", examples=[15.0])


class ReachesIn(Strict):
    """Reaches that a pass must keep to."""

    low: q.Length = Field(description="No nearer than this, in `units`: off the tracks.", examples=[4.0])
    high: q.Length | None = Field(
        None, description="No farther than this; left out, as far as the arm goes.", examples=[7.0]
    )


class SpeedIn(Strict):
    """What moves the arm along the pass."""

    hydraulics: HydraulicsField = Field(default_factory=dict)
    pump_l_min: float | None = Field(
        None,
        description="What all cylinders get together; left out, only each one's own flow limits.",
        examples=[200.0],
    )
    outwards: bool = Field(
        default=False, description="From the near end to the far end; else towards the machine, as one digs."
    )


class PassIn(ArmIn):
    """A line to be dug, and how the bucket is to lie on it."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m",
        "attitude_deg": {"pitch": 0.4, "roll": -0.2}, "angles_deg": {"tilt": 0.0}, "edge_point": "centre",
        "line": {"height": -2.4, "slope_percent": 1.0, "reach": 5.0},
        "floor_deg": {"low": 0.0, "high": 15.0}, "preferred_floor_deg": 4.0, "between": {"low": 4.0},
    }))  # fmt: skip
    floor_deg: WindowIn = Field(description="The floor angle stays in this window.")
    preferred_floor_deg: float = Field(
        description="Held wherever the joints allow; in the window.", examples=[4.0]
    )
    between: ReachesIn | None = Field(None, description="Level distances ahead of the swing axis to keep to.")
    speed: SpeedIn | None = Field(
        None,
        description="Asks how fast the pass can be dug with the flows that the cylinders get.",
        examples=[{}],
    )


class StopOut(Strict):
    """What keeps a pass from going on."""

    what: str = Field(description="A joint, arm, floor, heel or between.")
    words: str
    numbers: dict[str, float] = Field(description="For programs; the unit is in each name.")


class EndOut(Strict):
    """An end of a pass."""

    reach: Length
    height: Length
    stops: list[StopOut]


class PlacesOut(Strict):
    """Columns along the path, near end first. `joints_deg` fits `angles_deg` of /v1/pose-columns as it is."""

    reach_m: list[float] = Field(description="Level distance of the point ahead of the swing axis.")
    height_m: list[float] = Field(description="Of the point over the body origin.")
    floor_angle_deg: list[float] = Field(description="0 flat, positive with the heel above the edge.")
    floor_to_line_deg: list[float] = Field(description="To the surface cut, positive with the heel above it.")
    joints_deg: dict[str, list[float]]
    cylinders_mm: dict[str, list[float]] = Field(description="Pin to pin.")


class SpeedOut(Strict):
    """Columns from each place to the next, near end first: one fewer than places."""

    edge_mm_s: list[float | None] = Field(
        description="Of the point along the line; null where no cylinder has to move."
    )
    cylinders_mm_s: dict[str, list[float]] = Field(
        description="Positive where one gets longer, the way the pass goes."
    )
    limited_by: list[str] = Field(
        description="The joint whose flow sets the pace, or all: what the pump gives."
    )
    duration_s: float


class PassOut(Strict):
    """The pass."""

    units: q.Units
    machine: Reference
    attachment: Reference
    length: Length = Field(description="Along the reach, level.")
    near: EndOut
    far: EndOut
    lowest_below_line: Length = Field(
        description="How far the lowest of edge, teeth and heel goes below the line anywhere on the path; above it: "
        "negative. With teeth, an edge's own pass has them below."
    )
    most_turned_deg: float = Field(
        description="The most that the bucket turns from one place to the next; where it is large, it turns at a stand."
    )
    places: PlacesOut
    speed: SpeedOut | None = Field(description="Where it was asked for.")
    advisory: str


@router.post("", summary="Longest pass along a line")
async def dig(asked: PassIn, profiles: ProfilesDep, workers: WorkersDep) -> PassOut:
    """The longest pass of an edge point along a line from this setup, and what stops it at either end.

    It knows neither tracks nor pit walls; the path is advice and never a command. Keep the near end off the tracks with
    `between`. Where there is no pass, the refusal says why and at which height the nearest line has one.

    curl -s localhost:8311/v1/passes -H 'content-type: application/json' -d @pass.json
    """
    return await to_thread.run_sync(_dug, asked, profiles, limiter=workers.seats)


def _dug(asked: PassIn, profiles: Profiles) -> PassOut:
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    window = asked.floor_deg
    together(
        lambda: line_of(asked.line, asked.units),
        lambda: _between(asked),
        lambda: _ordered("floor_deg", window.low, window.high, "deg"),
        lambda: check_standing(fitted, asked),
    )
    try:
        found = longest_pass(
            fitted, point=asked.edge_point, line=line_of(asked.line, asked.units), between=_between(asked),
            floor=Range(math.radians(window.low), math.radians(window.high)),
            preferred=math.radians(asked.preferred_floor_deg), **asked.standing(),
        )  # fmt: skip
    except Refused as refused:
        raise placed(refused) from None
    speed = None if asked.speed is None else _speed(found, asked.speed, profiles.hydraulics(machine))
    return _told(found, machine, attachment, LengthUnit(asked.units), speed)


def _speed(found: Pass, asked: SpeedIn, own: Hydraulics | None) -> SpeedOut:
    try:
        rams = hydraulics_of(own, asked.hydraulics)
    except Refused as refused:
        raise Refused(fault.at("speed") for fault in refused.faults) from None
    try:
        told = pass_speed(
            found,
            rams,
            pump=None if asked.pump_l_min is None else asked.pump_l_min * L_PER_MIN,
            outwards=asked.outwards,
        )
    except Refused as refused:
        places = {"pump": "speed.pump_l_min"}
        raise Refused(
            Fault(f.code, places.get(f.where, f"speed.hydraulics.{f.where.removeprefix('flows.')}"), f.found,
            f.expected,
                  f.advice, f.numbers)
            for f in refused.faults
        ) from None  # fmt: skip
    return SpeedOut(
        edge_mm_s=[1e3 * each if math.isfinite(each) else None for each in told.edge],
        cylinders_mm_s={name: [1e3 * each for each in speeds] for name, speeds in told.cylinders.items()},
        limited_by=list(told.limited_by), duration_s=told.duration,
    )  # fmt: skip


def _between(asked: PassIn) -> Range | None:
    if asked.between is None:
        return None
    given, far = asked.between, FARTHEST_M
    together(
        lambda: metres(given.low, asked.units, "between.low"),
        lambda: None if given.high is None else metres(given.high, asked.units, "between.high"),
    )
    if given.high is not None:
        far = metres(given.high, asked.units, "between.high")
    near = metres(given.low, asked.units, "between.low")
    _ordered("between", near, far, "m")
    return Range(near, far)


def _ordered(where: str, low: float, high: float, unit: str) -> None:
    if not low < high:
        raise Refused([
            Fault("range-swapped", where, f"from {low:g} to {high:g} {unit}", "the lower end below the upper",
                  "which is which is not guessed", {f"low_{unit}": low, f"high_{unit}": high})
        ])  # fmt: skip


def _told(
    found: Pass, machine: Named, attachment: Named, units: LengthUnit, speed: SpeedOut | None
) -> PassOut:
    places = found.places
    joints = [joints_deg(place.pose) for place in places]
    ends = [
        EndOut(
            reach=length(place.reach, units), height=length(place.height, units),
            stops=[_stop(stop, units) for stop in stops],
        )
        for place, stops in ((places[0], found.near_stops), (places[-1], found.far_stops))
    ]  # fmt: skip
    return PassOut(
        units=units.value, machine=reference_to(machine), attachment=reference_to(attachment),
        length=length(found.length_m, units), near=ends[0], far=ends[1],
        lowest_below_line=length(found.lowest_below_line_m, units), most_turned_deg=math.degrees(found.most_turned),
        places=PlacesOut(
            reach_m=[place.reach for place in places], height_m=[place.height for place in places],
            floor_angle_deg=[math.degrees(place.floor_angle) for place in places],
            floor_to_line_deg=[math.degrees(place.floor_to_line) for place in places],
            joints_deg={name: [row[name] for row in joints] for name in joints[0]},
            cylinders_mm={
                name: [1e3 * place.cylinders[name] for place in places] for name in places[0].cylinders
            },
        ),
        speed=speed, advisory=PATH_IS_ADVICE + ADVISORY,
    )  # fmt: skip


def _stop(stop: Stop, units: LengthUnit) -> StopOut:
    words = stop.words
    if stop.what == "between":  # the only length that was asked for: told in the units it was asked in
        words = f"the reach limit of {show(stop.numbers['reach_m'], units)}"
    return StopOut(what=stop.what, words=words, numbers=dict(stop.numbers))
