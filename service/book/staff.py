"""From a staff or tape reading to the entry it becomes: the tool's number beside it, and what was to be expected."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from types import MappingProxyType

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.checked import Expected, expected_of
from kinematics.errors import Fault, Refused
from kinematics.levelling import Enters, Known, Terms, added
from kinematics.parameters import TOOTH_POINTS
from kinematics.readout import Aim, readout
from kinematics.units import LONGEST_M
from kinematics.wear import Wear, wear_by_tape, wear_by_touch

from . import requests as q
from .decide import edge_height, posed, same_units, together
from .keeper import Keeper
from .lengths import metres_within, uncertainty_within
from .payload_base import PoseRecord
from .posing import as_record
from .staff_payloads import AgainstTarget, RodChecked, Staff, Stood, WearChecked
from .staff_requests import LevelledIn, RodCheckIn, WearCheckIn
from .state import HIGHEST_M, JobState, Observation
from .trusting import chain_of, sets_of

# No staff is longer.
LONGEST_STAFF_M = 10.0
STANDARD_M = {"level": 0.002, "elevation": 0.005, "plane": 0.002}
"""Standard uncertainty of a staff's elevation where none is given (common practice, no source)."""
TAPE_M = 0.003
MOST_STAFF_M = 0.05
_TURNS = ("tilt", "rotate")
Aimed = Callable[[JobState, str | None, None], Aim | None]
"""The target of a name as a readout is held against it."""


def rod_check(state: JobState, seq: int, asked: RodCheckIn, keeper: Keeper, aimed: Aimed) -> RodChecked:
    """A staff reading beside a reading of the edge. Changes nothing; recorded whatever the difference.

    Raises `Refused` with every fault: "no-setup", "height-unknown", "wrong-units", "exactly-one" staff,
    "length-absurd", "unknown-benchmark", "no-plane", "plane-falls", and what a pose or target would be refused for."""
    state.book.needs_setup()
    height = state.book.needs_height("rod check")
    machine = keeper.fit(state)
    same_units(state, asked.units)
    held: list[tuple[Pose, float]] = []
    read: list[tuple[Staff, Known | None]] = []
    together(
        lambda: held.append(_edge(machine, asked)),
        lambda: read.append(_staff(state, asked)),
        lambda: _one_swing(asked),
        lambda: aimed(state, asked.target, None),
    )
    (found, over), (staff, known) = held[0], read[0]
    reference: Terms = {} if known is None else known.terms
    record = as_record(found, resting(asked))
    expected = _expected(keeper, state, seq, asked.edge_point, record, added(height.terms, reference, -1.0))
    tool = height.elevation + over
    hangs_on = height.hangs_on | (frozenset() if known is None else known.hangs_on)
    swing = asked.swing_deg if asked.pose is None or asked.pose.swing_deg is None else asked.pose.swing_deg
    against, more = _against(state, found, asked, aimed, staff.elevation_m, swing)
    x, y, _ = found.level(asked.edge_point)
    return RodChecked(
        edge_point=asked.edge_point, pose=record, edge_height_m=over, elevation_m=tool, staff=staff,
        difference_m=tool - staff.elevation_m, own_m=math.hypot(expected.own, staff.standard_m),
        common_m=expected.common, x_m=x, y_m=y,
        reach_share=math.hypot(x, y) / longest_reach(machine), swing_deg=swing, stood=stood(state), against=against,
        independent=staff.by == "elevation" or (staff.by == "level" and known is not None and _declared(known)),
        hangs_on=tuple(sorted(hangs_on | more)), note=asked.note,
    )  # fmt: skip


def _declared(known: Known) -> bool:
    """Whether nothing of a point's elevation was measured by the tool."""
    return all(what == Enters.BENCHMARK for _, what in known.terms)


def resting(asked: RodCheckIn | WearCheckIn) -> q.PoseIn:
    """The pose of a check. `Refused` "no-pose" where neither the request nor a stream gives one."""
    if asked.pose is None:
        raise Refused([
            Fault("no-pose", "pose", "none, and no stream of readings", "a pose, or sensors that feed readings",
                  "give the pose, or connect the sensors (/guide/live)")
        ])  # fmt: skip
    return asked.pose


