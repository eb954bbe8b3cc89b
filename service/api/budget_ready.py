"""The request for an error budget in metres and radians, every fault at its place."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from kinematics.assembly import Assembly
from kinematics.candidate_sensors import Figures, plain_set, refigured, remeasured
from kinematics.errors import Fault, Refused, refuse
from kinematics.estimates import Estimates as Surroundings
from kinematics.machine import Range
from kinematics.parameters import NAMES, TURNS
from kinematics.sensor import Measure
from kinematics.sensor_set import SensorSet
from kinematics.sources import Sources, sources_of
from kinematics.units import LengthUnit
from kinematics.zone import Zone
from service.book.state import JobState

from .budget_request import MOST_CELLS, BudgetIn, CorrelationIn, FiguresIn, SpanIn, ZoneTouchIn
from .budget_words import in_figures, in_units
from .inverse import metres

Found = TypeVar("Found")
_IN_MM = ("zero_uncertainty", "noise", "per_kelvin")


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """A request in metres and radians, proven to be one. `ground`: height (m) of the ground over the body origin, None
    where the profile does not say."""

    sensors: SensorSet
    sources: Sources
    surroundings: Surroundings
    zone: Zone
    touch: tuple[float, float]
    tolerance: float | None
    ground: float | None


def ready(asked: BudgetIn, fitted: Assembly, own: SensorSet | None) -> Ready:
    """What is to be reckoned; `own`: the profiles' sensors. Raises `Refused` with every fault at its place."""
    faults: list[Fault] = []
    zone = _caught(faults, lambda: _zone(asked, fitted))
    touch = _caught(faults, lambda: _touch(asked, fitted))
    tolerance = _caught(faults, lambda: _tolerance(asked))
    faults = [*in_units(faults, LengthUnit(asked.units))]
    surroundings = JobState(estimates=asked.estimates).surroundings
    known = _caught(faults, lambda: _remeasured(asked, fitted))
    sensors = _caught(faults, lambda: _sensors(asked, known or fitted, own))
    sources = None
    if sensors is not None:
        there = sensors
        sources = _caught(faults, lambda: _sources(asked.correlations, there, surroundings))
    if zone is None or touch is None or sensors is None or sources is None:
        raise Refused(faults)
    refuse(faults)
    return Ready(sensors, sources, surroundings, zone, touch, tolerance, ground_of(fitted))


def ground_of(fitted: Assembly) -> float | None:
    """Height (m) of the ground under the tracks over the body origin: below it, so negative."""
    foot = fitted.machine.boom_foot_height
    return None if foot is None else -foot


def _caught(faults: list[Fault], find: Callable[[], Found]) -> Found | None:
    try:
        return find()
    except Refused as refused:
        faults += refused.faults
        return None


def _zone(asked: BudgetIn, fitted: Assembly) -> Zone:
    given, faults = asked.zone, list[Fault]()
    if given.columns * given.rows > MOST_CELLS:
        faults.append(
            Fault("out-of-range", "zone.columns", f"{given.columns} by {given.rows} cells",
                  f"at most {MOST_CELLS} cells, 250 by 250", "take fewer columns or rows",
                  {"cells": given.columns * given.rows, "most": MOST_CELLS})
        )  # fmt: skip
    reach = _caught(faults, lambda: _span(given.reach, asked, "zone.reach"))
    height = _caught(faults, lambda: _heights(given.depth, given.height, asked, fitted))
    lean = asked.attitude_deg
    if reach is None or height is None:
        raise Refused(faults)
    try:
        zone = Zone(
            reach, height, given.columns, given.rows, floor_angle=math.radians(asked.floor_angle_deg),
            pitch=math.radians(lean.pitch), roll=math.radians(lean.roll),
            fore_boom=None if asked.fore_boom_deg is None else math.radians(asked.fore_boom_deg),
        )  # fmt: skip
    except Refused as refused:
        raise Refused([*faults, *placed(refused, asked)]) from None
    refuse(faults)
    return zone


