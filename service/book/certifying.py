"""From staff-checked points to a certificate: what is missing is refused at once, what is issued is kept whole."""

import cmath
import math
from datetime import datetime
from functools import partial

from kinematics.acceptance import Acceptance, Cell, Point, Rule, Side, accepted, missing
from kinematics.errors import Fault, Refused, refuse
from service.store import LogDamaged, utc_text

from .decide import same_units
from .keeper import Keeper
from .lengths import metres_within
from .record_file import broken
from .staff import longest_reach, stood
from .staff_payloads import (
    Agreed,
    CertificateIssued,
    CertifiedPoint,
    Earlier,
    LeftOut,
    RodChecked,
    RuleRecord,
    Stood,
)
from .staff_requests import CertificateIn
from .state import Entry, JobState

_SIDES: dict[str, Side] = {"left": "left", "centre": "centre", "right": "right"}
Chosen = list[tuple[Entry, RodChecked]]


def certificate(
    state: JobState,
    job: str,
    asked: CertificateIn,
    keeper: Keeper,
    cautions: tuple[str, ...],
    release: str,
    now: datetime,
) -> CertificateIssued:
    """A certificate over all independent rod checks of this stand, passed or not. The log that it closes must hold.

    Raises `Refused` with everything that is missing: "no-setup", "wrong-units", "range-swapped", "serial-missing",
    "no-such-sensor", and as `acceptance.missing`; the store's `LogDamaged`.
    """
    state.book.needs_setup()
    same_units(state, asked.units)
    on = stood(state)
    faults: list[Fault] = []
    tolerance = partial(metres_within, asked.tolerance, asked.units, "tolerance", 1e6)
    rules: list[Rule] = []

    def rule() -> None:
        if asked.near_to_percent >= asked.far_from_percent:
            raise Refused([
                Fault("range-swapped", "near_to_percent", f"{asked.near_to_percent:g} beside {asked.far_from_percent:g}",
                      "less than far_from_percent")
            ])  # fmt: skip
        rules.append(Rule(
            tolerance(), near_to=asked.near_to_percent / 100.0, far_from=asked.far_from_percent / 100.0,
            least_lean=math.radians(asked.least_lean_deg),
        ))  # fmt: skip

    for check in (rule, lambda: refuse(_serials(keeper, state, asked))):
        try:
            check()
        except Refused as refused:
            faults += refused.faults
    chosen, left_out = _chosen(state, on)
    points = [_point(entry, told) for entry, told in chosen]
    if rules:
        faults += missing(points, rules[0])
    refuse(faults)
    found = accepted(points, rules[0])
    head_seq, head_hash = _head(keeper, job, state.seq)
    worst = chosen[found.worst]
    return CertificateIssued(
        job_name=state.name, datum=state.datum, units=state.units.value, stood=on, sensors=dict(asked.serials),
        agreed=Agreed(
            tolerance_m=rules[0].tolerance, agreed_by=asked.agreed_by, builder=asked.builder, customer=asked.customer,
            machine_serial=asked.machine_serial,
        ),
        points=tuple(
            _certified(entry, told, point, cell)
            for (entry, told), point, cell in zip(chosen, points, found.cells, strict=True)
        ),
        left_out=left_out, earlier=_earlier(state, on),
        bias_m=found.bias, spread_m=found.spread, rms_m=found.rms, worst_seq=worst[0].seq,
        worst_m=worst[1].difference_m, reached_m=found.reached, beyond=tuple(chosen[i][0].seq for i in found.beyond),
        passed=found.passed, rule=_rule(rules[0], found, longest_reach(keeper.fit(state))), cautions=cautions,
        head_seq=head_seq, head_hash=head_hash, issued_utc=utc_text(now), release=release,
        hangs_on=tuple(sorted(entry.seq for entry, _ in chosen)), note=asked.note,
    )  # fmt: skip


def _rule(rule: Rule, found: Acceptance, longest: float) -> RuleRecord:
    return RuleRecord(
        share=rule.share, confidence=rule.confidence, factor=found.factor, near_to=rule.near_to, far_from=rule.far_from,
        longest_reach_m=longest, least_lean_deg=math.degrees(rule.least_lean),
        swings_apart_deg=math.degrees(rule.apart),
    )  # fmt: skip


