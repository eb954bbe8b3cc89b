"""A digging envelope as an answer: models, words, and how an envelope becomes one."""

import math
from dataclasses import dataclass

from pydantic import Field

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.envelope import Dimension, Envelope, Spot
from kinematics.outline import Loop, area
from kinematics.units import LengthUnit, show
from service.book import requests as q
from service.book.posing import joints_deg
from service.book.state import Named
from service.strict import Strict

from .answers import ADVISORY, Length, Reference, length, maybe, reference_to
from .laboratory import NOT_COUNTED, stop_words

CHORD_M = 0.002
WORDS = {
    "digging_depth": "greatest digging depth", "level_floor_depth": "greatest depth of a level floor of",
    "reach": "greatest reach", "reach_at_ground": "greatest reach at the ground",
    "cutting_height": "greatest cutting height", "dump_height": "greatest dump height",
    "swing_radius": "least swing radius of the front",
}  # fmt: skip


class SpotOut(Strict):
    """A place and the posture that puts the point there."""

    reach: Length
    height: Length = Field(description="Over the body origin.")
    joints_deg: dict[str, float]
    cylinders_mm: dict[str, float] = Field(description="Pin to pin, of those measured.")
    at_stops: dict[str, str] = Field(description="Joints that stand at an end of their range, in words.")


class DimensionOut(Strict):
    """A named dimension."""

    name: str
    words: str
    value: Length
    spots: list[SpotOut] = Field(description="Where it is; both ends of a level floor, near end first.")


class ArcOut(Strict):
    """A piece of the border: an arc, what is reached on the left as one goes."""

    centre_reach_m: float
    centre_height_m: float
    radius_m: float
    from_deg: float = Field(description="Direction from the centre, from the reach axis towards height.")
    to_deg: float = Field(description="Less than `from_deg` where the arc is gone clockwise.")
    joint: str = Field(description="The joint that turns.")
    holds: dict[str, str] = Field(
        description="What the others stand by: low or high end of their range, or aligned: pins and point in one line."
    )


class BorderOut(Strict):
    """A closed loop of the border."""

    arcs: list[ArcOut]
    reach_m: list[float] = Field(description="The same as corners of a polygon, see `chord_error_m`.")
    height_m: list[float]


class EnvelopeOut(Strict):
    """The envelope."""

    units: q.Units
    machine: Reference
    attachment: Reference
    edge_point: str
    ground: Length | None = Field(description="Over the body origin; null where nobody measured it.")
    dimensions: list[DimensionOut]
    without: dict[str, str] = Field(description="Dimensions that are not there, and why.")
    border: BorderOut
    others: list[BorderOut] = Field(
        description="Loops around ground out of reach inside the border, clockwise."
    )
    chord_error_m: float = Field(description="No chord of the polygons is further from its arc.")
    area_m2: float = Field(description="What is reached, exactly.")
    advisory: str


@dataclass(frozen=True, slots=True)
class Told:
    """An envelope with what its answers need."""

    found: Envelope
    assembly: Assembly
    machine: Named
    attachment: Named
    units: LengthUnit


def words_of(name: str, told: Told) -> str:
    """A dimension's name for people."""
    return WORDS[name] + (f" {show(told.found.floor, told.units)}" if name == "level_floor_depth" else "")


def answer(told: Told) -> EnvelopeOut:
    """The envelope as JSON."""
    found, units = told.found, told.units
    loops = (found.curve, *found.others)
    return EnvelopeOut(
        units=units.value, machine=reference_to(told.machine), attachment=reference_to(told.attachment),
        edge_point=found.point, ground=maybe(found.ground, units),
        dimensions=[_dimension(name, each, told) for name, each in found.dimensions.items()],
        without=dict(found.without), border=_border(found.curve), others=[_border(loop) for loop in found.others],
        chord_error_m=CHORD_M, area_m2=sum(map(area, loops)), advisory=NOT_COUNTED + ADVISORY,
    )  # fmt: skip


def _dimension(name: str, dimension: Dimension, told: Told) -> DimensionOut:
    return DimensionOut(
        name=name, words=words_of(name, told), value=length(dimension.value, told.units),
        spots=[_spot(spot, told) for spot in dimension.spots],
    )  # fmt: skip


def _spot(spot: Spot, told: Told) -> SpotOut:
    assembly = told.assembly
    still = {name: 0.0 for name in assembly.ranges if name not in spot.joints} | dict(told.found.held)
    posed = pose(assembly, pitch=0.0, roll=0.0, **{**still, **spot.joints})
    cylinders = posed.cylinders()
    return SpotOut(
        reach=length(spot.reach, told.units), height=length(spot.height, told.units), joints_deg=joints_deg(posed),
        cylinders_mm={name: 1e3 * each for name, each in cylinders.items()},
        at_stops={name: stop_words(assembly, name, end, cylinders.get(name)) for name, end in spot.at_stops.items()},
    )  # fmt: skip


def _border(loop: Loop) -> BorderOut:
    places = [at for piece in loop for at in piece.sampled(CHORD_M)]
    return BorderOut(
        arcs=[
            ArcOut(
                centre_reach_m=piece.arc.centre.real, centre_height_m=piece.arc.centre.imag, radius_m=piece.arc.radius,
                from_deg=math.degrees(piece.start), to_deg=math.degrees(piece.end), joint=piece.arc.joint,
                holds=dict(piece.arc.holds),
            )
            for piece in loop
        ],
        reach_m=[at.real for at in places], height_m=[at.imag for at in places],
    )  # fmt: skip
