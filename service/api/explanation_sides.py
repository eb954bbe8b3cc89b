"""What is compared: poses as they are given, or readouts of a job as its log was."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from pydantic import Field

from kinematics.arm import Pose
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused, refuse
from kinematics.explain import SAME, Explanation, Side, TargetPlane
from kinematics.parameters import EDGE_POINTS
from kinematics.readout import LINES, Aim, fall_of
from service.book import decide
from service.book import requests as q
from service.book.keeper import Keeper
from service.book.lengths import metres_within
from service.book.posing import swing_of
from service.book.state import HIGHEST_M, JobState

from .readouts import Line, aim_of, read_line

Made = TypeVar("Made")


class PosedIn(q.PoseIn):
    """One pose, and what is read of it."""

    edge_point: q.EdgePoint = "centre"
    origin_elevation: q.Length | None = Field(
        None,
        description="Elevation of the body origin; left out of all: heights over the body origin are told.",
    )
    target_elevation: q.Length | None = Field(
        None, description="Of a level target; only with origin_elevation."
    )


@dataclass(frozen=True, slots=True)
class Stood:
    """How the machine stood: its stand by number, its swing where it is sensed (rad), the last entry that said it swung,
    and the entries that its height hangs on."""

    setup: int
    swing: float | None
    swung: int
    carried: frozenset[int]


@dataclass(frozen=True, slots=True)
class Told:
    """A side, and in a job how the machine stood."""

    side: Side
    stood: Stood | None = None


def of_poses(fitted: Assembly, given: Sequence[PosedIn], units: str) -> list[Told]:
    """Poses that a request gives as its `sides`. Raises `Refused` with the faults of all."""
    return all_of(partial(_of_pose, fitted, each, units, f"sides.{i}") for i, each in enumerate(given))


def _of_pose(fitted: Assembly, given: PosedIn, units: str, where: str) -> Told:
    faults: list[Fault] = []

    def height(value: float | str | None, name: str) -> float | None:
        return None if value is None else _tried(
            lambda: metres_within(value, units, f"{where}.{name}", HIGHEST_M), faults
        )  # fmt: skip

    above = height(given.origin_elevation, "origin_elevation")
    level = height(given.target_elevation, "target_elevation")
    if given.target_elevation is not None and given.origin_elevation is None:
        faults.append(
            Fault("one-sided", f"{where}.target_elevation", "a target without the body origin's elevation",
                  "both or neither", "give origin_elevation, or leave the target out")
        )  # fmt: skip
    found = _tried(lambda: _read(fitted, given, given.edge_point, where), faults)
    if faults or found is None:
        raise Refused(faults)
    plane = None if level is None else TargetPlane(level)
    return Told(Side(found, given.edge_point, above, plane, (swing_of(given),)))


def _read(fitted: Assembly, given: q.PoseIn, point: str, where: str) -> Pose:
    found = decide.posed(fitted, given, where)
    try:
        decide.edge_height(found, point)
    except Refused as refused:
        raise Refused(each.at(where) for each in refused.faults) from None
    return found


def _tried(make: Callable[[], Made], faults: list[Fault]) -> Made | None:
    try:
        return make()
    except Refused as refused:
        faults += refused.faults
        return None


def of_readout(
    keeper: Keeper, states: Mapping[int, JobState], given: q.PoseIn, point: str, target: str | None,
    station: float | str | None, seq: int, where: str,
) -> Told:  # fmt: skip
    """A readout of a job against its log after entry `seq`. Raises `Refused` at `where`."""
    if seq not in states:
        raise Refused([
            Fault("no-such-entry", f"{where}.seq", str(seq), f"1 to {max(states)}", "see the events of the job")
        ])  # fmt: skip
    state, swing = states[seq], swing_of(given)
    line: Line = "teeth" if point in LINES["teeth"] else "edge"
    try:
        found = decide.posed(keeper.fit(state), given, "pose")
        aim = aim_of(state, target, station)
        plane = _plane(found, state, aim, line, point, swing)
    except Refused as refused:
        raise Refused(_renamed(each, where) for each in refused.faults) from None
    known, setup = state.book.height, state.book.setup
    stood = Stood(setup, swing, state.last_swing, frozenset() if known is None else known.hangs_on)
    origin = None if known is None else known.elevation
    return Told(Side(found, point, origin, plane, (setup, swing, state.last_swing)), stood)


def _renamed(fault: Fault, where: str) -> Fault:
    name = "edge_point" if fault.where == "line" else fault.where
    at = f"{where}.{name}" if name else where
    return Fault(fault.code, at, fault.found, fault.expected, fault.advice, fault.numbers)


def _plane(
    found: Pose, state: JobState, aim: Aim | None, line: Line, point: str, swing: float | None
) -> TargetPlane | None:
    told = read_line(found, state, aim, line, swing)
    if aim is None:
        return None
    target = told.points[EDGE_POINTS[LINES[line].index(point)]].target
    if target is None or state.book.height is None:
        raise Refused(
            Fault(each.code, "target", each.found, each.expected, each.advice) for each in told.why_not
        )
    ahead, left = fall_of(found, state.book, aim, swing)
    x, y, _ = found.level(point)
    return TargetPlane(target - ahead * x - left * y, ahead, left)


def all_of(makers: Iterable[Callable[[], Told]]) -> list[Told]:
    """Every side, or the faults of all."""
    faults: list[Fault] = []
    sides = []
    for make in makers:
        try:
            sides.append(make())
        except Refused as refused:
            faults += refused.faults
    refuse(faults)
    return sides


def asides(told: Explanation, before: Told, after: Told) -> Iterator[str]:
    """What happened between the two besides, in sentences: the reference, the tracks, the swing."""
    one, other = before.stood, after.stood
    reference = "reference" in told.changed
    if one is None or other is None:
        if reference:
            yield "The reference changed: the body origin has another elevation, and every point of the machine with it."
        if before.side.stood != after.side.stood:
            yield _SWUNG
        return
    if one.setup != other.setup:
        carries = ": another touch or strike carries the second height" if "elevation" in told.changes else ""
        yield f"The tracks moved between the two{carries}."
    elif reference:
        yield (
            "The reference changed: what the log holds between the two gave the body origin another elevation, and "
            "every point of the machine with it."
        )
    elif one.carried != other.carried:
        yield "Another touch or strike carries the second height; to a nanometre it is the same."
    elif "elevation" in told.changes:
        yield "The reference did not change: the same touch or strike carries both numbers."
    if one.swung != other.swung or _apart(one.swing, other.swing):
        yield _SWUNG


def _apart(one: float | None, other: float | None) -> bool:
    return one != other if one is None or other is None else abs(one - other) > SAME


_SWUNG = (
    "The body swung between the two. Elevations do not hang on that, but ahead and left are those of the body as it then "
    "stood, and a sloping target lies another way under it: what that does is in the target's share."
)
