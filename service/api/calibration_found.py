"""A calibration computed: what was found, or what the postures cannot tell apart; and the files' texts with it."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from kinematics.assembly import Assembly
from kinematics.calibration import Calibrated, calibrate
from kinematics.calibration_next import Proposed, next_posture
from kinematics.calibration_separable import Together, separable
from kinematics.errors import Fault, Refused
from kinematics.parameters import MACHINE_NAMES
from kinematics.sensor_set import SensorSet
from kinematics.sources import Sources, sources_of
from kinematics.touched import HeightSeen, Seen
from machine_profiles import Profile, parse_profile
from machine_profiles.calibrated import DECIMALS
from machine_profiles.recalibrated import Also, NewValue, recalibrated
from service.book.payloads import Estimates
from service.book.state import JobState

from .calibration_ready import Ready, observations_sha256, placed, ready
from .calibration_request import CalibrationIn

MOST_TOLD = 300
_NEEDS_MORE = frozenset({"too-few", "all-in-one-posture", "not-separable"})
"""What further touches mend: answered, not refused."""


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """What is to be calibrated."""

    machine: Profile
    attachment: Profile
    fitted: Assembly
    sensors: SensorSet


def no_sensors() -> Refused:
    """The refusal of profiles that say nothing of sensors."""
    return Refused([
        Fault("no-sensors", "machine", "profiles without sensors", "sensors in the profile",
              "say which sensors the machine has: /guide/measuring")
    ])  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What came of it. `found` None where `missing` says what is still to be touched; `together`: what the postures show
    only together; `proposed`: where to touch next."""

    asked: CalibrationIn
    pair: Pair
    made: Ready
    sources: Sources
    found: Calibrated | None
    missing: tuple[Fault, ...]
    together: tuple[Together, ...]
    proposed: tuple[Proposed, ...]

    @property
    def verdict(self) -> str:
        """One of "found", "suspects", "doubtful", "not-separable"."""
        if self.found is None:
            return "not-separable"
        if self.found.suspects:
            return "suspects"
        return "doubtful" if self.doubtful else "found"

    @property
    def doubtful(self) -> bool:
        """Whether residuals are larger than they should be, nothing checks something of it, or it goes against what
        the profile knew, or knew better."""
        found = self.found
        if found is None:
            return False
        return bool(found.unchecked or found.surprising or found.worse_known) or not (
            found.consistent and found.freedom
        )

    @property
    def suspects(self) -> list[str]:
        """The observations that were left out, by name."""
        return [] if self.found is None else [each.name for each in self.found.suspects]

    @property
    def doubts(self) -> list[str]:
        """In words, what whoever writes it down has to have looked at; none where nothing is `doubtful`."""
        found = self.found
        if found is None or not self.doubtful:
            return []
        return [*found.unchecked, *found.surprising, *found.worse_known, *found.doubts]


def unseen(
    suspects: Collection[str], doubts: Collection[str], left_out: Collection[str], *, doubts_seen: bool
) -> Iterator[Fault]:
    """What has to be looked at before anything found is written: every suspect by name, and what is doubtful."""
    if sorted(suspects) != sorted(left_out):
        yield Fault(
            "suspects-not-seen", "left_out", f"suspects: {', '.join(sorted(suspects)) or 'none'}",
            "each suspect by name, and no other", "look at each: mistyped, misread, slipped?",
        )  # fmt: skip
    if doubts and not doubts_seen:
        yield Fault(
            "doubts-not-seen", "doubts_seen", "; ".join(doubts)[:MOST_TOLD], "true, once they were looked at",
            "touch some more, or find what is off",
        )  # fmt: skip


def calibrated(asked: CalibrationIn, pair: Pair) -> Told:
    """The calibration of a request. Raises `Refused` with every fault at its place in the body."""
    made = ready(asked, pair.fitted, pair.sensors)
    sources = sources_of(pair.sensors, JobState(estimates=Estimates()).surroundings)
    found: Calibrated | None = None
    missing: tuple[Fault, ...] = ()
    given = pair.sensors, sources, asked.unknowns, made.seen
    try:
        try:
            found = calibrate(*given)
        except Refused as refused:
            missing = refused.faults
            if any(fault.code not in _NEEDS_MORE for fault in missing):
                raise
        together = separable(*given).together if made.seen else ()
        proposed = _next(asked, made, given)
    except Refused as refused:
        raise placed(refused, made, asked) from None
    return Told(asked, pair, made, sources, found, missing, together, proposed)