def _certified(entry: Entry, told: RodChecked, point: Point, cell: Cell | None) -> CertifiedPoint:
    assert told.staff.by != "plane"  # noqa: S101  # refused before
    return CertifiedPoint(
        seq=entry.seq, observed_utc=utc_text(entry.observed_utc), edge_point=told.edge_point,
        distance=None if cell is None else cell[0], side=point.side, swing=None if cell is None else cell[2],
        swing_deg=told.swing_deg, lean_deg=math.degrees(point.lean), reach_m=told.reach_m, tool_m=told.elevation_m,
        staff_m=told.staff.elevation_m, staff_by=told.staff.by, difference_m=told.difference_m,
        expected_m=math.hypot(told.own_m, told.common_m),
    )  # fmt: skip


def _point(entry: Entry, told: RodChecked) -> Point:
    swing = math.radians(told.swing_deg or 0.0)  # without one the point is refused
    back = complex(told.x_m, told.y_m) * cmath.rect(1.0, swing)
    return Point(
        told.difference_m, told.reach_share, _SIDES[told.edge_point.removeprefix("tooth_")],
        math.radians(told.pose.pitch_deg), math.radians(told.pose.roll_deg),
        None if told.swing_deg is None else swing, told.stood.setup, (back.real, back.imag, told.elevation_m),
        f"entry {entry.seq}",
    )  # fmt: skip


def _chosen(state: JobState, on: Stood) -> tuple[Chosen, tuple[LeftOut, ...]]:
    """The rod checks of what stands on the job now, in this stand, that count and are independent; and all others of it:
    nobody may choose among them."""
    ours = [
        (e, told) for e in state.entries if isinstance(told := e.payload, RodChecked) and told.stood == on
    ]  # fmt: skip
    void = {e.seq for e, _ in ours if e.seq in state.void}
    left_out = tuple(
        LeftOut(seq=e.seq, difference_m=told.difference_m,
                because="withdrawn or void" if e.seq in void else "not independent")
        for e, told in ours if e.seq in void or not told.independent
    )  # fmt: skip
    return [(e, told) for e, told in ours if e.seq not in void and told.independent], left_out


def _earlier(state: JobState, on: Stood) -> tuple[Earlier, ...]:
    """What was issued before of this stand, passed or not: nobody tries tolerances until one passes unseen."""
    return tuple(
        Earlier(seq=e.seq, tolerance_m=told.agreed.tolerance_m, passed=told.passed)
        for e in state.entries if isinstance(told := e.payload, CertificateIssued) and told.stood == on
    )  # fmt: skip


def _serials(keeper: Keeper, state: JobState, asked: CertificateIn) -> list[Fault]:
    """A serial number for every sensor of the profiles, and for none that they do not have."""
    sensors = keeper.sensed(state)
    names = [] if sensors is None else list(sensors.all)
    if not names:
        return [Fault("no-sensors", "serials", "profiles without sensors", "a machine profile with its sensors",
                      "fit and describe the sensors first (/guide/fitting)")]  # fmt: skip
    lacking = [
        Fault("serial-missing", f"serials.{name}", "none", f"the serial number of the sensor {name}")
        for name in names if name not in asked.serials
    ]  # fmt: skip
    strange = [
        Fault("no-such-sensor", f"serials.{name}", repr(name[:60]), "a sensor of the profiles: " + ", ".join(names))
        for name in asked.serials if name not in names
    ]  # fmt: skip
    return lacking + strange


def _head(keeper: Keeper, job: str, last: int) -> tuple[int, str]:
    """(last entry, its hash) of a log whose chain holds."""
    found, head = broken(job, keeper.stored(job, last))
    if found is not None:
        raise LogDamaged(job, found.seq, f"{found.found}, expected {found.expected}")
    if head is None or head.seq != last:
        raise LogDamaged(job, last, "an end before it")
    return head.seq, head.hash
