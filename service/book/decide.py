"""From a request to the event it becomes: each function looks at the state and either decides or refuses.

Pure but for what it is handed; the caller appends the payload in the same transaction.
"""

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import partial

from kinematics.arm import Pose
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused, refuse
from kinematics.grade import Layer, Target
from kinematics.levelling import Known, Role
from kinematics.stations import anchor
from kinematics.strikes import Crossing, turned_down_because
from kinematics.units import LengthUnit, to_metres

from . import payloads as p
from . import requests as q
from .lengths import metres_within, uncertainty_within
from .posing import as_record, solve, swing_of
from .state import HIGHEST_M, Entry, JobState, places, target_of, void_of

Fit = Callable[[JobState], Assembly]
"""Gives the machine and attachment a job stands with now, with the receiver where it is clamped."""

# No line of a depth sheet and no tape is longer; what is, is a wrong unit or a slipped point.
FARTHEST_M = 10_000.0
# Thirty times what is common: beyond it a tolerance was meant in millimetres, and all would read "on grade".
WIDEST_TOLERANCE_M = 1.0


def together(*checks: Callable[[], object]) -> None:
    """Make every check, then raise `Refused` with the faults of all of them."""
    faults: list[Fault] = []
    for check in checks:
        try:
            check()
        except Refused as refused:
            faults.extend(refused.faults)
    refuse(faults)


def same_units(state: JobState, units: str) -> None:
    """Raise `Refused` "wrong-units" unless a request names the job's own units."""
    if units != state.units:
        raise Refused([
            Fault("wrong-units", "units", units, f"{state.units}: the job's units",
                  "convert the numbers and name the job's units")
        ])  # fmt: skip


def metres(state: JobState, value: float | str, units: str, where: str, most: float = FARTHEST_M) -> float:
    """A request's length in metres, at most `most` either way.

    Raises `Refused` "wrong-units", or at `where` "length-absurd" and what `to_metres` refuses.
    """
    same_units(state, units)
    return metres_within(value, units, where, most)


def benchmark(state: JobState, asked: q.BenchmarkIn) -> p.BenchmarkDeclared:
    """A benchmark; its name must be free."""
    same_units(state, asked.units)
    elevation = partial(metres_within, asked.elevation, asked.units, "elevation", HIGHEST_M)
    own = partial(uncertainty_within, asked.uncertainty, asked.units, "uncertainty")
    together(lambda: state.book.free_name(asked.name), elevation, own)
    return p.BenchmarkDeclared(
        name=asked.name, elevation_m=elevation(), uncertainty_m=own(), entered=f"{asked.elevation} {asked.units}",
        note=asked.note,
    )  # fmt: skip


def receiver(state: JobState, asked: q.ReceiverIn, fit: Fit) -> p.ReceiverClamped:
    """The receiver clamped elsewhere; the machine must have one."""
    state.book.needs_setup()
    needs_receiver(fit(state))
    place = None
    if asked.place_mm is not None:
        x, y, z = (to_metres(value, LengthUnit.MM) for value in asked.place_mm)
        place = (x, y, z)
    return p.ReceiverClamped(place_m=place, note=asked.note)


def touch(state: JobState, seq: int, asked: q.TouchIn, fit: Fit) -> p.Touched:
    """A touch on a known point."""
    state.book.needs_setup()
    found, height = _edge_at(fit(state), asked, lambda: state.book.point(asked.point))
    book, outcome = state.book.touched(seq, asked.point, height, check=asked.purpose == "check")
    return p.Touched(
        point=asked.point, purpose=asked.purpose, edge_point=asked.edge_point,
        pose=as_record(found, resting(asked)), edge_height_m=height, role=outcome.role, elevation_m=outcome.elevation,
        misclosure_m=outcome.misclosure, gives_plane=book.plane != state.book.plane,
        hangs_on=tuple(sorted(outcome.hangs_on)), note=asked.note,
    )  # fmt: skip


def _edge_at(
    machine: Assembly, asked: q.TouchIn | q.TurningPointIn | q.StationIn, check: Callable[[], object]
) -> tuple[Pose, float]:
    """(pose, height m) of the edge point that rests somewhere; its faults are told with those of `check`."""
    rests: list[tuple[Pose, float]] = []

    def solve_edge() -> None:
        found = posed(machine, resting(asked), "pose")
        rests.append((found, edge_height(found, asked.edge_point)))

    together(check, solve_edge)
    return rests[0]