def stood(state: JobState) -> Stood:
    """What stands on the job, for the record. "no-setup"."""
    stand = state.stand
    if stand is None:
        state.book.needs_setup()
    assert stand is not None  # noqa: S101  # refused above
    return Stood(
        machine=stand.machine.id, machine_hash=stand.machine.hash, attachment=stand.attachment.id,
        attachment_hash=stand.attachment.hash, setup=state.book.setup,
    )  # fmt: skip


def longest_reach(machine: Assembly) -> float:
    """Boom and stick stretched out flat (m): from the swing axis to the bucket pin. With the floor flat the edge gets
    about nine tenths as far."""
    of = machine.machine
    return of.boom_foot_x + of.boom_length + (of.fore_boom_length or 0.0) + of.stick_length


def pin_way(found: Pose, point: str) -> tuple[float, float]:
    """(way m from the middle of the bucket pin to a point of the bucket, how steeply it goes down: 1 straight down)."""
    pin, at = found.pins()["bucket_pin"], found.body(point)
    way = tuple(b - a for a, b in zip(pin, at, strict=True))
    size = math.hypot(*way)
    return size, -math.fsum(w * n for w, n in zip(way, found.plumb, strict=True)) / size


def _middle(machine: Assembly) -> Pose:
    """A pose in mid-range, the body level, tilt and rotator at zero: for lengths of the bucket alone."""
    middle = {
        name: 0.0 if name in _TURNS else 0.5 * (span.low + span.high) for name, span in machine.ranges.items()
    }
    return pose(machine, pitch=0.0, roll=0.0, **middle)


def _edge(machine: Assembly, asked: RodCheckIn | WearCheckIn) -> tuple[Pose, float]:
    found = posed(machine, resting(asked), "pose")
    return found, edge_height(found, asked.edge_point)


def _one_swing(asked: RodCheckIn) -> None:
    sensed = None if asked.pose is None else asked.pose.swing_deg
    if sensed is not None and asked.swing_deg is not None and sensed != asked.swing_deg:
        raise Refused([
            Fault("given-twice", "swing_deg", f"{asked.swing_deg:g} beside {sensed:g} in the pose", "one of them",
                  "leave out what was entered: the sensor reads it")
        ])  # fmt: skip


def _staff(state: JobState, asked: RodCheckIn) -> tuple[Staff, Known | None]:
    """(the staff's elevation and where it came from, what of the job it hangs on)."""
    given = [name for name in ("level", "elevation", "plane_reading") if getattr(asked, name) is not None]
    if len(given) != 1:
        raise Refused([
            Fault("exactly-one", "", " and ".join(given) or "no staff reading",
                  "one of level, elevation, plane_reading", "say where the staff's elevation came from")
        ])  # fmt: skip
    read = partial(metres_within, units=asked.units)
    own = uncertainty_within(asked.uncertainty, asked.units, "uncertainty")
    if own is not None and own > MOST_STAFF_M:
        raise Refused([
            Fault("out-of-range", "uncertainty", f"{asked.uncertainty} {asked.units}",
                  f"at most {MOST_STAFF_M:g} m: a staff that is known worse checks nothing",
                  "check the unit and the decimal point")
        ])  # fmt: skip
    if asked.level is not None:
        return _levelled(state, asked.level, asked.units, own)
    if asked.elevation is not None:
        at = read(asked.elevation, where="elevation", most=HIGHEST_M)
        standard = STANDARD_M["elevation"] if own is None else own
        return Staff(
            by="elevation", elevation_m=at, standard_m=standard, benchmark=None, readings_m=(at,)
        ), None
    assert asked.plane_reading is not None  # noqa: S101  # the one that is left
    plane, laser = state.book.plane, state.book.laser
    if plane is None or laser is None:
        raise Refused([Fault("no-plane", "plane_reading", "a reading from a plane that is not known",
                             "a struck laser plane", "strike the laser first, or use a level")])  # fmt: skip
    if laser.fall != 0.0:
        raise Refused([Fault("plane-falls", "plane_reading", "a plane with a fall", "a level plane",
                             "it is elsewhere over the point: use a level")])  # fmt: skip
    down = _reading(asked.plane_reading, asked.units, "plane_reading")
    standard = STANDARD_M["plane"] if own is None else own
    found = Staff(
        by="plane",
        elevation_m=plane.elevation - down,
        standard_m=standard,
        benchmark=None,
        readings_m=(down,),
    )
    return found, plane