def _next(
    asked: CalibrationIn, made: Ready, given: tuple[SensorSet, Sources, list[str], list[Seen]]
) -> tuple[Proposed, ...]:
    """The next touches of the point that was touched last, at any height where it was a staff's."""
    last = next((one for one in reversed(made.seen) if isinstance(one, HeightSeen)), None)
    if last is None:
        return next_posture(*given)
    free = any(each.name == last.group for each in asked.staff_readings)
    return next_posture(*given, group=last.group, point=last.point, free=free)


@dataclass(frozen=True, slots=True, eq=False)
class NewTexts:
    """Both halves with what was found in them, the same object where nothing of it is theirs; what else changes."""

    machine: Profile
    attachment: Profile
    also: Mapping[str, tuple[Also, ...]]

    def changed(self, pair: Pair) -> dict[str, Profile]:
        """By kind, what is another than before."""
        halves = {"machine": (pair.machine, self.machine), "attachment": (pair.attachment, self.attachment)}
        return {kind: new for kind, (old, new) in halves.items() if new is not old}


def new_texts(told: Told, today: str) -> NewTexts:
    """The files' texts. Raises `Refused`, at "unknowns": "not-written-so"."""
    found, pair = told.found, told.pair
    assert found is not None  # noqa: S101  # asked for only where something was
    values = {
        name: NewValue(float(value), float(standard))
        for name, value, standard in zip(found.unknowns, found.found, found.standard, strict=True)
    }
    ours = {name: new for name, new in values.items() if _of_machine(name, pair.machine)}
    theirs = {name: new for name, new in values.items() if name not in ours}
    table = {
        "date": today, "observations": sum(not each.suspect for each in found.residuals),
        "observations_sha256": observations_sha256(told.asked), "rms_before": float(f"{found.rms_before:.4g}"),
        "rms_after": float(f"{found.rms_after:.4g}"),
    }  # fmt: skip
    machine, attachment, also = pair.machine, pair.attachment, dict[str, tuple[Also, ...]]()
    faults: list[Fault] = []
    for kind, named in (("attachment", theirs), ("machine", ours)):
        if not named:
            continue
        # What both share stands in the machine's file, and holds with that attachment alone.
        order = [*named] if kind == "attachment" else [*ours, *theirs]
        bound = {"attachment": attachment.same_hash} if kind == "machine" and theirs else {}
        try:
            new = recalibrated(
                attachment if kind == "attachment" else machine, named,
                table | bound | {"names": order} | _rows(found, order),
                frozenset(each.point for each in told.made.seen if isinstance(each, HeightSeen)),
            )  # fmt: skip
        except Refused as refused:
            faults += [_at_unknown(fault, found.unknowns) for fault in refused.faults]
            continue
        also[kind] = new.also
        if kind == "machine":
            machine = parse_profile(new.text)
        else:
            attachment = parse_profile(new.text)
    if faults:
        raise Refused(faults)
    return NewTexts(machine, attachment, also)


def _of_machine(name: str, machine: Profile) -> bool:
    return name in MACHINE_NAMES or name.partition(".")[0] in machine.sensors


def _at_unknown(fault: Fault, unknowns: tuple[str, ...]) -> Fault:
    where = f"unknowns.{unknowns.index(fault.where)}" if fault.where in unknowns else "unknowns"
    return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def _rows(found: Calibrated, order: list[str]) -> dict[str, Any]:
    """Row by row the coefficients of each name with those before it."""
    if len(order) < 2:
        return {}
    at = [found.unknowns.index(name) for name in order]
    sizes = np.sqrt(np.diagonal(found.covariance))
    table = (found.covariance / np.outer(sizes, sizes))[np.ix_(at, at)]
    rows = [[round(value, DECIMALS) + 0.0 for value in table[i, :i].tolist()] for i in range(1, len(at))]
    return {"correlations": rows}
