"""Checks of what was dug: taken, listed, summed up. curl -s http://127.0.0.1:8311/v1/jobs/pump-house/checks"""

import math
from collections.abc import Iterator
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from kinematics.agreement import FACTOR
from kinematics.arm import Pose
from kinematics.dug_summary import POINTS, Dug, Extreme, Sureness, summary
from kinematics.errors import Fault
from kinematics.grade import cut_fill
from kinematics.readout import Aim, fall_of
from kinematics.units import LengthUnit
from service.book import decide, dug
from service.book.dug_payloads import CheckedPoint, CheckTaken
from service.book.dug_requests import CheckIn
from service.book.keeper import Recorded
from service.book.posing import swing_of
from service.book.requests import Units
from service.book.state import Entry, JobState
from service.book.trusting import chain_of, sets_of
from service.strict import Strict

from . import answers as a
from .answers import Length, length, maybe
from .door import KeeperDep, Recorder, RecorderDep
from .jobs import JobId
from .level_book import withdrawn_directly
from .readouts import WhyOut, aim_of, changes, elsewhere, read_line
from .still import StreamDep
from .trust import COVERAGE_PERCENT, Judged, judge

router = APIRouter(prefix="/v1/jobs/{job}/checks", tags=["checks"])
RULE = (
    "Surely within: the whole 95 % interval of all three points is in the tolerance; surely beyond: that of one is "
    "outside; not sure: neither (ISO 14253-1, JCGM 106)."
)


class CheckedOut(Strict):
    """One of the three points."""

    reach: Length = Field(description="Level distance ahead of the swing axis.")
    lateral: Length = Field(description="Level distance to the left.")
    station: Length | None = Field(description="Along a sloping target.")
    elevation: Length
    elevation_within: Length = Field(description="Half its 95 % coverage interval, either way.")
    target_elevation: Length
    above_target: Length = Field(description="Edge minus target: positive to cut, negative to fill.")
    cut_fill_within: Length = Field(description="Half the 95 % coverage interval of that, either way.")
    word: str = Field(description="cut, fill or on grade.")
    below_floor_limit: bool


class CheckOut(Strict):
    """A check as it was taken."""

    seq: int
    status: str = Field(description="counts, withdrawn, or void (hung on a withdrawn entry).")
    observed_utc: str
    actor: str
    target: str
    line: str
    tolerance: Length
    points: dict[str, CheckedOut] = Field(
        description="left, centre and right; the bucket's own left and right."
    )
    sureness: str = Field(description="surely within, not sure or surely beyond. " + RULE)
    cross_slope_percent: float
    cross_slope_within_percent: float
    target_cross_slope_percent: float | None
    setup: int
    machine: a.Reference
    attachment: a.Reference
    assumed: int = Field(description="How many uncertainties neither profiles nor job gave.")
    warnings: list[WhyOut] = Field(description="What the readout warned of at the time.")
    hangs_on: list[int]
    note: str


class CheckRecordedOut(a.RecordedOut):
    """A check on record."""

    check: CheckOut


class ChecksOut(Strict):
    """Checks after an entry, oldest first; `next` is the `after` of the following page."""

    units: Units
    checks: list[CheckOut]
    next: int | None


class ShareOut(Strict):
    """So many of so many."""

    count: int
    of: int
    percent: float
    low_percent: float = Field(description="Lower end of the 95 % confidence interval (Clopper and Pearson).")
    high_percent: float = Field(description="Its upper end.")


class FarthestOut(Strict):
    """The point farthest one way."""

    seq: int
    point: str
    above_target: Length


class TargetSummaryOut(Strict):
    """The checks of one target that count."""

    target: str
    tolerance: Length
    count: int
    void: int = Field(description="Checks of it that do not count.")
    mean: Length | None = Field(
        description="Of edge minus target at the line's middle; null without a check."
    )
    spread: Length | None = Field(description="Sample standard deviation of that; null for fewer than two.")
    lowest: FarthestOut | None
    highest: FarthestOut | None
    within: ShareOut | None = Field(description="Checks with all three points in the tolerance, as told.")
    surely_within: int
    not_sure: int
    surely_beyond: int


class SummaryOut(Strict):
    """By target, in the order of the depth sheet; a target that is no longer on it stands last."""

    units: Units
    coverage_percent: float
    rule: str
    targets: list[TargetSummaryOut]