def turning_point(state: JobState, seq: int, asked: q.TurningPointIn, fit: Fit) -> p.TurningPointTaken:
    """A new firm point levelled from this setup."""
    state.book.needs_setup()
    found, height = _edge_at(fit(state), asked, lambda: state.book.free_name(asked.name))
    book, outcome = state.book.turning_point(seq, asked.name, height)
    return p.TurningPointTaken(
        name=asked.name, edge_point=asked.edge_point, pose=as_record(found, resting(asked)), edge_height_m=height,
        elevation_m=book.points[asked.name].elevation, hangs_on=tuple(sorted(outcome.hangs_on)), note=asked.note,
    )  # fmt: skip


def strike(state: JobState, seq: int, asked: q.StrikeIn, fit: Fit) -> p.Struck:
    """A strike, taken or turned down because; both are recorded."""
    book = state.book
    book.needs_setup()
    laser = book.needs_laser()
    machine = fit(state)
    needs_receiver(machine)
    given = asked.along_fall
    placed = [(c.pose, f"crossings.{i}.pose") for i, c in enumerate(asked.crossings)]
    together(
        lambda: (
            same_units(state, asked.units)
            if given is None
            else metres(state, given, asked.units, "along_fall")
        ),
        lambda: _needs_both_ways(asked),
        lambda: _counts_from(state, asked),
        *(partial(posed, machine, *pose) for pose in placed),
    )
    along = None if given is None else metres(state, given, asked.units, "along_fall")
    poses = [posed(machine, *pose) for pose in placed]
    heights = [_in_plane(found, c.pose) for found, c in zip(poses, asked.crossings, strict=True)]
    half = 0.5 * abs(heights[0] - heights[1]) if len(heights) == 2 else None
    mean = math.fsum(heights) / len(heights)
    seen = Crossing(
        mean, half, to_metres(asked.vertical_speed_mm_s, LengthUnit.MM), max(found.mast_angle for found in poses),
        math.radians(asked.tilt_spread_deg), asked.steady_s,
    )  # fmt: skip
    because = turned_down_because(
        seen, state.strike_rules, laser.revolutions_per_s, book.predicted_receiver_height(along)
    )
    role, elevation, misclosure, hangs_on = Role.TURNED_DOWN, None, None, frozenset[int]()
    if not because:
        _, outcome = book.struck_by_laser(seq, mean, along)
        role, elevation = outcome.role, outcome.elevation
        misclosure, hangs_on = outcome.misclosure, outcome.hangs_on
    return p.Struck(
        poses=tuple(as_record(f, c.pose) for f, c in zip(poses, asked.crossings, strict=True)),
        receiver_height_m=mean, half_difference_m=half, vertical_speed_mm_s=asked.vertical_speed_mm_s,
        mast_deg=math.degrees(seen.mast_angle), tilt_spread_deg=asked.tilt_spread_deg, steady_s=asked.steady_s,
        along_fall_m=along, taken=not because, because=_reasons(because), role=role, elevation_m=elevation,
        misclosure_m=misclosure, hangs_on=tuple(sorted(hangs_on)), note=asked.note,
    )  # fmt: skip


def _in_plane(found: Pose, given: q.PoseIn) -> float:
    """Height (m) over the origin of the place that was in the plane: the receiver's, or so far along its mast."""
    height = found.height("receiver")
    return height + given.above_m * math.cos(found.mast_angle) if isinstance(given, q.StreamPose) else height


def target(state: JobState, asked: q.TargetIn, taken: Collection[str]) -> p.TargetSet:
    """A target below a benchmark; its name must be none of those `taken`."""
    same_units(state, asked.units)
    lengths = {
        **{f"layers.{i}.thickness": layer.thickness for i, layer in enumerate(asked.layers)},
        "overdig": asked.overdig, "tolerance": asked.tolerance,
    }  # fmt: skip
    if asked.floor_limit_below is not None:
        lengths["floor_limit_below"] = asked.floor_limit_below

    known: dict[str, float] = {}

    def read(where: str) -> None:
        most = WIDEST_TOLERANCE_M if where == "tolerance" else FARTHEST_M
        known[where] = metres(state, lengths[where], asked.units, where, most)

    together(
        lambda: together(*(partial(read, where) for where in lengths)),
        lambda: free_target(taken, asked.name),
        lambda: _benchmark_of(state, asked),
        lambda: None if known.keys() == lengths.keys() else _judge_readable(asked, known),
    )
    wanted = p.TargetSet(
        name=asked.name, benchmark=asked.benchmark,
        layers=tuple(
            p.LayerRecord(name=layer.name, thickness_m=known[f"layers.{i}.thickness"])
            for i, layer in enumerate(asked.layers)
        ),
        overdig_m=known["overdig"], tolerance_m=known["tolerance"],
        floor_limit_below_m=known.get("floor_limit_below"),
        along_percent=asked.along_percent, across_percent=asked.across_percent,
        hangs_on=tuple(sorted(_benchmark_of(state, asked).hangs_on)), note=asked.note,
    )  # fmt: skip
    target_of(wanted)
    return wanted


