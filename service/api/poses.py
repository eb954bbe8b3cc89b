"""One pose: joint angles, cylinder lengths or a mixture, to the cutting edge, receiver and pins. No job needed."""

import math
from typing import Annotated

from fastapi import FastAPI, Request, Response
from fastapi.concurrency import run_in_threadpool
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.arm import Pose
from kinematics.parameters import EDGE_POINTS, TOOTH_POINTS
from kinematics.units import LengthUnit, percent_from_ratio
from service.book.posing import joints_deg, solve
from service.book.profiles import Profiles, Ready
from service.book.requests import UNITS_TEXT, AttachmentId, MachineId, PoseIn, Units
from service.book.state import Named
from service.strict import Strict, example, made

from .answers import ADVISORY, Length, Reference, length, play_out, reference_to
from .door import profiles_of


class PoseRequest(PoseIn):
    """A machine, its attachment, and where its joints stand."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m",
        "angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0},
        "attitude_deg": {"pitch": 0.4, "roll": -0.2},
    }))  # fmt: skip
    machine: MachineId
    attachment: AttachmentId
    units: Annotated[Units, Field(description=UNITS_TEXT)]


Place = Annotated[tuple[float, float, float], Field(description="Metres.")]


class PlaceOut(TypedDict):
    """A point in metres. Level: x reach, y left, z plumb height over the body origin. Body: the body's own axes."""

    level_m: Place
    body_m: Place


class FourBarOut(TypedDict):
    """The bucket linkage."""

    idler_deg: float
    power_link_deg: float
    transmission_deg: Annotated[float, Field(description="Between power link and pin line; 90 is best.")]
    ratio: Annotated[
        float, Field(description="d bucket / d idler: an idler sensor's error is multiplied by it.")
    ]


class PoseOut(Strict):
    """Where everything is."""

    units: Units
    machine: Reference
    attachment: Reference
    joints_deg: dict[str, float]
    cylinders_mm: dict[str, float]
    heights: dict[str, Length] = Field(description="Left, centre, right of the edge over the body origin.")
    reach: Length
    lateral: Length
    cross_slope_percent: float = Field(description="Positive with the bucket's own right corner higher.")
    floor_angle_deg: float = Field(description="0 flat, positive with the heel above the edge.")
    heel_clearance: Length = Field(description="Heel over the edge's point ahead of it; below zero it rubs.")
    edge_play: dict[str, Length] | None = Field(
        description="Where the profile gives a coupler's play: half the range of height it leaves each point of edge and "
        "teeth, so that the height is that much uncertain either way."
    )
    lowest_point: str
    lowest_height: Length
    past_square: bool
    mast_deg: float | None = Field(description="Receiver mast from plumb.")
    points: dict[str, PlaceOut]
    edge_line_level_m: list[Place] = Field(description="Every vertex of the cutting edge, left to right.")
    pins_body_m: dict[str, Place]
    linkage: FourBarOut | None
    advisory: str


def install(app: FastAPI) -> None:
    """Put the route onto an application, before all that is there: a search through routers takes as long as the pose."""
    app.post(
        "/v1/poses", tags=["poses"], summary="Where the cutting edge is in one pose", response_model=PoseOut
    )(solve_pose)
    app.router.routes.insert(0, app.router.routes.pop())


async def solve_pose(asked: PoseRequest, request: Request) -> Response:
    """Solve one pose.

    curl -s localhost:8311/v1/poses -H 'content-type: application/json' -d @pose.json
    """
    profiles = await profiles_of(request)
    ready = profiles.ready(asked.machine, asked.attachment)
    # Only what waits (a database, an assembly, a compiler) leaves the event loop; a warm pose takes microseconds.
    found = _solved(ready, asked) if ready else await run_in_threadpool(_fetched, profiles, asked)
    # Written here: the framework would check once more what was just made.
    return Response(_written(found), media_type="application/json")


def _fetched(profiles: Profiles, asked: PoseRequest) -> PoseOut:
    return _solved(profiles.pair(asked.machine, asked.attachment), asked)


def _solved(ready: Ready, asked: PoseRequest) -> PoseOut:
    machine, attachment, fitted = ready
    return pose_out(solve(fitted, asked), machine, attachment, LengthUnit(asked.units))


def pose_out(found: Pose, machine: Named, attachment: Named, units: LengthUnit) -> PoseOut:
    """The answer for a solved pose."""
    fitted = found.assembly
    joints = joints_deg(found)
    what, lowest = found.lowest()
    places = found.places()
    bar = found.four_bar()
    return made(PoseOut, {
        "units": units.value,
        "machine": reference_to(machine), "attachment": reference_to(attachment),
        "joints_deg": joints, "cylinders_mm": {name: 1e3 * metres for name, metres in found.cylinders().items()},
        "heights": {name: length(places[name][0][2], units) for name in EDGE_POINTS},
        "reach": length(found.reach, units), "lateral": length(found.lateral, units),
        "cross_slope_percent": percent_from_ratio(found.cross_slope), "floor_angle_deg": math.degrees(found.floor_angle),
        "heel_clearance": length(found.heel_clearance, units), "edge_play": _play(found, units),
        "lowest_point": what, "lowest_height": length(lowest, units),
        "past_square": found.past_square,
        "mast_deg": None if fitted.machine.receiver is None else math.degrees(found.mast_angle),
        "points": {name: {"level_m": level, "body_m": body} for name, (level, body) in places.items()},
        "edge_line_level_m": [(x, y, z) for x, y, z in found.edge_line().tolist()], "pins_body_m": found.pins(),
        "linkage": None if bar is None else FourBarOut(
            idler_deg=math.degrees(bar.idler), power_link_deg=math.degrees(bar.power_link),
            transmission_deg=math.degrees(bar.transmission), ratio=bar.ratio),
        "advisory": ADVISORY,
    })  # fmt: skip


def _written(answer: PoseOut) -> bytes:
    return PoseOut.__pydantic_serializer__.to_json(answer)


def _play(found: Pose, units: LengthUnit) -> dict[str, Length] | None:
    points = EDGE_POINTS + (TOOTH_POINTS if found.has_teeth else ())
    return play_out(found, {name: name for name in points}, units)