@router.post("", status_code=201, summary="The edge rests on what was dug")
def take_check(job: JobId, asked: CheckIn, record: RecorderDep, stream: StreamDep) -> CheckRecordedOut:
    """Keep the readout of this moment: elevation, cut or fill at three points, how far to trust it, what it hangs on.

    Refused with the readout's reasons where it has no number. See /guide/record.
    """
    read = stream.complete(job, asked)
    done = record(job, asked, lambda state, _seq: _decided(job, state, read.on(state), record), read.asked)
    return _answer(done)


def _answer(done: Recorded) -> CheckRecordedOut:
    return CheckRecordedOut(
        **a.recorded(done), check=check_out(done.state, done.entry, withdrawn_directly(done.state))
    )


def _decided(job: str, state: JobState, asked: CheckIn, record: Recorder) -> CheckTaken:
    keeper = record.keeper
    state.book.needs_setup()
    given = dug.resting(asked)
    posed: list[Pose] = []
    aims: list[Aim | None] = []
    decide.together(
        lambda: decide.same_units(state, asked.units),
        lambda: aims.append(aim_of(state, asked.target, asked.station)),
        lambda: posed.append(decide.posed(keeper.fit(state), given, "pose")),
    )
    [found], [aim] = posed, aims
    if aim is None:
        raise AssertionError("a check names its target")
    swing = swing_of(given)
    told = read_line(found, state, aim, asked.line, swing)
    chain = chain_of(state, sets_of(keeper, state), aim)
    judged, why_not = judge(
        chain, found, asked.line, fall_of(found, state.book, aim, swing), None,
        cut=told.points["centre"].cut_fill is not None,
    )  # fmt: skip
    warned = [*elsewhere(state, record.caller), *changes(job, state, keeper), *_another_line(state, asked)]
    return dug.check(state, asked, found, aim, told, _doubt(judged), why_not, warned)


def _another_line(state: JobState, asked: CheckIn) -> Iterator[Fault]:
    """Edge and tooth tips of one bucket are decimetres apart: mixed, their mean and spread say nothing."""
    others = [
        entry.seq for entry in taken(state)
        if isinstance(told := entry.payload, CheckTaken) and entry.seq not in state.void
        and told.target == asked.target and told.line != asked.line
    ]  # fmt: skip
    if others:
        yield Fault(
            "another-line", "line", f"the {asked.line}, {len(others)} checks of {asked.target} by the other line, first "
            f"entry {others[0]}", "one line for all checks of a target", "withdraw this one if it was not meant",
        )  # fmt: skip


def _doubt(judged: Judged | None) -> dug.Doubt | None:
    if judged is None:
        return None
    elevation, cut = (
        (
            judged.standard(f"left_{what}_u"),
            judged.standard(f"centre_{what}_u"),
            judged.standard(f"right_{what}_u"),
        )
        for what in ("elevation", "cut")
    )
    across = judged.standard("cross_slope_u")
    known = all(map(math.isfinite, (*elevation, *cut, across)))
    return dug.Doubt(elevation, cut, across, judged.assumed) if known else None


@router.get("", summary="What was checked")
def list_checks(
    job: JobId,
    keeper: KeeperDep,
    after: Annotated[int, Query(ge=0, description="Checks after this entry.")] = 0,
    limit: Annotated[int, Query(ge=1, le=1000, description="At most so many.")] = 200,
) -> ChecksOut:
    """Every check, void ones too: marked, never left out."""
    state = keeper.state(job)
    rest = [entry for entry in taken(state) if entry.seq > after]
    withdrawn = withdrawn_directly(state)
    page = [check_out(state, entry, withdrawn) for entry in rest[:limit]]
    return ChecksOut(units=state.units.value, checks=page, next=page[-1].seq if len(rest) > limit else None)


@router.get("/summary", summary="What the checks say together")
def summarise(job: JobId, keeper: KeeperDep) -> SummaryOut:
    """By target: how many, mean, spread, lowest, highest, and the share within tolerance with its confidence interval."""
    return summary_out(keeper.state(job))


def taken(state: JobState) -> Iterator[Entry]:
    """The entries that are checks."""
    return (entry for entry in state.entries if entry.type == "check-taken")


def dug_of(payload: CheckTaken) -> Dug:
    """A check as kinematics sums it up."""
    left, centre, right = payload.points
    return Dug(
        (left.above_target_m, centre.above_target_m, right.above_target_m),
        (left.cut_fill_standard_m, centre.cut_fill_standard_m, right.cut_fill_standard_m), payload.tolerance_m,
    )  # fmt: skip