def _levelled(state: JobState, asked: LevelledIn, units: str, own: float | None) -> tuple[Staff, Known]:
    points: list[Known] = []

    def known() -> None:
        try:
            points.append(state.book.point(asked.benchmark))
        except Refused as refused:
            raise Refused(
                Fault(f.code, "level.benchmark", f.found, f.expected, f.advice) for f in refused.faults
            ) from None

    back = partial(_reading, asked.backsight, units, "level.backsight")
    fore = partial(_reading, asked.foresight, units, "level.foresight")
    together(known, back, fore)
    at = points[0].elevation + back() - fore()
    standard = STANDARD_M["level"] if own is None else own
    return (
        Staff(by="level", elevation_m=at, standard_m=standard, benchmark=asked.benchmark, readings_m=(back(), fore())),
        points[0],
    )  # fmt: skip


def _reading(value: float | str, units: str, where: str) -> float:
    found = metres_within(value, units, where, LONGEST_STAFF_M)
    if found < 0.0:
        raise Refused(
            [Fault("out-of-range", where, f"{value} {units}", "0 or more", "a staff stands upright")]
        )
    return found


def _against(
    state: JobState, found: Pose, asked: RodCheckIn, aimed: Aimed, staff: float, swing_deg: float | None
) -> tuple[AgainstTarget | None, frozenset[int]]:
    """(tool and staff against the target, what that hangs on besides). `Refused` where a target has no number here."""
    aim = aimed(state, asked.target, None)
    if aim is None or asked.target is None:
        return None, frozenset()
    teeth = asked.edge_point in TOOTH_POINTS
    swing = None if swing_deg is None else math.radians(swing_deg)
    told = readout(found, state.book, aim, line="teeth" if teeth else "edge", swing=swing, lean=state.lean)
    point = told.points[asked.edge_point.removeprefix("tooth_")]
    if point.target is None or point.elevation is None:
        raise Refused(Fault(f.code, "target", f.found, f.expected, f.advice) for f in told.why_not)
    return AgainstTarget(
        target=asked.target, target_elevation_m=point.target, tolerance_m=aim.target.tolerance_m,
        tool_above_m=point.elevation - point.target, staff_above_m=staff - point.target,
    ), told.hangs_on  # fmt: skip


def expected_at(
    keeper: Keeper, state: JobState, seq: int, what: Enters, seen: Observation, terms: Terms
) -> Expected:
    """What was to be expected of an observation of entry `seq`, on the job as it was before; `terms`: of computed minus
    known, its own left out. Counted as of a later stand, so that what sensors have drifted since the touch is in it."""
    later = replace(seen, setup=state.book.setup + 1)
    with_it = replace(state, observations=MappingProxyType({**state.observations, seq: later}))
    chain = chain_of(with_it, sets_of(keeper, with_it), None)
    if chain.why:
        raise Refused(chain.why)
    return expected_of(
        seq, what, added(terms, {(seq, what): 1.0}), chain.observed, chain.benchmarks, chain.estimates, chain.sensors,
        chain.sources, chain.owners,
    )  # fmt: skip


def _expected(
    keeper: Keeper, state: JobState, seq: int, point: str, record: PoseRecord, terms: Terms
) -> Expected:
    stand = state.stand
    assert stand is not None  # noqa: S101  # a job with a height has one
    seen = Observation(stand, state.book.setup, point, (record,))
    return expected_at(keeper, state, seq, Enters.EDGE, seen, terms)