def _judge_readable(asked: q.TargetIn, known: Mapping[str, float]) -> None:
    """Raise `Refused` for what is wrong with the lengths that could be read, each by itself; nothing is made of it."""
    Target(
        asked.name, asked.benchmark, tuple(Layer(layer.name, 0.0) for layer in asked.layers),
        known.get("overdig", 0.0), known.get("tolerance", WIDEST_TOLERANCE_M),
    )  # fmt: skip


def free_target(taken: Collection[str], name: str) -> None:
    """Raise `Refused` "name-taken" if a target has this name."""
    if name in taken:
        raise Refused([
            Fault("name-taken", "name", repr(name), "a name that no target has",
                  "choose another name, or withdraw the earlier target")
        ])  # fmt: skip


def _benchmark_of(state: JobState, asked: q.TargetIn) -> Known:
    try:
        return state.book.point(asked.benchmark)
    except Refused as refused:
        raise Refused(
            Fault(f.code, "benchmark", f.found, f.expected, f.advice) for f in refused.faults
        ) from None


def station(state: JobState, asked: q.StationIn, fit: Fit) -> p.StationTouched:
    """A known station of a sloping target, touched."""
    state.book.needs_setup()
    hung = state.targets.get(asked.target)
    if hung is None:
        raise Refused([unknown_target(state, asked.target)])
    if not hung.target.sloping:
        raise Refused([
            Fault("target-is-level", "target", repr(asked.target), "a target with a grade",
                  "a level target needs no station")
        ])  # fmt: skip
    found, _ = _edge_at(fit(state), asked, lambda: metres(state, asked.station, asked.units, "station"))
    along = metres(state, asked.station, asked.units, "station")
    known = anchor(found, asked.edge_point, along, swing_of(resting(asked)), state.book.setup)
    return p.StationTouched(
        target=asked.target, station_m=along, edge_point=asked.edge_point, pose=as_record(found, resting(asked)),
        x_m=known.x, y_m=known.y, direction_rad=known.direction, plumb=known.plumb, setup=known.setup,
        hangs_on=tuple(sorted(hung.hangs_on)), note=asked.note,
    )  # fmt: skip


def withdrawal(state: JobState, asked: q.WithdrawalIn) -> p.Withdrawn:
    """Undo of an entry."""
    withdrawable(state, asked.seq)
    return p.Withdrawn(seq=asked.seq, reason=asked.reason, note=asked.note)


def withdrawable(state: JobState, seq: int) -> None:
    """Raise `Refused` "not-withdrawable" for what cannot be undone.

    An entry that voided or restored something can go only while no reading rests on it, counted from where it took
    effect; one that waits, or that declined what waits, can always go.
    """
    by_seq = {entry.seq: entry for entry in state.entries}
    entry = by_seq.get(seq)
    if entry is None or entry.type == "job-opened":
        raise not_withdrawable(f"entry {seq}", f"an entry from 2 to {state.seq}", "")
    if seq in state.void:
        raise not_withdrawable(f"entry {seq}, which is withdrawn already", "an entry that still counts", "")
    _no_act_of_the_seat(entry)
    placed = places(state.entries)
    if seq not in placed:
        return
    rests = p.RESTS.get(entry.type, frozenset())
    later = [
        e for e in state.entries
        if e.type in rests and e.seq not in state.void and e.seq in placed and placed[e.seq] > placed[seq]
        and not (isinstance(e.payload, p.Struck) and not e.payload.taken)
        # undoing what came later than this entry leaves what was before it as it is
        and not (isinstance(e.payload, p.Withdrawn) and placed[e.payload.seq] > placed[seq])
    ]  # fmt: skip
    if later:
        listed = ", ".join(f"{e.seq} ({e.type})" for e in later[:10])
        raise not_withdrawable(
            f"entry {seq} ({entry.type}) with {listed} after it",
            "an entry that nothing later rests on", "withdraw those first, the latest first",
        )  # fmt: skip
    if isinstance(entry.payload, p.Withdrawn):
        _names_stay_free(state, seq)


