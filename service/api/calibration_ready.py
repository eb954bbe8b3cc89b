"""A calibration's request in metres and radians: each observation with what the sensors said, each fault at its place."""

import hashlib
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeVar

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused, refuse
from kinematics.mounting_lines import Level, PlumbLine
from kinematics.sensing import Told, readings_of
from kinematics.sensor_set import SensorSet
from kinematics.touched import BODY, HeightSeen, LineSeen, Seen
from kinematics.units import LengthUnit
from service.book.lengths import metres_within, uncertainty_within
from service.book.posing import solve
from service.book.requests import PoseIn
from service.store import canonical_json

from .budget_words import in_units
from .calibration_request import (
    ROD_M,
    STATION_M,
    TOUCH_M,
    CalibrationIn,
    LinkCheckIn,
    StaffIn,
    StaffSeenIn,
    StoodIn,
    TouchesIn,
)
from .fitting import raw_of

FARTHEST_M = 200.0
MOST_SEEN = 300
Found = TypeVar("Found")


@dataclass(slots=True)
class Ready:
    """What was seen, in the order of the request, and each one's place in it."""

    seen: list[Seen] = field(default_factory=list)
    places: list[str] = field(default_factory=list)


def ready(asked: CalibrationIn, fitted: Assembly, sensors: SensorSet) -> Ready:
    """Every observation. Raises `Refused` with every fault at its place in the body."""
    reader = _Reader(asked, fitted, sensors)
    for i, touches in enumerate(asked.touches):
        reader.touches(f"touches.{i}", touches)
    for i, staff in enumerate(asked.staff_readings):
        reader.staff(f"staff_readings.{i}", staff)
    for i, check in enumerate(asked.link_checks):
        reader.check(f"link_checks.{i}", check)
    names = [*(each.name for each in asked.touches), *(each.name for each in asked.staff_readings)]
    for name in sorted({each for each in names if names.count(each) > 1}):
        reader.faults.append(Fault("given-twice", "touches", f"{name!r} again", "a name of its own for each"))
    if len(reader.made.seen) > MOST_SEEN:
        reader.faults.append(
            Fault("too-many-values", "", f"{len(reader.made.seen)} observations", f"at most {MOST_SEEN}")
        )
    refuse(reader.faults)
    return reader.made


def placed(refused: Refused, made: Ready, asked: CalibrationIn) -> Refused:
    """The faults of the formulas at their places in the body, lengths in its units."""
    return Refused(_placed(fault, made, asked) for fault in in_units(refused.faults, LengthUnit(asked.units)))


def _placed(fault: Fault, made: Ready, asked: CalibrationIn) -> Fault:
    head, _, rest = fault.where.partition(".")
    where = fault.where
    if head == "unknowns" and rest in asked.unknowns:
        where = f"unknowns.{asked.unknowns.index(rest)}"
    if head == "seen":
        index, _, inner = rest.partition(".")
        if index.isdigit() and int(index) < len(made.places):
            where = ".".join(
                part for part in (made.places[int(index)], _within(inner, made, int(index))) if part
            )
    return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def _within(inner: str, made: Ready, index: int) -> str:
    """A field of an observation by its name in the body, whose standard stands with its group."""
    if inner.startswith("line") or inner in ("height", "standard", "point"):
        told = {"point": "edge_point", "line.uncertainty": "uncertainty_deg"}.get(inner, "")
        return told if isinstance(made.seen[index], LineSeen) or inner == "point" else ""
    return inner


def observations_sha256(asked: CalibrationIn) -> str:
    """SHA-256 of the canonical JSON of what was seen, units and all."""
    told = asked.model_dump(
        mode="json", include={"units", "touches", "staff_readings", "link_checks"}, exclude_none=True
    )
    return hashlib.sha256(canonical_json(told).encode()).hexdigest()


