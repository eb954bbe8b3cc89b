"""Daily trust: rod checks, wear, the laser, misclosures, and what a day of them says. See /guide/daily."""

from collections.abc import Iterator
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query

from kinematics.agreement import Agreement
from kinematics.errors import Fault, Refused
from kinematics.misclosures import Closed, closed
from service.book import daily, laser_testing, staff
from service.book.clock_steps import set_back_on, unrolled
from service.book.daily import Closing
from service.book.keeper import Keeper
from service.book.staff_payloads import RodChecked
from service.book.staff_requests import LaserTestIn, RodCheckIn, WearCheckIn
from service.book.state import JobState

from . import check_words as words
from . import daily_answer as a
from .answers import ADVISORY, length, maybe
from .door import KeeperDep, RecorderDep
from .jobs import JobId
from .readouts import aim_of
from .still import StreamDep

router = APIRouter(prefix="/v1/jobs/{job}", tags=["daily trust"])


@router.post("/rod-checks", status_code=201, summary="A staff reading beside an edge reading")
def check_by_rod(job: JobId, asked: RodCheckIn, record: RecorderDep, stream: StreamDep) -> a.RodRecordedOut:
    """The edge beside a staff: tool, staff, their difference, and whether that was to be expected. Changes no
    height."""
    keeper, read = record.keeper, stream.complete(job, asked)
    return a.rod_recorded(record(
        job, asked, lambda state, seq: staff.rod_check(state, seq, read.on(state), keeper, aim_of), read.asked
    ))  # fmt: skip


@router.post("/wear-checks", status_code=201, summary="How far the edge has worn")
def check_wear(job: JobId, asked: WearCheckIn, record: RecorderDep, stream: StreamDep) -> a.WearRecordedOut:
    """A point of the bucket against its profile, by tape or by a touch. Changes no height and no profile."""
    keeper = record.keeper
    if asked.point is None:
        return a.wear_recorded(
            record(job, asked, lambda state, seq: staff.wear_check(state, seq, asked, keeper))
        )
    read = stream.complete(job, asked)
    return a.wear_recorded(
        record(
            job, asked, lambda state, seq: staff.wear_check(state, seq, read.on(state), keeper), read.asked
        )
    )


@router.post("/laser-tests", status_code=201, summary="A field test of the laser with two staffs")
def measure_laser(job: JobId, asked: LaserTestIn, record: RecorderDep) -> a.LaserRecordedOut:
    """Tilt, cone and scatter of the laser after ISO 17123-6, with tests. Changes nothing: set `estimates` by it."""
    return a.laser_recorded(record(job, asked, lambda state, _seq: laser_testing.tested(state, asked)))


@router.get("/daily-trust", summary="What a day of checks says")
def daily_trust(
    job: JobId,
    keeper: KeeperDep,
    day: Annotated[str | None, Query(description="2026-05-04, UTC; left out, today.", max_length=10)] = None,
    levelled_km: Annotated[
        float | None,
        Query(
            gt=0,
            le=100,
            allow_inf_nan=False,
            description="Distance levelled, for the allowable misclosure of practice.",
        ),
    ] = None,
    mm_per_root_km: Annotated[
        float,
        Query(
            gt=0,
            le=100,
            allow_inf_nan=False,
            description="12 in ordinary levelling, 10 or 15 in building practice.",
        ),
    ] = 12.0,
) -> a.DailyTrustOut:
    """Running mean, spread and drift of the rod checks, misclosures, wear, laser: a verdict, and warnings with
    numbers."""
    state, when = keeper.state(job), _day(day, keeper)
    entries = daily.of_day(state, when)
    checks = daily.independent(daily.rod_checks(entries))
    together = daily.together(state, checks)
    closings = list(daily.closings(keeper, state, when))
    found = closed([each.misclosure for each in closings], levelled_km, mm_per_root_km) if closings else None
    wear, tested = daily.latest_wear(state, when), daily.latest_laser(state, when)
    times = unrolled(state.entries)
    every = sorted(
        ((e, e.payload) for e in state.entries
         if isinstance(e.payload, RodChecked) and e.observed_utc.date() == when),
        key=lambda each: (times[each[0].seq], each[0].seq),
    )  # fmt: skip
    rods = [a.rod_out(state, entry, told) for entry, told in every]
    counting = [each for each in rods if each.status == "counts"]
    worn = [a.wear_out(state, *each) for each in wear.values()]
    lasers = [a.laser_out(state, *each) for each in tested.values()]
    warnings = [
        *(each.words for each in set_back_on(state.entries, when)),
        *_of_rods(counting), *_of_together(together, state), *_of_closings(closings, found, state),
        *(each.words for each in worn if each.seen), *(each for told in lasers for each in _of_laser(told, state)),
    ]  # fmt: skip
    units = state.units
    return a.DailyTrustOut(
        job=job, day=when.isoformat(), seq=state.seq, units=units.value, verdict=_verdict(counting, warnings),
        warnings=warnings, rod_checks=rods,
        together=None if together is None else a.together_out(together, [e.seq for e, _ in checks], units),
        misclosures=a.ClosedOut(
            rows=[_closing(each, state) for each in closings], mean=None if found is None else length(found.mean, units),
            rms=None if found is None else length(found.rms, units),
            allowable=maybe(None if found is None else found.allowable, units),
            past_allowable=[] if found is None else [closings[i].entry.seq for i in found.past]),
        wear=worn, lasers=lasers, advisory=ADVISORY,
    )  # fmt: skip