def wear_check(state: JobState, seq: int, asked: WearCheckIn, keeper: Keeper) -> WearChecked:
    """A point of the bucket against its profile, by tape or by a touch. Changes nothing.

    Raises `Refused` with every fault: "no-setup", "wrong-units", "exactly-one" way, "no-such-point", "wear-absurd",
    "says-little", "not-both" of what goes with one way only, "unknown-benchmark", "height-unknown", "not-independent"
    where the height itself was set by the same point of the bucket.
    """
    state.book.needs_setup()
    same_units(state, asked.units)
    if (asked.distance is None) == (asked.point is None):
        raise Refused([
            Fault("exactly-one", "", "distance and point" if asked.point else "neither distance nor point", "one of them",
                  "by tape, or by a touch on a known point")
        ])  # fmt: skip
    machine = keeper.fit(state)
    flat = _middle(machine)
    edge_height(flat, asked.edge_point)
    profile, _ = pin_way(flat, asked.edge_point)
    if asked.distance is not None:
        return _taped(state, asked, profile)
    if asked.uncertainty is not None:
        raise Refused([
            Fault("not-both", "uncertainty", "an uncertainty beside a touch", "none: a touch has its own, computed",
                  "leave it out")
        ])  # fmt: skip
    assert asked.point is not None  # noqa: S101  # one of both
    height, known = state.book.needs_height("wear check"), state.book.point(asked.point)
    found, over = _edge(machine, asked)
    record = as_record(found, resting(asked))
    terms = added(height.terms, known.terms, -1.0)
    against = _set_by(state, terms)
    if asked.edge_point in against:
        raise Refused([
            Fault("not-independent", "edge_point", f"{asked.edge_point}, by which the height itself was set",
                  "a height set by another part of the bucket",
                  "its wear is in both and cancels: set the height with a part that is not worn, or tape the bucket")
        ])  # fmt: skip
    expected = _expected(keeper, state, seq, asked.edge_point, record, terms)
    _, down = pin_way(found, asked.edge_point)
    misclosure = height.elevation + over - known.elevation
    worn = wear_by_touch(misclosure, down, expected.standard)
    return WearChecked(
        edge_point=asked.edge_point, profile_m=profile, wear_m=worn.amount, standard_m=worn.standard, taped_m=None,
        point=asked.point, pose=record, misclosure_m=misclosure, down=down, against=against, stood=stood(state),
        hangs_on=tuple(sorted(height.hangs_on | known.hangs_on)), note=asked.note,
    )  # fmt: skip


def _set_by(state: JobState, terms: Terms) -> tuple[str, ...]:
    """The points of this bucket that a misclosure rests on: what has worn of them is in it."""
    found = (state.observations.get(seq) for seq, what in sorted(terms) if what == Enters.EDGE)
    points = (seen.point for seen in found if seen is not None and seen.stand.attachment == state.attachment)
    return tuple(dict.fromkeys(points))


def _taped(state: JobState, asked: WearCheckIn, profile: float) -> WearChecked:
    assert asked.distance is not None  # noqa: S101  # the caller has seen to it
    if asked.pose is not None:
        raise Refused([Fault("not-both", "pose", "a pose beside a taped distance", "none: a tape needs no pose",
                             "leave it out")])  # fmt: skip
    taped = metres_within(asked.distance, asked.units, "distance", LONGEST_M)
    own = uncertainty_within(asked.uncertainty, asked.units, "uncertainty")
    try:
        worn: Wear = wear_by_tape(profile, taped, TAPE_M if own is None else own)
    except Refused as refused:
        raise Refused(
            Fault(f.code, "distance", f.found, f.expected, f.advice, f.numbers) for f in refused.faults
        ) from None
    return WearChecked(
        edge_point=asked.edge_point, profile_m=profile, wear_m=worn.amount, standard_m=worn.standard, taped_m=taped,
        point=None, pose=None, misclosure_m=None, down=None, stood=stood(state), note=asked.note,
    )  # fmt: skip