def placed(refused: Refused, asked: BudgetIn) -> Iterator[Fault]:
    """The faults of the formulas at their places in the body, lengths in its units."""
    down = "depth" if asked.zone.depth is not None else "height"
    places = {
        "pitch": "attitude_deg.pitch", "roll": "attitude_deg.roll", "floor_angle": "floor_angle_deg",
        "fore_boom": "fore_boom_deg", "reach": "zone.reach", "height": f"zone.{down}", "columns": "zone.columns",
        "rows": "zone.rows",
    }  # fmt: skip
    for fault in in_units(refused.faults, LengthUnit(asked.units)):
        head, _, rest = fault.where.partition(".")
        if head == "touch":
            where = {"reach": "touch.reach", "floor_angle": "floor_angle_deg"}.get(rest, "touch")
            found = fault.found if rest in ("reach", "floor_angle", "") else f"{rest} at {fault.found}"
            yield Fault(fault.code, where, found, fault.expected, fault.advice, fault.numbers)
        else:
            where = ".".join([places.get(head, head), *([rest] if rest else [])])
            yield Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def _span(given: SpanIn, asked: BudgetIn, where: str) -> Range:
    faults: list[Fault] = []
    low = _caught(faults, lambda: metres(given.low, asked.units, f"{where}.low"))
    high = _caught(faults, lambda: metres(given.high, asked.units, f"{where}.high"))
    if low is None or high is None:
        raise Refused(faults)
    if not low < high:
        raise Refused([
            Fault("range-swapped", where, f"from {given.low} to {given.high} {asked.units}",
                  "the lower end below the upper", "which is which is not guessed", {"low_m": low, "high_m": high})
        ])  # fmt: skip
    return Range(low, high)


def _heights(depth: SpanIn | None, height: SpanIn | None, asked: BudgetIn, fitted: Assembly) -> Range:
    _one_of("zone", depth, height)
    if height is not None:
        return _span(height, asked, "zone.height")
    assert depth is not None  # noqa: S101  # one of the two
    ground = _ground(fitted, "zone.depth")
    span = _span(depth, asked, "zone.depth")
    return Range(ground - span.high, ground - span.low)


def _touch(asked: BudgetIn, fitted: Assembly) -> tuple[float, float]:
    given, faults = asked.touch, list[Fault]()
    reach = _caught(faults, lambda: metres(given.reach, asked.units, "touch.reach"))
    height = _caught(faults, lambda: _touch_height(given, asked, fitted))
    if reach is None or height is None:
        raise Refused(faults)
    return reach, height


def _touch_height(given: ZoneTouchIn, asked: BudgetIn, fitted: Assembly) -> float:
    _one_of("touch", given.depth, given.height)
    if given.height is not None:
        return metres(given.height, asked.units, "touch.height")
    assert given.depth is not None  # noqa: S101  # one of the two
    return _ground(fitted, "touch.depth") - metres(given.depth, asked.units, "touch.depth")


def _one_of(where: str, depth: object, height: object) -> None:
    if (depth is None) == (height is None):
        found = "neither depth nor height" if depth is None else "depth and height"
        raise Refused([
            Fault("half-described", where, found, "one of depth (below the ground) and height (over the body origin)")
        ])  # fmt: skip


def _ground(fitted: Assembly, where: str) -> float:
    ground = ground_of(fitted)
    if ground is None:
        raise Refused([
            Fault("no-ground", where, "a depth, of a machine whose profile does not say how high its boom foot pin is",
                  "height, over the body origin", "or measure boom.foot_above_ground")
        ])  # fmt: skip
    return ground


def _tolerance(asked: BudgetIn) -> float | None:
    if asked.tolerance is None:
        return None
    found = metres(asked.tolerance, asked.units, "tolerance")
    if found <= 0.0:
        raise Refused(
            [Fault("not-positive", "tolerance", f"{asked.tolerance} {asked.units}", "a half width above 0")]
        )
    return found


def _remeasured(asked: BudgetIn, fitted: Assembly) -> Assembly:
    faults, of = list[Fault](), dict[str, float]()
    for where, given, turns in (
        ("uncertainties_mm", asked.uncertainties_mm, False), ("uncertainties_deg", asked.uncertainties_deg, True),
    ):  # fmt: skip
        for name, value in given.items():
            if name in NAMES and (name in TURNS) != turns:
                other = "uncertainties_mm" if turns else "uncertainties_deg"
                faults.append(
                    Fault("unknown-parameter", f"{where}.{name}", f"{name}, {'a length' if turns else 'an angle'}",
                          f"it under {other}", "move it there")
                )  # fmt: skip
            else:
                of[name] = math.radians(value) if turns else 1e-3 * value
    if not of and not faults:
        return fitted
    try:
        known = remeasured(fitted, of)
    except Refused as refused:
        for fault in refused.faults:
            where = "uncertainties_deg" if fault.where in asked.uncertainties_deg else "uncertainties_mm"
            faults.append(in_figures(fault).at(where))
    refuse(faults)
    return known