def check_out(state: JobState, entry: Entry, withdrawn: frozenset[int]) -> CheckOut:
    """A check for an answer; `withdrawn`: entries that a withdrawal names."""
    told, units = entry.payload, state.units
    if not isinstance(told, CheckTaken):
        raise TypeError(f"expected a check, found {entry.type}")
    return CheckOut(
        seq=entry.seq, status=a.entry_status(entry, state, withdrawn),
        observed_utc=a.stamp(entry.observed_utc.isoformat()), actor=entry.actor, target=told.target, line=told.line,
        tolerance=length(told.tolerance_m, units),
        points={
            name: _point(point, told.tolerance_m, units) for name, point in zip(POINTS, told.points, strict=True)
        },
        sureness=dug_of(told).sureness, cross_slope_percent=told.cross_slope_percent,
        cross_slope_within_percent=FACTOR * told.cross_slope_standard_percent,
        target_cross_slope_percent=told.target_cross_slope_percent, setup=told.setup,
        machine=a.Reference(id=told.machine, revision=told.machine_hash),
        attachment=a.Reference(id=told.attachment, revision=told.attachment_hash), assumed=told.assumed,
        warnings=[WhyOut(**each.model_dump()) for each in told.warnings], hangs_on=list(told.hangs_on), note=told.note,
    )  # fmt: skip


def word_of(point: CheckedPoint, tolerance: float) -> str:
    """cut, fill or on grade."""
    return cut_fill(point.elevation_m, point.elevation_m - point.above_target_m, tolerance).word


def _point(told: CheckedPoint, tolerance: float, units: LengthUnit) -> CheckedOut:
    return CheckedOut(
        reach=length(told.reach_m, units), lateral=length(told.lateral_m, units), station=maybe(told.station_m, units),
        elevation=length(told.elevation_m, units),
        elevation_within=length(FACTOR * told.elevation_standard_m, units),
        target_elevation=length(told.target_elevation_m, units), above_target=length(told.above_target_m, units),
        cut_fill_within=length(FACTOR * told.cut_fill_standard_m, units), word=word_of(told, tolerance),
        below_floor_limit=told.below_floor_limit,
    )  # fmt: skip


def by_target(state: JobState) -> dict[str, tuple[list[Entry], int]]:
    """Checks that count, and how many do not, by target: those of the depth sheet first, in its order."""
    found: dict[str, tuple[list[Entry], int]] = {name: ([], 0) for name in state.targets}
    for entry in taken(state):
        assert isinstance(entry.payload, CheckTaken)  # noqa: S101
        counting, void = found.get(entry.payload.target, ([], 0))
        if entry.seq in state.void:
            void += 1
        else:
            counting.append(entry)
        found[entry.payload.target] = counting, void
    return found


def summary_out(state: JobState) -> SummaryOut:
    """What the checks of a job say together."""
    return SummaryOut(
        units=state.units.value, coverage_percent=COVERAGE_PERCENT, rule=RULE,
        targets=[_summed(state, name, *found) for name, found in by_target(state).items()],
    )  # fmt: skip


def _summed(state: JobState, name: str, counting: list[Entry], void: int) -> TargetSummaryOut:
    units = state.units
    payloads = [entry.payload for entry in counting if isinstance(entry.payload, CheckTaken)]
    hung = state.targets.get(name)
    if hung is not None:
        tolerance = hung.target.tolerance_m
    else:
        tolerance = next(
            e.payload.tolerance_m
            for e in taken(state)
            if isinstance(e.payload, CheckTaken) and e.payload.target == name
        )
    if not payloads:
        return TargetSummaryOut(
            target=name, tolerance=length(tolerance, units), count=0, void=void, mean=None, spread=None, lowest=None,
            highest=None, within=None, surely_within=0, not_sure=0, surely_beyond=0,
        )  # fmt: skip
    told = summary([dug_of(each) for each in payloads])
    sure: dict[Sureness, int] = told.sure
    return TargetSummaryOut(
        target=name, tolerance=length(tolerance, units), count=told.count, void=void, mean=length(told.mean, units),
        spread=maybe(told.spread, units), lowest=_farthest(told.lowest, counting, units),
        highest=_farthest(told.highest, counting, units),
        within=ShareOut(
            count=told.within.count, of=told.within.of, percent=100.0 * told.within.ratio,
            low_percent=100.0 * told.within.low, high_percent=100.0 * told.within.high),
        surely_within=sure["surely within"], not_sure=sure["not sure"], surely_beyond=sure["surely beyond"],
    )  # fmt: skip


def _farthest(found: Extreme, counting: list[Entry], units: LengthUnit) -> FarthestOut:
    return FarthestOut(
        seq=counting[found.index].seq, point=found.point, above_target=length(found.deviation, units)
    )