def _no_act_of_the_seat(entry: Entry) -> None:
    match entry.payload:
        case p.Acknowledged(seqs=seqs):
            advice = "withdraw what it acknowledged: " + ", ".join(f"entry {seq}" for seq in seqs)
        case p.SeatTaken():
            advice = "whoever sits there takes the seat again"
        case _:
            return
    raise not_withdrawable(
        f"entry {entry.seq} ({entry.type})", "an entry that says something of the job", advice
    )


def _names_stay_free(state: JobState, withdrawal_seq: int) -> None:
    """What a withdrawal of a withdrawal brings back must not share a name with what was recorded since."""
    undone = void_of(state.entries, but=withdrawal_seq)
    placed = places(state.entries)
    taken: set[tuple[str, str]] = set()
    for entry in state.entries:
        name = p.name_of(entry.payload)
        if name is None or entry.seq in undone or entry.seq not in placed:
            continue
        if name in taken:
            raise not_withdrawable(
                f"entry {withdrawal_seq}, which withdrew {name[0]} {name[1]!r}; entry {entry.seq} has that name now",
                "a name that is still free", f"withdraw entry {entry.seq} first",
            )  # fmt: skip
        taken.add(name)


def not_withdrawable(found: str, expected: str, advice: str) -> Refused:
    """The refusal of a withdrawal."""
    return Refused([Fault("not-withdrawable", "seq", found, expected, advice)])


def unknown_target(state: JobState, name: str) -> Fault:
    """The fault of a target that the depth sheet does not have."""
    names = ", ".join(state.targets) or "none: set one first"
    waits = [
        seq for seq in state.waiting
        if isinstance(wanted := state.entries[seq - 1].payload, p.TargetSet) and wanted.name == name
    ]  # fmt: skip
    advice = f"entry {waits[-1]}, which sets it, waits: the seat has to acknowledge it first" if waits else ""
    return Fault("unknown-target", "target", repr(name), f"a target of the depth sheet: {names}", advice)


def resting(asked: q.TouchIn | q.TurningPointIn | q.StationIn) -> q.PoseIn:
    """The pose of what rests somewhere. `Refused` "no-pose" where neither the request nor a stream gives one."""
    if asked.pose is None:
        raise Refused([
            Fault("no-pose", "pose", "none, and no stream of readings", "a pose, or sensors that feed readings",
                  "give the pose, or connect the sensors (/guide/live)")
        ])  # fmt: skip
    return asked.pose


def posed(machine: Assembly, given: q.PoseIn, where: str) -> Pose:
    """Solve a request's pose; faults point below `where`."""
    try:
        return solve(machine, given)
    except Refused as refused:
        raise Refused(fault.at(where) for fault in refused.faults) from None


def edge_height(found: Pose, point: str) -> float:
    """Height (m) of an edge point over the origin; `Refused` at `edge_point` where the bucket lacks it."""
    try:
        return found.height(point)
    except Refused as refused:
        raise Refused(
            Fault(f.code, "edge_point", f"{point} on a bucket without teeth", f.expected, f.advice)
            for f in refused.faults
        ) from None


def needs_receiver(machine: Assembly) -> None:
    """Raise `Refused` "no-receiver" where the profile has none."""
    if machine.machine.receiver is None:
        raise Refused([
            Fault("no-receiver", "", "a machine profile without a receiver", "a receiver with its place and mast",
                  "measure it and add it to the profile, or work from touches alone")
        ])  # fmt: skip


def _counts_from(state: JobState, asked: q.StrikeIn) -> None:
    """A distance along the fall must say which strike it was taped from, and it must be the right one."""
    if asked.along_fall is None and asked.from_strike is None:
        return
    wanted = state.book.plane_from()
    if (asked.along_fall is None) != (asked.from_strike is None) or (
        wanted is not None and asked.from_strike != wanted
    ):
        raise Refused([
            Fault("wrong-strike", "from_strike", f"{asked.from_strike} beside a distance of {asked.along_fall}",
                  "both or neither" if wanted is None else f"both, the distance taped from strike {wanted}",
                  "tape from the receiver's place at that strike; the job's plane names it")
        ])  # fmt: skip


def _needs_both_ways(asked: q.StrikeIn) -> None:
    if len(asked.crossings) == 2 and asked.crossings[0].direction == asked.crossings[1].direction:
        raise Refused([
            Fault("crossings-alike", "crossings", "two crossings the same way", "one up and one down",
                  "give one crossing, or one each way")
        ])  # fmt: skip


def _reasons(because: Sequence[Fault]) -> tuple[p.Reason, ...]:
    return tuple(
        p.Reason(code=f.code, found=f.found, expected=f.expected, advice=f.advice, numbers=dict(f.numbers))
        for f in because
    )