def _sensors(asked: BudgetIn, known: Assembly, own: SensorSet | None) -> SensorSet:
    faults: list[Fault] = []
    if asked.by is None and asked.figures is not None:
        faults.append(
            Fault(
                "unknown-field",
                "figures",
                "figures for all sensors without `by`",
                "`by`, or `sensors` one by one",
            )
        )
    base: SensorSet | None = None
    if asked.by is not None:
        kind, given = asked.by, asked.figures or FiguresIn()
        plain = Figures(**_si(given, Measure.ANGLE, "figures", faults))
        try:
            base = plain_set(known, kind, plain)
        except Refused as refused:
            faults += [_with_unit(fault, "figures", "deg") for fault in refused.faults]
    elif own is None:
        faults.append(
            Fault("no-sensors", "by", "profiles without sensors", "gravity or encoder",
                  "say which kind is meant, with its figures")
        )  # fmt: skip
    else:
        anew = [*asked.uncertainties_mm, *asked.uncertainties_deg]
        base = SensorSet(known, own.sensors, correlations=own.apart_from(anew))
    if base is None:
        raise Refused(faults)
    given_by_name: dict[str, Figures] = {}
    for name, each in asked.sensors.items():
        sensor = base.sensors.get(name)
        measures = Measure.ANGLE if sensor is None else sensor.measures
        where = f"sensors.{name}"
        given_by_name[name] = Figures() if sensor is None else Figures(**_si(each, measures, where, faults))
    try:
        base = refigured(base, given_by_name)
    except Refused as refused:
        lengths = {name for name, sensor in base.sensors.items() if sensor.unit == "m"}
        for fault in refused.faults:
            name = fault.where.split(".")[1]
            faults.append(_with_unit(fault, f"sensors.{name}", "mm" if name in lengths else "deg"))
    refuse(faults)
    return base


def _si(given: FiguresIn, measures: Measure, where: str, faults: list[Fault]) -> dict[str, float]:
    """Figures in rad or m; a unit that this sensor does not have is a fault."""
    by_length = measures == Measure.LENGTH
    found: dict[str, float] = {}
    for field, value in given.model_dump(exclude_none=True).items():
        name, _, unit = field.rpartition("_")
        if (unit == "mm") != by_length and not (by_length and name not in _IN_MM):
            what = "a draw-wire, which reads a length" if by_length else "a sensor that reads an angle"
            faults.append(
                Fault(
                    "wrong-kind",
                    f"{where}.{field}",
                    f"{unit} for {what}",
                    f"{name}_{'mm' if by_length else 'deg'}",
                )
            )
        else:
            found[name] = 1e-3 * value if unit == "mm" else math.radians(value)
    return found


def _with_unit(fault: Fault, where: str, unit: str) -> Fault:
    """A fault of a sensor's field at the field of the body, which has its unit in its name, in that unit."""
    fault = in_figures(fault)
    field = fault.where.rpartition(".")[2]
    known = field in (*_IN_MM, "skew_uncertainty")
    own = "deg" if field == "skew_uncertainty" else unit
    at = f"{where}.{field}_{own}" if known else (fault.where or where)
    return Fault(fault.code, at, fault.found, fault.expected, fault.advice, fault.numbers)


def _sources(given: list[CorrelationIn], sensors: SensorSet, surroundings: Surroundings) -> Sources:
    try:
        return sources_of(sensors, surroundings, [(each.one, each.other, each.coefficient) for each in given])
    except Refused as refused:
        raise Refused(
            fault if fault.where.startswith("correlations") else
            Fault(fault.code, "correlations", fault.found, fault.expected, fault.advice, fault.numbers)
            for fault in refused.faults
        ) from None  # fmt: skip
