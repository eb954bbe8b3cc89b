"""The inverse of a pose: where boom, stick and bucket must stand for an edge point to be where it is wanted."""

import math

from fastapi import APIRouter
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.arm import Pose
from kinematics.errors import Refused
from kinematics.reach import place_edge
from kinematics.units import LengthUnit
from service.book.decide import posed, together
from service.book.posing import joints_deg
from service.book.requests import Length, PoseIn
from service.strict import example

from .door import ProfilesDep
from .inverse import ArmIn, check_standing, line_of, metres, placed
from .poses import PoseOut, pose_out

router = APIRouter(prefix="/v1/placements", tags=["inverse"])


class PlacementIn(ArmIn):
    """An edge point, and the reach, line and floor angle that it is to come to."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m",
        "attitude_deg": {"pitch": 0.4, "roll": -0.2}, "angles_deg": {"tilt": 0.0}, "edge_point": "centre",
        "line": {"height": -2.4, "slope_percent": 1.0, "reach": 5.0}, "reach": 5.6, "floor_angle_deg": 4.0,
    }))  # fmt: skip
    reach: Length = Field(description="Level distance ahead of the swing axis, in `units`.", examples=[5.6])
    floor_angle_deg: float = Field(
        description="0 flat, positive with the heel above the edge; from -180 to 180.", examples=[4.0]
    )
    near: PoseIn | None = Field(
        None,
        description="A pose of this machine: of several answers the one whose largest joint move from here is least "
        "comes first. Left out: elbow up, not past square.",
    )


class OtherOut(TypedDict):
    """Another pose that does the same."""

    joints_deg: dict[str, float]
    cylinders_mm: dict[str, float]
    past_square: bool


class PlacementOut(PoseOut):
    """A pose as POST /v1/poses tells it, which puts the point there."""

    others: list[OtherOut] = Field(
        description="Every further pose within the joints' ranges that does the same."
    )


@router.post("", summary="Joints that put the edge on a line")
def place(asked: PlacementIn, profiles: ProfilesDep) -> PlacementOut:
    """Boom, stick and bucket for an edge point at a reach, on a line, with a floor angle.

    Where they cannot, the refusal says by how much (`miss_m`, `beyond_deg`, `beyond_mm`) and which reach is nearest. It
    knows the joints alone: no tracks, no ground, no walls. Advice for the person at the levers, never a command.

    curl -s localhost:8311/v1/placements -H 'content-type: application/json' -d @placement.json
    """
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    floor, near = math.radians(asked.floor_angle_deg), asked.near
    together(
        lambda: line_of(asked.line, asked.units),
        lambda: metres(asked.reach, asked.units, "reach"),
        lambda: check_standing(fitted, asked, floor_angle=floor),
        lambda: None if near is None else posed(fitted, near, "near"),
    )
    reach = metres(asked.reach, asked.units, "reach")
    height = line_of(asked.line, asked.units).height_at(reach)
    try:
        found = place_edge(
            fitted, point=asked.edge_point, reach=reach, height=height, floor_angle=floor,
            near=None if near is None else posed(fitted, near, "near"), **asked.standing(),
        )  # fmt: skip
    except Refused as refused:
        raise placed(refused) from None
    told = pose_out(found.pose, machine, attachment, LengthUnit(asked.units))
    return PlacementOut.model_construct(**dict(told), others=[_other(pose) for pose in found.others])


def _other(pose: Pose) -> OtherOut:
    return {
        "joints_deg": joints_deg(pose),
        "cylinders_mm": {name: 1e3 * length for name, length in pose.cylinders().items()},
        "past_square": pose.past_square,
    }