class _Reader:
    def __init__(self, asked: CalibrationIn, fitted: Assembly, sensors: SensorSet) -> None:
        self.units, self.fitted, self.sensors = asked.units, fitted, sensors
        self.faults: list[Fault] = []
        self.made = Ready()

    def touches(self, where: str, given: TouchesIn) -> None:
        """Of one fixed point: every height is 0 in its own datum."""
        standard = self._standard(where, given.standard, TOUCH_M)
        for k, stood in enumerate(given.poses):
            place = f"{where}.poses.{k}"
            self._height(place, f"{given.name} {k + 1}", given.name, stood, given.edge_point, 0.0, standard)

    def staff(self, where: str, given: StaffIn) -> None:
        """Under one set-up: minus the rod, or the elevation."""
        level = given.by == "level"
        standard = self._standard(where, given.standard, ROD_M if level else STATION_M)
        heights = [
            self._staff_height(f"{where}.seen.{k}", each, level=level) for k, each in enumerate(given.seen)
        ]
        # What a group counts from is found with the rest: 350 m over a datum are no wrong unit.
        datum = 0.0 if level else next((height for height in heights if height is not None), 0.0)
        for k, (each, read) in enumerate(zip(given.seen, heights, strict=True)):
            place = f"{where}.seen.{k}"
            height = None if read is None else read - datum
            name = f"{given.name} {k + 1}"
            self._height(place, name, given.name, each, each.edge_point, height, standard)

    def _staff_height(self, place: str, each: StaffSeenIn, *, level: bool) -> float | None:
        wanted, other = ("rod", "elevation") if level else ("elevation", "rod")
        value = getattr(each, wanted)
        if value is None or getattr(each, other) is not None:
            found = f"no {wanted}" if value is None else f"{other} too"
            by = "a level" if level else "a total station"
            self.faults.append(Fault("half-described", place, found, f"{wanted}, and nothing else, of {by}"))
            return None
        most = FARTHEST_M if level else 10_000.0
        found_m = self._caught(lambda: metres_within(value, self.units, f"{place}.{wanted}", most))
        return None if found_m is None else -found_m if level else found_m

    def check(self, place: str, given: LinkCheckIn) -> None:
        """A line on a link."""
        line = self._caught(lambda: _line(place, given))
        readings = self._readings(place, given)
        if line is not None and readings is not None:
            self._add(place, LineSeen(given.name, readings, given.link, line, given.axis))

    def _height(
        self, place: str, name: str, group: str, stood: StoodIn, point: str, height: float | None,
        standard: float | None,
    ) -> None:  # fmt: skip
        readings = self._readings(place, stood)
        if readings is not None and height is not None and standard is not None:
            self._add(place, HeightSeen(name, group, readings, point, height, standard))

    def _add(self, place: str, seen: Seen) -> None:
        self.made.seen.append(seen)
        self.made.places.append(place)

    def _standard(self, where: str, given: float | str | None, usual: float) -> float | None:
        if given is None:
            return usual
        found = self._caught(lambda: uncertainty_within(given, self.units, f"{where}.standard"))
        if found == 0.0:
            self.faults.append(
                Fault(
                    "not-positive",
                    f"{where}.standard",
                    f"{given} {self.units}",
                    "a standard uncertainty above 0",
                )
            )
        return found

    def _readings(self, place: str, stood: StoodIn) -> dict[str, Told] | None:
        by_pose = bool(stood.angles_deg or stood.cylinders_mm or stood.attitude_deg is not None)
        if (stood.readings is not None) == by_pose:
            found = "both" if by_pose else "neither"
            self.faults.append(
                Fault(
                    "half-described", place, found, "readings, or angles_deg with attitude_deg, one of them"
                )
            )
            return None
        if stood.readings is not None:
            before = len(self.faults)
            told = raw_of(self.sensors, f"{place}.readings", stood.readings, self.faults)
            return told if len(self.faults) == before else None
        if stood.attitude_deg is None:
            self.faults.append(Fault("missing-field", f"{place}.attitude_deg", "none", "how the body leans"))
            return None
        given = PoseIn(
            angles_deg=stood.angles_deg, cylinders_mm=stood.cylinders_mm, attitude_deg=stood.attitude_deg
        )

        def said() -> dict[str, Told]:
            try:
                found = readings_of(self.sensors, solve(self.fitted, given))
            except Refused as refused:
                raise Refused(fault.at(place) for fault in refused.faults) from None
            return found

        return self._caught(said)

    def _caught(self, find: Callable[[], Found]) -> Found | None:
        try:
            return find()
        except Refused as refused:
            self.faults += refused.faults
            return None


def _line(place: str, given: LinkCheckIn) -> Level | PlumbLine:
    refuse(_line_faults(place, given))
    uncertainty = math.radians(given.uncertainty_deg)
    if given.by == "plumb-line":
        return PlumbLine(bool(given.below), uncertainty, given.to_edge)
    inclination = math.radians(given.inclination_deg or 0.0)
    return Level(inclination, uncertainty, given.ahead is not False, given.to_edge)


def _line_faults(place: str, given: LinkCheckIn) -> Iterable[Fault]:
    level = given.by == "level"
    body = given.link == BODY
    if not level and body:
        yield Fault("wrong-kind", f"{place}.by", "a plumb line on the body", "a level")
    for name, needed in (
        ("inclination_deg", level), ("ahead", level and not body), ("below", not level), ("axis", body),
    ):  # fmt: skip
        value = getattr(given, name)
        if needed and value is None:
            yield Fault("missing-field", f"{place}.{name}", "none", f"{name}, of {given.by} on {given.link}")
        elif not needed and value is not None:
            yield Fault("half-described", f"{place}.{name}", f"{name} of {given.by} on {given.link}", "none")
    if given.to_edge and given.link != "bucket":
        yield Fault(
            "not-sensed-so", f"{place}.to_edge", f"to_edge on {given.link}", "to_edge of the bucket only"
        )
