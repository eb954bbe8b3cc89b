"""What is wrong with unknowns and observations before anything is fitted to them."""

import math
import statistics
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from .arm import Pose, pose
from .calibration_model import Model
from .calibration_values import unoffered
from .calibration_words import FOOT
from .errors import Fault, Refused, refuse
from .linkage import wrapped
from .mounting_lines import Level, in_plane, plumb_of_arm
from .sensing import angles_from
from .sensor_set import SensorSet
from .sources import Sources
from .touched import BODY, LINKS, HeightSeen, LineSeen, Seen

ALIKE_RAD = math.radians(1.0)
"""Postures that differ by no more in any angle are one."""
_TURNED_RAD = math.radians(30.0)
_LEANS_RAD = math.radians(2.0)
"""The total tilt of one stand stays while the body swings; what more it differs by is no zero of a sensor's."""
FACTORS = {
    1.0 / FOOT: "feet given as metres", FOOT: "metres given as feet", 1000.0: "millimetres given as metres",
    0.001: "metres given as millimetres", 100.0: "centimetres given as metres", 12.0: "inches given as feet",
    1.0 / 12.0: "feet given as inches", 10.0: "a decimal point one place off", 0.1: "a decimal point one place off",
    -1.0: "the wrong sign: readings of a rod grow downwards, heights upwards",
}  # fmt: skip
_FEWEST, _NEAR, _BETTER, _SPREAD_M = 3, 0.1, 0.2, 0.05


def checked(
    sensors: SensorSet,
    sources: Sources,
    unknowns: Sequence[str],
    seen: Sequence[Seen],
    *,
    enough: bool = True,
) -> Model:
    """The model of what was seen; `enough`: it must be more than the unknowns.

    Raises `Refused` with every fault, see `calibration.calibrate`.
    """
    faults = unknown_faults(sensors, unknowns)
    faults += [fault.at("seen") for fault in _twice("", [one.name for one in seen], of=".name")]
    plain = SensorSet(
        sensors.assembly, sensors.sensors, attached=sensors.attached, correlations=sensors.correlations
    )
    poses: list[Pose | None] = []
    for i, one in enumerate(seen):
        found = [*one.faults()]
        there = _believed(plain, sensors, one, found)
        if there is not None and not found:
            found += _misfit(there, one)
        poses.append(there)
        faults += [fault.at(f"seen.{i}") for fault in found]
    refuse(faults)
    refuse(_leaning(seen, poses))
    if enough:
        refuse(_too_few(unknowns, seen))
        refuse(_alike(seen, [one for one in poses if one is not None]))
    kept = [_without_checks(sensors, one) for one in seen]
    if not kept:
        raise Refused([Fault("too-few", "seen", "none", "at least one observation")])
    model = Model(plain, sources, unknowns, kept)
    refuse(_units(model))
    return model


def unknown_faults(sensors: SensorSet, unknowns: Sequence[str]) -> list[Fault]:
    """What is wrong with the names of unknowns."""
    faults = [fault.at("unknowns") for fault in unoffered(sensors, unknowns)]
    faults += _twice("unknowns", unknowns)
    if not unknowns:
        faults.append(Fault("too-few", "unknowns", "none", "at least one zero or dimension to find"))
    return faults


def _twice(where: str, names: Sequence[str], of: str = "") -> list[Fault]:
    found = []
    for i, name in enumerate(names):
        if name in names[:i]:
            place = ".".join(part for part in (where, f"{i}{of}") if part)
            found.append(Fault("given-twice", place, f"{str(name)[:60]!r} again", "each name once"))
    return found


def _without_checks(sensors: SensorSet, one: Seen) -> Seen:
    readings = {name: said for name, said in one.readings.items() if name in sensors.sensors}
    if isinstance(one, HeightSeen):
        return HeightSeen(one.name, one.group, readings, one.point, one.height, one.standard)
    return LineSeen(one.name, readings, one.link, one.line, one.axis)


def _believed(plain: SensorSet, sensors: SensorSet, one: Seen, faults: list[Fault]) -> Pose | None:
    readings: Mapping[str, object] = one.readings
    if not isinstance(readings, Mapping):
        faults.append(Fault("wrong-kind", "readings", type(readings).__name__, "readings by sensor name"))
        return None
    told = {name: said for name, said in one.readings.items() if name not in sensors.checks}
    try:
        return pose(plain.assembly, **angles_from(plain, told))
    except Refused as refused:
        faults += [fault.at("readings") for fault in refused.faults]
        return None


