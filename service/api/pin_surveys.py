"""Pins measured in one posture, as a table, to a profile's text."""

import math
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import ConfigDict, Field

from kinematics.errors import Refused
from kinematics.machine import Range
from machine_profiles.exchange import USUAL_TOLERANCE_M, Attitude, Stroke, Told
from service.book import requests as q
from service.pin_survey import LONGEST_CSV, Kind, Places, surveyed
from service.strict import Strict, example

router = APIRouter(prefix="/v1/pin-surveys", tags=["profiles"])
Millimetres = Annotated[float, Field(ge=-40_000, le=40_000)]
Degrees = Annotated[float, Field(ge=-360, le=360)]
Driven = Literal["boom", "fore_boom", "stick", "bucket"]
Ranged = Literal["swing_boom", "boom", "fore_boom", "stick", "bucket", "idler"]
_EXTENDING = {"raises": 1, "lowers": -1, None: None}
_TABLE = """pin,x_mm,z_mm
swing_axis,0,2000
boom_foot_pin,250,1700
stick_pin,4233.717,4000
bucket_pin,3378.666,1650.769
"""


class StrokeIn(Strict):
    """A cylinder whose two pins stand in the table."""

    shortest: Millimetres = Field(description="Pin to pin, closed, mm.")
    longest: Millimetres = Field(description="Pin to pin, run out, mm.")
    extending: Literal["raises", "lowers"] | None = Field(
        None,
        description="What a longer cylinder does to the link ahead of it: it shows a table that is mirrored. Not of "
        "the bucket's, which the pins tell.",
    )


class SpanIn(Strict):
    """Lowest and highest angle of a joint."""

    low: Degrees = Field(description="Lower end, degrees.")
    high: Degrees = Field(description="Upper end, degrees.")


class PinSurveyIn(Strict):
    """Pins of a machine in one posture, any that reaches out, and what pins alone do not say."""

    model_config = ConfigDict(json_schema_extra=example({
        "kind": "machine", "id": "our-digger", "name": "Our digger", "source": "Side view, drawn in the yard.",
        "csv": _TABLE, "attitude_deg": {"pitch": 0.0, "roll": 0.0}, "boom_foot_left_mm": -60,
        "ranges_deg": {"boom": {"low": -41, "high": 54}, "stick": {"low": -147, "high": -30},
                       "bucket": {"low": -29, "high": 134}},
    }))  # fmt: skip
    kind: Kind = Field(description="machine, or attachment for a bucket without tilt and rotation.")
    id: Annotated[q.Slug, Field(description="Id that the profile is to have.")]
    name: str = Field(min_length=1, max_length=80, description="Name for people.")
    source: str = Field(min_length=1, max_length=2000, description="Who measured it, when and how.")
    csv: str = Field(
        max_length=LONGEST_CSV,
        description="Heading pin,x_mm,y_mm,z_mm (in space, z plumb up) or pin,x_mm,z_mm (side view), the unit m, mm, "
        "cm, ft or in; then a row for each pin.",
    )
    attitude_deg: Annotated[
        q.Attitude,
        Field(description="How the body leaned when the pins were measured; 0 and 0 only if it was read."),
    ]
    strokes_mm: dict[Driven, StrokeIn] = Field(
        default_factory=dict, description="By joint, of each cylinder whose pins are in the table."
    )
    ranges_deg: dict[Ranged, SpanIn] = Field(
        default_factory=dict, description="By joint, of each that has no cylinder in the table."
    )
    boom_foot_left_mm: Millimetres | None = Field(
        None, description="Of a side view: the boom foot pin left of the swing axis, negative to the right."
    )
    tolerance_mm: float = Field(
        USUAL_TOLERANCE_M * 1e3, gt=0, le=100, description="How far a pin may lie off the plane of all."
    )


class PinSurveyOut(Strict):
    """The profile that the pins give; nothing is on record."""

    toml: str = Field(description="Text to read, correct and post to /v1/machines or /v1/attachments.")
    facts: dict[str, Any] = Field(description="What was computed from it, as /v1/profile-checks has it.")
    doubts: list[str] = Field(description="What is allowed but hardly true.")


_PLACES = Places(
    "csv",
    lambda joint: f"strokes_mm.{joint}",
    lambda joint: f"ranges_deg.{joint}",
    lambda name: "boom_foot_left_mm" if name == "boom_foot_left" else f"attitude_deg.{name}",
)


@router.post("", summary="Pin coordinates to a profile")
def survey(asked: PinSurveyIn) -> PinSurveyOut:
    """A profile from pins measured in any posture; nothing is recorded. See /guide/exchange.

    curl -s localhost:8311/v1/pin-surveys -H 'content-type: application/json' -d @pins.json
    """
    try:
        attitude = Attitude(math.radians(asked.attitude_deg.pitch), math.radians(asked.attitude_deg.roll))
    except Refused as refused:
        raise Refused(fault.at("attitude_deg") for fault in refused.faults) from None
    left = asked.boom_foot_left_mm
    told = Told(
        asked.id, asked.name, asked.source, attitude,
        {joint: Stroke(each.shortest / 1e3, each.longest / 1e3, _EXTENDING[each.extending])
         for joint, each in asked.strokes_mm.items()},
        {joint: Range(math.radians(each.low), math.radians(each.high)) for joint, each in asked.ranges_deg.items()},
        None if left is None else left / 1e3, asked.tolerance_mm / 1e3,
    )  # fmt: skip
    found = surveyed(asked.csv, asked.kind, told, _PLACES)
    return PinSurveyOut(toml=found.toml, facts=found.facts, doubts=list(found.doubts))
