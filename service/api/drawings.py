"""A pose, or two of them compared, drawn to scale as SVG or PNG."""

from collections.abc import Iterator
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused, refuse
from kinematics.explain import Side
from kinematics.units import LengthUnit
from service.book import requests as q
from service.strict import ONE_LINE, Strict, example

from .accepting import accepted
from .door import ProfilesDep
from .drawing import png_of
from .explanation_sides import PosedIn, of_poses
from .pose_picture import View
from .pose_sheet import as_svg
from .pose_window import GroundLine, Window, as_window
from .pose_words import Told

router = APIRouter(prefix="/v1/drawings", tags=["poses"])
SVG, PNG = "image/svg+xml", "image/png"
Format = Literal["svg", "png"]
Metres = Annotated[float, Field(ge=-50, le=50)]
_LEAST_WINDOW_M, _SLIMMEST = 0.05, 4.0
_KINDS: dict[Format, str] = {"svg": SVG, "png": PNG}
_USUAL_WIDTH = 900
_CURLED = {"boom": 30.0, "stick": -100.0, "bucket": 40.0}


class WindowIn(Strict):
    """A cut-out in metres: side view, reach and height over the body origin; front view, right and up of it."""

    left_m: Metres = Field(description="What of the view is at the left edge.")
    right_m: Metres = Field(description="At the right edge.")
    bottom_m: Metres = Field(description="At the lower edge.")
    top_m: Metres = Field(description="At the upper edge.")
    words: bool = Field(
        default=True, description="false: lines and marks alone, as before a question is answered."
    )

    def faults(self) -> Iterator[Fault]:
        """What of it is no window."""
        across, up = self.right_m - self.left_m, self.top_m - self.bottom_m
        for what, size, low, high in (
            ("right_m", across, "left_m", "right_m"),
            ("top_m", up, "bottom_m", "top_m"),
        ):
            if size < _LEAST_WINDOW_M:
                yield Fault("range-swapped", f"window.{what}", f"{size:g} m from {low} to {high}",
                            f"{_LEAST_WINDOW_M:g} m or more", "swap the two, or widen the window")  # fmt: skip
        if across >= _LEAST_WINDOW_M <= up and not across / _SLIMMEST <= up <= across * _SLIMMEST:
            yield Fault("out-of-range", "window", f"{up / across:.3g} times as high as wide",
                        f"{1 / _SLIMMEST:g} to {_SLIMMEST:g} times", "widen the window")  # fmt: skip


class MarkIn(TypedDict):
    """A place in the arm's plane."""

    reach_m: Annotated[Metres, Field(description="From the swing axis.")]
    height_m: Annotated[Metres, Field(description="Over the body origin.")]


class GroundIn(Strict):
    """The surface of ground in the arm's plane, metres over the body origin."""

    first_reach_m: Metres = Field(description="Reach of the first height.")
    step_m: float = Field(gt=0, le=10, description="From one to the next.")
    heights_m: list[Metres] = Field(
        min_length=2, max_length=2000, description="One for each reach, from near to far."
    )
    wanted: list[MarkIn] | None = Field(
        None,
        min_length=2,
        max_length=2,
        description="Ends of the line that it is to be brought to, drawn with a mark at each.",
    )  # fmt: skip


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
        pattern=ONE_LINE,
    )  # fmt: skip
    width_px: int = Field(_USUAL_WIDTH, ge=360, le=2400, description="Of the sheet; its height follows.")
    window: WindowIn | None = Field(
        None,
        description="Left out: a sheet about the poses, with dimensions and title block. Given: this cut-out alone, "
        "the same from one drawing to the next.",
    )
    ground: GroundIn | None = Field(
        None, description="Ground to be drawn, only in the side view of a window; left out, none is assumed."
    )


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
    faults = list(_window_faults(asked))
    try:
        sides = _sides(fitted, asked)
    except Refused as refused:
        raise Refused([*faults, *refused.faults]) from None
    refuse(faults)
    told = Told(
        machine, attachment, sides, asked.view, LengthUnit(asked.units), asked.title, asked.width_px
    )  # fmt: skip
    chosen = wanted or accepted(request.headers.get("accept", ""), _KINDS, "svg")
    svg = as_svg(told) if asked.window is None else as_window(told, *_cut_out(asked.window, asked.ground))
    return Response(png_of(svg) if chosen == "png" else svg, media_type=_KINDS[chosen])


def _window_faults(asked: DrawingIn) -> Iterator[Fault]:
    if asked.window is not None:
        yield from asked.window.faults()
    if asked.ground is not None and (asked.window is None or asked.view != "side"):
        found = f"ground in a {asked.view} view {'without' if asked.window is None else 'of'} a window"
        yield Fault("ground-alone", "ground", found, "the side view of a window",
                    "give window and view side, or leave the ground out")  # fmt: skip


def _cut_out(window: WindowIn, ground: GroundIn | None) -> tuple[Window, GroundLine | None]:
    cut = Window((window.left_m, window.bottom_m), (window.right_m, window.top_m), words=window.words)
    if ground is None:
        return cut, None
    wanted = tuple((mark["reach_m"], mark["height_m"]) for mark in ground.wanted or ())
    return cut, GroundLine(ground.first_reach_m, ground.step_m, tuple(ground.heights_m), wanted)


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