def _misfit(there: Pose, one: Seen) -> Iterator[Fault]:
    """What an observation asks of the machine that it does not have, or of the pose that it is not in."""
    if isinstance(one, HeightSeen):
        try:
            there.height(one.point)
        except Refused as refused:
            yield from (Fault(f.code, "point", f.found, f.expected, f.advice) for f in refused.faults)
        return
    assembly, tool = there.assembly, there.assembly.attachment
    if one.link == BODY:
        return
    if one.link not in assembly.ranges:
        yield Fault("no-such-joint", "link", one.link, "a link that this machine has")
        return
    if one.line.to_edge and (tool.coupler or tool.tilt or tool.rotate or tool.mount):
        yield Fault("not-sensed-so", "line", "to_edge below a coupler, tilt or rotation", "the pin line")
        return
    x, _, z = tool.edge[tool.centre]
    swings = "swing_boom" in assembly.ranges
    plumb = plumb_of_arm(
        assembly, (float(there.q[0]), float(there.q[1])), there.joint("swing_boom") if swings else None
    )
    angle = sum(there.joint(joint) for joint in LINKS[: 1 + LINKS.index(one.link)])
    try:
        measured = in_plane(one.line, plumb, math.atan2(z, x) if one.line.to_edge else 0.0)
    except Refused as refused:
        yield from (fault.at("line") for fault in refused.faults)
        return
    apart = wrapped(angle - measured, 0.0)
    if abs(apart) > _TURNED_RAD:
        yield Fault(
            "wrong-way", "line", f"a line {math.degrees(abs(apart)):.0f} deg from where the readings put the link",
            f"one within {math.degrees(_TURNED_RAD):.0f} deg",
            "check its sign, and which way its outer end points (ahead)" if isinstance(one.line, Level)
            else "check whether the outer pin is below the inner",
        )  # fmt: skip


def _too_few(unknowns: Sequence[str], seen: Sequence[Seen]) -> Iterator[Fault]:
    heights = [one for one in seen if isinstance(one, HeightSeen)]
    groups = len({one.group for one in heights})
    say = len(seen) - groups
    if say < len(unknowns):
        missing = len(unknowns) - say
        yield Fault(
            "too-few", "seen",
            f"{len(seen)} observations, {groups} of them spent on where groups begin, for {len(unknowns)} unknowns",
            f"at least {missing} more, better twice as many as unknowns",
            "touch in more postures, or ask for fewer unknowns", {"missing": missing},
        )  # fmt: skip


def _leaning(seen: Sequence[Seen], poses: Sequence[Pose | None]) -> Iterator[Fault]:
    """Heights of one group are of one stand: who leans otherwise than most of it was read elsewhere, or wrongly."""
    groups: dict[str, list[tuple[int, float]]] = {}
    for i, (one, there) in enumerate(zip(seen, poses, strict=True)):
        if isinstance(one, HeightSeen) and there is not None:
            groups.setdefault(one.group, []).append((i, math.acos(min(1.0, there.plumb[2]))))
    for group, tilts in groups.items():
        middle = statistics.median(tilt for _, tilt in tilts)
        for i, tilt in tilts:
            if abs(tilt - middle) > _LEANS_RAD:
                yield Fault(
                    "lean-differs", f"seen.{i}.readings",
                    f"a body that leans {math.degrees(tilt):.1f} deg, {math.degrees(middle):.1f} deg in most of {group}",
                    f"one stand, within {math.degrees(_LEANS_RAD):g} deg",
                    "check what the body's sensor said; after a move give the point another name",
                )  # fmt: skip


def _alike(seen: Sequence[Seen], poses: Sequence[Pose]) -> Iterator[Fault]:
    """The fault where all that was touched, was touched in one posture; lines need no other."""
    if any(isinstance(one, LineSeen) for one in seen) or not poses:
        return
    most = 0.0
    for group in {one.group for one in seen if isinstance(one, HeightSeen)}:
        angles = [
            there.q for one, there in zip(seen, poses, strict=True)
            if isinstance(one, HeightSeen) and one.group == group
        ]  # fmt: skip
        most = max(most, float(np.ptp(np.array(angles), axis=0).max()))
    if most <= ALIKE_RAD:
        yield Fault(
            "all-in-one-posture", "seen", f"postures that differ by {math.degrees(most):.2f} deg at most",
            "the same point touched in unlike postures: near and far, bucket curled and stretched",
            "one posture again and again shows noise alone", {"apart_deg": math.degrees(most)},
        )  # fmt: skip


def _units(model: Model) -> Iterator[Fault]:
    """The fault of heights that follow what the machine told, but for a factor that a wrong unit has."""
    for group, name in enumerate(model.group_names):
        of = np.flatnonzero(model.groups == group)
        if len(of) < _FEWEST:
            continue
        told, given = model.start.told[of], model.observed[of]
        told, given = told - told.mean(), given - given.mean()
        if not min(np.abs(told).max(), np.abs(given).max()) > 0.0:
            continue
        slope = float(told @ given) / float(told @ told)
        plain = float(np.sqrt(((given - told) ** 2).mean()))
        for factor, what in FACTORS.items():
            spread = float(np.abs(given / factor).max())
            better = float(np.sqrt(((given / factor - told) ** 2).mean()))
            if spread > _SPREAD_M and abs(slope / factor - 1.0) < _NEAR and better < _BETTER * plain:
                yield Fault(
                    "wrong-units", f"seen.{of[0]}.height",
                    f"heights of {name} that are {slope:.3g} times as far apart as the machine tells",
                    f"heights in m, positive up, 1 time as far apart, not {factor:.4g}", f"{what}?",
                    {"factor": factor, "slope": slope},
                )  # fmt: skip
                break
