"""Corrections: advice on how far one joint alone would have to move, in numbers and in a sentence."""

import math
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.arm import Pose
from kinematics.assembly import Assembly
from kinematics.corrections import Correction, TiltCorrection, corrections, cross_slope_correction
from kinematics.errors import Fault, Refused
from kinematics.maps import Vector
from kinematics.reach import Line
from kinematics.units import RESOLUTION_M, LengthUnit, percent_from_ratio, ratio_from_percent, show
from service.book.decide import together
from service.book.posing import solve
from service.book.requests import AttachmentId, MachineId, PoseIn, Units
from service.strict import Strict, example

from .answers import ADVISORY, Length, Reference, length, reference_to
from .door import ProfilesDep
from .inverse import EdgePointField, LineField, UnitsChoice, check_point, line_of
from .sensitivities import POINTS_IN_WORDS

router = APIRouter(prefix="/v1/corrections", tags=["inverse"])


class CorrectionsIn(PoseIn):
    """A pose, an edge point and the line that it is to come to."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m",
        "angles_deg": {"boom": 10.0, "stick": -90.0, "bucket": 47.0, "tilt": 0.0},
        "attitude_deg": {"pitch": 0.4, "roll": -0.2}, "edge_point": "centre", "line": {"height": -2.4},
        "cross_slope_percent": -2.0,
    }))  # fmt: skip
    machine: MachineId
    attachment: AttachmentId
    units: UnitsChoice
    edge_point: EdgePointField
    line: LineField
    cross_slope_percent: float | None = Field(
        None, ge=-100, le=100,
        description="Wanted of the edge, positive with the bucket's own right corner higher: what the tilt alone would "
        "do for it. Only where the attachment has a tilt axis.",
    )  # fmt: skip


class CorrectionOut(TypedDict):
    """What one joint alone would do, all others still: the smaller move where two would do."""

    joint: str
    move_deg: Annotated[
        float,
        Field(
            description="From where it is; signed as the joint's angle. What brings it nearest, if short of it."
        ),
    ]
    angle_deg: Annotated[float, Field(description="To this angle.")]
    cylinder_move_mm: Annotated[
        float | None, Field(description="Longer positive; null where no cylinder is measured.")
    ]
    reaches: Annotated[bool, Field(description="Whether the point comes to it within the joint's range.")]
    off_by: Annotated[
        Length, Field(description="How far the point then stays above it, plumb; below: negative.")
    ]
    reach: Annotated[Length, Field(description="The reach that the point comes to.")]
    lowest_point: Annotated[
        str, Field(description="Of edge, teeth and heel, what is then farthest below it.")
    ]
    lowest_below: Annotated[Length, Field(description="By how much; above it: negative.")]
    words: str


class TiltOut(TypedDict):
    """What the tilt alone would do for the cross-slope."""

    move_deg: Annotated[
        float, Field(description="Positive raises the left corner, floor flat in digging posture.")
    ]
    angle_deg: Annotated[float, Field(description="To this angle.")]
    reaches: bool
    cross_slope_percent: Annotated[float, Field(description="What the edge then has.")]
    off_by_percent: Annotated[float, Field(description="That minus what is wanted.")]
    words: str


class CorrectionsOut(Strict):
    """Advice, joint by joint."""

    units: Units
    machine: Reference
    attachment: Reference
    corrections: list[CorrectionOut]
    tilt_for_cross_slope: TiltOut | None = Field(description="null where none was asked for.")
    advisory: str


@router.post("", summary="What each joint alone would correct")
def correct(asked: CorrectionsIn, profiles: ProfilesDep) -> CorrectionsOut:
    """How far each joint alone would have to move to bring an edge point to a line.

    Advice for the person at the levers; it commands nothing and moves nothing. Lengths in `words` are in `units`.

    curl -s localhost:8311/v1/corrections -H 'content-type: application/json' -d @correction.json
    """
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    poses: list[Pose] = []
    together(
        lambda: line_of(asked.line, asked.units),
        lambda: poses.append(solve(fitted, asked)),
        lambda: check_point(fitted, asked.edge_point),
        lambda: _needs_tilt(asked, fitted),
    )
    [found], units = poses, LengthUnit(asked.units)
    line = line_of(asked.line, asked.units)
    wanted = asked.cross_slope_percent
    tilt = None if wanted is None else cross_slope_correction(found, ratio_from_percent(wanted))
    return CorrectionsOut(
        units=asked.units, machine=reference_to(machine), attachment=reference_to(attachment),
        corrections=[
            _with_lowest(correction_out(move, asked.edge_point, "line", _deepest(move.places, line), units), units)
            for move in corrections(found, line, point=asked.edge_point)
        ],
        tilt_for_cross_slope=None if tilt is None else tilt_out(tilt),
        advisory=ADVISORY,
    )  # fmt: skip


def _needs_tilt(asked: CorrectionsIn, fitted: Assembly) -> None:
    if asked.cross_slope_percent is not None and "tilt" not in fitted.ranges:
        raise Refused([
            Fault("no-such-joint", "cross_slope_percent", "a cross-slope from an attachment without a tilt axis",
                  "an attachment that tilts", "leave it out")
        ])  # fmt: skip


def _deepest(places: Mapping[str, Vector], line: Line) -> tuple[str, float]:
    below = {name: line.height_at(x) - z for name, (x, _, z) in places.items()}
    return max(below.items(), key=lambda item: item[1])


def _with_lowest(told: CorrectionOut, units: LengthUnit) -> CorrectionOut:
    """The sentence with what then stands below the line; no tolerance is known here, so that all of it is told."""
    below = told["lowest_below"]["m"]
    if told["reaches"] and below >= 0.5 * RESOLUTION_M[units]:
        told["words"] += f"; then the {part(told['lowest_point'])} is {size(below, units)} below the line"
    return told


def correction_out(
    move: Correction, point: str, goal: str, deepest: tuple[str, float], units: LengthUnit
) -> CorrectionOut:
    """A correction for an answer. `goal`: what the point comes to, in a word; `deepest`: what is farthest below, m."""
    drawn = move.cylinder_move_m
    return {
        "joint": move.joint,
        "move_deg": math.degrees(move.move_rad),
        "angle_deg": math.degrees(move.angle),
        "cylinder_move_mm": None if drawn is None else 1e3 * drawn,
        "reaches": move.reaches,
        "off_by": length(move.off_by_m, units),
        "reach": length(move.reach, units),
        "lowest_point": deepest[0],
        "lowest_below": length(deepest[1], units),
        "words": _words(move, point, goal, units),
    }


def tilt_out(move: TiltCorrection) -> TiltOut:
    """A correction of the cross-slope for an answer."""
    slope, off = percent_from_ratio(move.cross_slope), percent_from_ratio(move.off_by)
    degrees, to = math.degrees(move.move_rad), math.degrees(move.angle)
    if not move.reaches:
        words = (
            f"the tilt alone cannot: the cross-slope stays {abs(off):.1f} % off, at {signed_percent(slope)} %"
        )
    elif abs(degrees) < LEAST_DEG:
        words = "advice: leave the tilt where it is"
    else:
        wanted = signed_percent(slope)
        words = (
            f"advice: tilt {degrees:+.2f} deg, for a cross-slope of {wanted} %; then read the height again"
        )
    return {
        "move_deg": degrees, "angle_deg": to, "reaches": move.reaches, "cross_slope_percent": slope,
        "off_by_percent": off, "words": words,
    }  # fmt: skip


def signed_percent(slope: float) -> str:
    """Percent to a tenth, with a plus where it is positive; a zero has no sign."""
    return f"{slope:+.1f}" if abs(slope) >= 0.05 else "0.0"


# What two decimals show as nothing.
LEAST_DEG = 0.005
_UP, _DOWN = (
    {"boom": "raise the boom", "fore_boom": "raise the fore boom", "stick": "push the stick out",
     "bucket": "uncurl the bucket"},
    {"boom": "lower the boom", "fore_boom": "lower the fore boom", "stick": "pull the stick in",
     "bucket": "curl the bucket"},
)  # fmt: skip


def _words(move: Correction, point: str, goal: str, units: LengthUnit) -> str:
    """ "advice: lower the boom 1.30 deg (its cylinder 24 mm shorter)"."""
    joint, degrees = move.joint.replace("_", " "), math.degrees(move.move_rad)
    if not move.reaches:
        side = "above" if move.off_by_m > 0.0 else "below"
        return f"the {joint} alone cannot: the {part(point)} stays {size(move.off_by_m, units)} {side} the {goal}"
    if abs(degrees) < LEAST_DEG:
        return f"advice: leave the {joint} where it is"
    doing = (_UP if degrees > 0.0 else _DOWN).get(move.joint)
    if doing is None:
        return f"a tilt of {degrees:+.2f} deg would do it, but the tilt is for the cross-slope"
    words = f"advice: {doing} {abs(degrees):.2f} deg"
    drawn = move.cylinder_move_m
    if drawn is None:
        return words
    told = size(drawn, cylinders_in(units))
    return f"{words} (its cylinder {told} {'longer' if drawn > 0.0 else 'shorter'})"


def size(metres: float, units: LengthUnit) -> str:
    """A length without its sign in words, never a plain zero."""
    step = least_shown(units)
    return f"less than {show(step, units)}" if abs(metres) < 0.5 * step else show(abs(metres), units)


def least_shown(units: LengthUnit) -> float:
    """The step (m) in which a sentence tells a length."""
    return 1e-3 if units is LengthUnit.MM else RESOLUTION_M[units]


def cylinders_in(units: LengthUnit) -> LengthUnit:
    """Cylinders are read in millimetres where metres are: 0.024 m of rod is nobody's figure."""
    return LengthUnit.MM if units is LengthUnit.M else units


def part(point: str) -> str:
    """A point of the bucket in words."""
    return POINTS_IN_WORDS.get(point, "cutting edge")