def _day(given: str | None, keeper: Keeper) -> date:
    if given is None:
        return keeper.now().date()
    try:
        if len(given) != len("2026-05-04"):
            raise ValueError(given)
        return date.fromisoformat(given)
    except ValueError:
        raise Refused([Fault("not-a-time", "day", repr(given), "a day as 2026-05-04")]) from None


def _closing(told: Closing, state: JobState) -> a.ClosingOut:
    test = told.misclosure.test
    return a.ClosingOut(
        seq=told.entry.seq, what=told.what, point=told.point, misclosure=length(told.misclosure.value, state.units),
        within=None if test is None else length(test.limit, state.units),
        passed=None if test is None else test.passed,
    )  # fmt: skip


def _of_rods(checks: list[a.RodOut]) -> Iterator[str]:
    for each in checks:
        if each.suspect is not None:
            yield f"rod check {each.seq} is suspect: {each.suspect} Withdraw it if it is, and check again"
        elif each.word != "within":
            yield f"rod check {each.seq}: {each.words}"


def _of_together(found: Agreement | None, state: JobState) -> Iterator[str]:
    if found is None:
        return
    yield from (sentence for sentence, warns in words.together_sentences(found, state.units) if warns)


def _of_closings(rows: list[Closing], found: Closed | None, state: JobState) -> Iterator[str]:
    if found is None:
        return
    for i in found.beyond:
        each, test = rows[i], rows[i].misclosure.test
        limit = "" if test is None else words.size(test.limit, state.units)
        yield (
            f"misclosure of {words.size(each.misclosure.value, state.units)} at entry {each.entry.seq} ({each.what}, "
            f"{each.point}), {limit} were to be expected at most (95 %)"
        )
    for i in found.past:
        if found.allowable is not None:
            yield (
                f"misclosure of {words.size(rows[i].misclosure.value, state.units)} at entry {rows[i].entry.seq}, "
                f"{words.size(found.allowable, state.units)} are allowed in levelling practice"
            )


def _of_laser(told: a.LaserOut, state: JobState) -> Iterator[str]:
    estimate = state.estimates.laser_level_arcsec
    if told.tilt_arcsec > 1.96 * estimate:
        yield (
            f"the laser {told.laser} tilted by {told.tilt_arcsec:.1f} arc seconds at its last test (entry "
            f"{told.seq}), the job's estimate is {estimate:g}: set the estimates anew, or have it adjusted"
        )
    if told.spread_as_claimed is False:
        yield f"the laser {told.laser} scatters more than its maker claims (entry {told.seq})"
    if told.same_as_before is False:
        yield f"the laser {told.laser} scatters otherwise than at entry {told.before_seq} (F test, entry {told.seq})"


def _verdict(checks: list[a.RodOut], warnings: list[str]) -> a.VerdictOut:
    if warnings:
        many = f"{len(warnings)} warnings" if len(warnings) > 1 else "one warning"
        return a.VerdictOut(
            ok=False, words=f"Not within its uncertainty today, {many}: read them before you dig on."
        )
    proving = [each for each in checks if each.independent]
    if not proving:
        said = "No rod check that counts today" if not checks else (
            "Only staffs today whose elevation came from the tool itself, which show nothing of its height"
        )  # fmt: skip
        return a.VerdictOut(ok=None, words=f"{said}: read a staff beside the edge before you dig.")
    few = len(proving) == 1
    return a.VerdictOut(
        ok=True, words="One rod check today, within its uncertainty: more would tell a drift." if few
        else f"{len(proving)} rod checks today, within their uncertainty; nothing drifts that they could show.",
    )  # fmt: skip
