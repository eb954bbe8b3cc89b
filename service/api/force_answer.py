"""Tool forces as an answer: models, and how they become one."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from pydantic import Field

from kinematics.arm import Pose
from kinematics.assembly import Assembly
from kinematics.envelope import Envelope
from kinematics.forces import ForceMap, RatedForce, ToolForce
from kinematics.hydraulics import BAR, RAMS
from kinematics.units import LengthUnit
from service.book import requests as q
from service.book.posing import joints_deg
from service.book.state import Named
from service.strict import Strict

from .answers import ADVISORY, Length, Reference, length, reference_to

FORCES_ARE = (
    "Theoretical forces as ISO 6015 (SAE J1179) has them: masses of arm and load, friction and the pressure of return "
    "lines are not counted, nor whether the machine tips or slides or its steel holds. "
)


class RatedOut(Strict):
    """What one cylinder alone gives at best, with its working pressure."""

    mode: str
    force_kn: float
    lever: Length = Field(description="From the joint's pin to the point.")
    bucket_deg: float
    stick_deg: float | None


class LoadOut(Strict):
    """What a joint's cylinders do at this force."""

    thrust_kn: float = Field(description="All of them together; positive where they push.")
    pressure_bar: float
    allowed_bar: float = Field(description="Working pressure where it works, else holding pressure.")


class ForceOut(Strict):
    """The greatest force in a posture."""

    mode: str
    force_kn: float
    ahead: float = Field(description="Of its direction, length 1: away from the machine.")
    up: float
    limited_by: str = Field(description="The joint whose cylinder allows no more.")
    loads: dict[str, LoadOut]
    taken_to_hold: list[str] = Field(
        description="Cylinders that have to hold and of which nobody knows bore and pressure."
    )
    words: str


class PostureOut(Strict):
    """A posture and its forces."""

    joints_deg: dict[str, float]
    reach: Length
    height: Length
    forces: list[ForceOut]


class MapOut(Strict):
    """The greatest force of all postures that put the point on each place; rows from the lowest height on."""

    mode: str
    reach_m: list[float]
    height_m: list[float]
    force_kn: list[list[float | None]] = Field(
        description="By height, then reach; null where the point does not get."
    )
    limited_by: list[list[str | None]]
    bucket_deg: list[list[float | None]] = Field(description="Bucket joint of the posture that gives it.")
    bucket_step_deg: float = Field(
        description="Postures are tried this far apart in the plane; places that only narrower windows reach are null."
    )


class ForcesOut(Strict):
    """The forces."""

    units: q.Units
    machine: Reference
    attachment: Reference
    edge_point: str
    rated: list[RatedOut]
    posture: PostureOut | None
    map: MapOut | None
    advisory: str


@dataclass(frozen=True, slots=True)
class Told:
    """Forces with what their answers need."""

    assembly: Assembly
    machine: Named
    attachment: Named
    units: LengthUnit
    point: str
    rated: Mapping[str, RatedForce]
    there: Mapping[str, ToolForce]
    posed: Pose | None
    envelope: Envelope
    map: ForceMap | None

    def with_map(self, found: ForceMap) -> "Told":
        """The same with a map."""
        return replace(self, map=found)


def answer(told: Told) -> ForcesOut:
    """The forces as JSON."""
    units = told.units
    return ForcesOut(
        units=units.value, machine=reference_to(told.machine), attachment=reference_to(told.attachment),
        edge_point=told.point,
        rated=[
            RatedOut(
                mode=each.mode, force_kn=1e-3 * each.force, lever=length(each.lever, units),
                bucket_deg=math.degrees(each.bucket),
                stick_deg=None if each.stick is None else math.degrees(each.stick),
            )
            for each in told.rated.values()
        ],
        posture=_posture(told), map=None if told.map is None else _map(told.map), advisory=FORCES_ARE + ADVISORY,
    )  # fmt: skip


def _posture(told: Told) -> PostureOut | None:
    if told.posed is None:
        return None
    reach, _, height = told.posed.level(told.point)
    return PostureOut(
        joints_deg=joints_deg(told.posed), reach=length(reach, told.units), height=length(height, told.units),
        forces=[_force(each) for each in told.there.values()],
    )  # fmt: skip


def _force(found: ToolForce) -> ForceOut:
    loads = {
        name: LoadOut(
            thrust_kn=1e-3 * load.thrust, pressure_bar=load.pressure / BAR, allowed_bar=load.allowed / BAR
        )
        for name, load in found.loads.items()
    }
    limit = found.limited_by.replace("_", " ")
    own = found.limited_by == found.mode
    allowed = loads[found.limited_by].allowed_bar
    reason = f"{'working' if own else 'holding'} pressure of the {limit} cylinder, {allowed:.0f} bar"
    return ForceOut(
        mode=found.mode, force_kn=1e-3 * found.force, ahead=found.ahead, up=found.up, limited_by=found.limited_by,
        loads=loads, taken_to_hold=list(found.unknown),
        words=f"{1e-3 * found.force:.1f} kN with the {found.mode} cylinder, limited by the {reason}",
    )  # fmt: skip


def _map(found: ForceMap) -> MapOut:
    def told(values: list[list[float]], factor: float) -> list[list[float | None]]:
        return [[None if math.isnan(each) else factor * each for each in row] for row in values]

    return MapOut(
        mode=found.mode, reach_m=found.reaches.tolist(), height_m=found.heights.tolist(),
        force_kn=told(found.force.tolist(), 1e-3), bucket_deg=told(found.bucket.tolist(), math.degrees(1.0)),
        limited_by=[[None if k < 0 else RAMS[k] for k in row] for row in found.limited_by.tolist()],
        bucket_step_deg=math.degrees(found.step),
    )  # fmt: skip
