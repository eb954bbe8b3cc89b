"""Where a machine stands in the classroom: its joints with their ranges, a usual pose, the ground, what to look at."""

import math
from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field
from typing_extensions import TypedDict

from kinematics.assembly import Assembly
from kinematics.parameters import EDGE_POINTS, TOOTH_POINTS
from kinematics.units import LengthUnit, show_number
from service.book import requests as q
from service.classroom.stance import Stance, slab_m, stance
from service.strict import Strict

from .answers import Reference, reference_to
from .door import ProfilesDep
from .explanation_words import DOING, FACTOR
from .pose_picture import level_pins
from .sensitivities import POINTS_IN_WORDS

router = APIRouter(prefix="/v1/stances", tags=["classroom"])
_TURNS = {"boom": ("boom_foot_pin", "stick_pin"), "fore_boom": ("fore_boom_pin", "stick_pin"),
          "stick": ("stick_pin", "bucket_pin"), "bucket": ("bucket_pin", "edge")}  # fmt: skip
"""Joint to the pin it turns about and the place that a hand takes to turn it, in the side view."""
_ABOVE, _BEHIND, _SIDE = 0.62, 0.13, 0.62
"""Of boom and stick together: what a window shows above and behind the body origin; half a bucket's window."""
_ROOM = 1.06


class JointOut(TypedDict):
    """One joint."""

    name: str
    words: str
    low_deg: Annotated[float, Field(description="Of its range, rounded inwards to a hundredth.")]
    high_deg: float
    start_deg: Annotated[float, Field(description="In the usual pose, to a tenth.")]
    raised: Annotated[str, Field(description="What a growing angle does.")]
    lowered: Annotated[str, Field(description="What a falling angle does.")]
    pin: Annotated[
        str | None, Field(description="What it turns about in a side view; null where that shows no turn.")
    ]
    taken_by: Annotated[str | None, Field(description="The pin that moves with it, or edge.")]


class PointOut(TypedDict):
    """A point of the bucket that can be read."""

    name: str
    words: str


class WindowOut(TypedDict):
    """A cut-out, as POST /v1/drawings takes it."""

    left_m: float
    right_m: float
    bottom_m: float
    top_m: float


class WindowsOut(TypedDict):
    """Cut-outs of the two views."""

    usual: Annotated[WindowOut, Field(description="Side: the arm at work.")]
    whole: Annotated[WindowOut, Field(description="Side: all that the arm can reach.")]
    bucket: Annotated[
        WindowOut, Field(description="Side: so large, to be moved so that its middle is the bucket pin.")
    ]
    front: Annotated[
        WindowOut, Field(description="Front: so large, to be moved so that its middle is the edge.")
    ]


class StanceOut(Strict):
    """Of one machine and attachment, level body; metres over the body origin."""

    machine: Reference
    attachment: Reference
    joints: list[JointOut] = Field(description="In the order of the chain; every joint the machine has.")
    edge_points: list[PointOut]
    units: q.Units
    origin_elevation: float | str = Field(
        description="In `units`, as requests take it: of the body origin where the ground is at 100 m (100 ft in feet)."
    )
    target_elevation: float | str = Field(description="Of a target so deep below that ground.")
    ground_m: float = Field(description="Height of the ground before it.")
    depth_m: float = Field(description="How far below that the classroom digs.")
    near_m: float = Field(description="Nearest reach at which the edge gets to both.")
    far_m: float
    windows: WindowsOut
    linkage: bool = Field(description="Whether the profile gives idler and power link.")


@router.get("", summary="Where a machine stands in the classroom")
def classroom_stance(
    machine: Annotated[q.MachineId, Query(description="Its id.")],
    attachment: Annotated[q.AttachmentId, Query(description="Its id.")],
    units: Annotated[q.Units, Query(description=q.UNITS_TEXT)],
    profiles: ProfilesDep,
) -> StanceOut:
    """The joints of a pair with their ranges, a usual pose with the edge on the ground, and what a drawing shows of it.

    Where the profile has no `boom.foot_above_ground`, the ground is assumed. See /guide/classroom.

    curl -s 'localhost:8311/v1/stances?machine=crawler-14t&attachment=digging-1500&units=m'
    """
    one, other, fitted = profiles.pair(machine, attachment)
    found = stance(fitted)
    unit = LengthUnit(units)
    slab = slab_m(unit)
    points = EDGE_POINTS + (TOOTH_POINTS if found.pose.has_teeth else ())
    return StanceOut(
        machine=reference_to(one), attachment=reference_to(other), joints=_joints(fitted, found),
        edge_points=[{"name": name, "words": POINTS_IN_WORDS[name]} for name in points],
        units=units, origin_elevation=_written(slab - found.ground, unit),
        target_elevation=_written(slab - found.depth, unit), ground_m=found.ground, depth_m=found.depth,
        near_m=found.near, far_m=found.far, windows=_windows(found),
        linkage=found.pose.four_bar() is not None,
    )  # fmt: skip


def _written(metres: float, units: LengthUnit) -> float | str:
    shown = show_number(metres, units)
    return shown if units is LengthUnit.FTIN else float(shown)


def _joints(fitted: Assembly, found: Stance) -> list[JointOut]:
    told: list[JointOut] = []
    for name, angle in found.joints.items():
        low, high = (math.degrees(each) for each in (fitted.ranges[name].low, fitted.ranges[name].high))
        low, high = _inwards(low, math.ceil), _inwards(high, math.floor)
        pin, taken = _TURNS.get(name, (None, None))
        raised, lowered = DOING[name]
        told.append({
            "name": name, "words": FACTOR[name], "low_deg": low, "high_deg": high,
            "start_deg": min(max(round(math.degrees(angle), 1), low), high),
            "raised": raised, "lowered": lowered, "pin": pin, "taken_by": taken,
        })  # fmt: skip
    return told


def _inwards(degrees: float, towards: Callable[[float], int]) -> float:
    return towards(100.0 * degrees) / 100.0


def _windows(found: Stance) -> WindowsOut:
    pose, machine = found.pose, found.pose.assembly.machine
    arm = machine.boom_length + machine.stick_length
    pins = level_pins(pose)
    bucket = _ROOM * max(
        *(math.dist(pins["bucket_pin"], place) for place, _ in pose.places().values()),
        math.dist(pose.level("left"), pose.level("right")),
    )  # fmt: skip
    foot = pins["boom_foot_pin"]
    whole = _ROOM * (arm + bucket)
    deep = 1.7 * found.depth
    return {
        "usual": {"left_m": -_BEHIND * arm, "right_m": _ROOM * (found.far + bucket), "bottom_m": found.ground - deep,
                  "top_m": _ABOVE * arm},
        "whole": {"left_m": -_SIDE * arm, "right_m": foot[0] + whole, "bottom_m": foot[2] - whole,
                  "top_m": foot[2] + whole},
        "bucket": {"left_m": -1.25 * bucket, "right_m": 1.25 * bucket, "bottom_m": -bucket, "top_m": bucket},
        "front": {"left_m": -1.2 * bucket, "right_m": 1.2 * bucket, "bottom_m": -0.7 * bucket, "top_m": 0.9 * bucket},
    }  # fmt: skip
