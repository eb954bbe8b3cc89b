"""A pose, or two of them compared, drawn to scale as SVG or PNG."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import ConfigDict, Field

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.explain import Side
from kinematics.units import LengthUnit
from service.book import requests as q
from service.strict import Strict, example

from .accepting import accepted
from .door import ProfilesDep
from .explanation_sides import PosedIn, of_poses
from .pose_picture import View
from .pose_sheet import as_png, as_svg
from .pose_words import Told

router = APIRouter(prefix="/v1/drawings", tags=["poses"])
SVG, PNG = "image/svg+xml", "image/png"
Format = Literal["svg", "png"]
_KINDS: dict[Format, str] = {"svg": SVG, "png": PNG}
_USUAL_WIDTH = 900
_CURLED = {"boom": 30.0, "stick": -100.0, "bucket": 40.0}


class DrawingIn(Strict):
    """What is drawn: one pose, or a first and a second of one machine."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m", "view": "side",
        "title": "Bucket curled",
        "sides": [
            {"angles_deg": _CURLED | {"bucket": 60.0}, "attitude_deg": {"pitch": 0.4, "roll": -0.2},
             "origin_elevation": 101.5, "target_elevation": 99.0},
            {"angles_deg": _CURLED, "attitude_deg": {"pitch": 0.4, "roll": -0.2},
             "origin_elevation": 101.5, "target_elevation": 99.0},
        ],
    }))  # fmt: skip
    machine: q.MachineId
    attachment: q.AttachmentId
    units: Annotated[q.Units, Field(description=q.UNITS_TEXT)]
    view: View = Field(description="side: from the right of the arm; front: from behind, looking ahead.")
    sides: list[PosedIn] = Field(
        min_length=1,
        max_length=2,
        description="One pose; or two, the first in broken ink and the second in full.",
    )
    title: str | None = Field(
        None, min_length=1, max_length=80, description="Your own, 1 to 80 characters on one line.",
        pattern=r"^[^\s\x00-\x1f\x7f-\x9f\uFFFE\uFFFF](?:[^\x00-\x1f\x7f-\x9f\uFFFE\uFFFF]*[^\s\x00-\x1f\x7f-\x9f\uFFFE\uFFFF])?$",
    )  # fmt: skip
    width_px: int = Field(_USUAL_WIDTH, ge=360, le=2400, description="Of the sheet; its height follows.")


@router.post(
    "",
    summary="A pose, or two compared, drawn to scale",
    response_class=Response,
    responses={200: {
        "description": "The sheet.",
        "content": {
            SVG: {"schema": {"type": "string", "description": "With a text equivalent in its desc."}},
            PNG: {"schema": {"type": "string", "format": "binary", "description": "The same, as wide as asked."}},
        },
    }},
)  # fmt: skip
def draw(
    asked: DrawingIn,
    profiles: ProfilesDep,
    request: Request,
    wanted: Annotated[
        Format | None, Query(alias="format", description="Left out, as the Accept header asks; else svg.")
    ] = None,
) -> Response:
    """A dimensioned drawing of poses, for a report or a lesson; nothing is recorded. See /guide/drawings.

    curl -s localhost:8311/v1/drawings -H 'content-type: application/json' -d @drawing.json -o pose.svg
    """
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    told = Told(
        machine, attachment, _sides(fitted, asked), asked.view, LengthUnit(asked.units), asked.title, asked.width_px
    )  # fmt: skip
    chosen = wanted or accepted(request.headers.get("accept", ""), _KINDS, "svg")
    return Response(as_png(told) if chosen == "png" else as_svg(told), media_type=_KINDS[chosen])


def _sides(fitted: Assembly, asked: DrawingIn) -> tuple[Side, ...]:
    """Every pose solved. Raises `Refused` with the faults of all."""
    sides = tuple(each.side for each in of_poses(fitted, asked.sides, asked.units))
    origins = [each.origin is None for each in sides]
    if len(set(origins)) == 2:
        raise Refused([
            Fault("one-sided", f"sides.{origins.index(True)}.origin_elevation", "none", "one on both sides or on neither",
                  "give it for both poses, or leave it out of both")
        ])  # fmt: skip
    return sides
