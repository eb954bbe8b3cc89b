"""Response models of daily checks, and how entries become them."""

import math
from typing import Literal

from pydantic import Field

from kinematics.agreement import FACTOR, Agreement, Word, word_of
from kinematics.units import LengthUnit
from kinematics.wear import Wear
from service.book.keeper import Recorded
from service.book.requests import Units
from service.book.staff_payloads import LaserTested, RodChecked, WearChecked
from service.book.state import Entry, JobState
from service.strict import Strict

from . import check_words as words
from .answers import Length, RecordedOut, entry_status, length, recorded, stamp
from .level_book import withdrawn_directly


class ExpectedOut(Strict):
    """What was to be expected of a difference."""

    standard: Length = Field(description="Standard uncertainty of the difference.")
    within: Length = Field(description="Half its 95 % interval.")
    own: Length = Field(
        description="Standard of the part that is anew at each check: noise, slop, contact, staff."
    )
    common: Length = Field(
        description="Standard of what other checks on the same touch share, at worst in full."
    )


class AgainstOut(Strict):
    """Tool and staff against a target."""

    target: str
    target_elevation: Length
    tool: str = Field(description="cut, fill or on grade, by the tool, with its amount.")
    staff: str = Field(description="The same by the staff.")


class RodOut(Strict):
    """A rod check."""

    seq: int
    observed_utc: str
    status: str = Field(description="counts, withdrawn, or void where what it hung on was withdrawn.")
    edge_point: str
    tool: Length = Field(description="Elevation that the tool reads.")
    staff: Length = Field(description="Elevation by the staff.")
    staff_by: Literal["level", "elevation", "plane"]
    independent: bool = Field(
        description="false where the staff's elevation came from the tool itself, by its plane or a turning point: it "
        "shows nothing of the height, and counts neither for the day's verdict nor for a certificate."
    )
    difference: Length = Field(description="Tool minus staff: positive, the tool reads too high.")
    expected: ExpectedOut
    word: Word = Field(description="within, beyond, or far beyond (three standards) what was to be expected.")
    words: str
    suspect: str | None = Field(
        description="Looks like a slip of the pen: what like. It is recorded all the same."
    )
    cut_fill: AgainstOut | None


class RodRecordedOut(RecordedOut):
    """A rod check as recorded."""

    check: RodOut


class WearOut(Strict):
    """A wear check."""

    seq: int
    observed_utc: str
    edge_point: str
    profile: Length = Field(description="From the bucket pin, as the profile has it.")
    wear: Length = Field(description="Positive: shorter than the profile.")
    within: Length = Field(description="Half its 95 % interval.")
    seen: bool = Field(description="More than its uncertainty.")
    words: str


class WearRecordedOut(RecordedOut):
    """A wear check as recorded."""

    check: WearOut


class LaserOut(Strict):
    """A test of the laser. Arc seconds; null where readings left nothing to tell it from."""

    seq: int
    observed_utc: str
    laser: str
    procedure: Literal["simplified", "full"]
    tilt_arcsec: float = Field(description="Of the plane, never negative.")
    ahead_arcsec: float = Field(description="Positive: rises towards the laser's mark.")
    ahead_standard_arcsec: float | None
    left_arcsec: float = Field(description="Positive: rises to the mark's left.")
    left_standard_arcsec: float | None
    cone_arcsec: float | None = Field(description="Positive: rises alike all round.")
    cone_standard_arcsec: float | None
    reading_spread: Length | None = Field(description="Standard deviation of one staff reading.")
    freedom: int = Field(description="Degrees of freedom of that.")
    spread_as_claimed: bool | None
    same_as_before: bool | None
    before_seq: int | None = Field(description="The earlier full test it was held against.")
    statements: list[str]


class LaserRecordedOut(RecordedOut):
    """A laser test as recorded."""

    test: LaserOut


class TestOut(Strict):
    """A statistical test: a number held against its limit, 95 %."""

    __test__ = False
    found: float
    limit: float
    passed: bool
    freedom: float | None = Field(
        description="Degrees of freedom; null where the limit owes nothing to a sample."
    )


class RunningOut(Strict):
    """Mean and spread up to a check."""

    seq: int
    mean: Length
    spread: Length | None


class DriftOut(Strict):
    """The straight line through the differences over time."""

    mm_per_hour: float
    standard_mm_per_hour: float
    limit_mm_per_hour: float
    least_mm_per_hour: float = Field(description="What would be found nine times in ten.")
    change: Length = Field(description="From the first check to the last.")
    seen: bool


class TogetherOut(Strict):
    """Rod checks together. Tests in metres."""

    count: int
    mean: Length
    spread: Length
    rms: Length
    worst_seq: int
    running: list[RunningOut]
    mean_within: Length = Field(description="Half the 95 % interval that the mean was to be expected in.")
    bias: TestOut = Field(description="The mean against what was to be expected of it.")
    shifted: TestOut = Field(description="The mean against what scatter alone explains (t).")
    scatter: TestOut = Field(description="The spread against what was to be expected (chi-square).")
    drift: DriftOut | None
    words: list[str]


class ClosingOut(Strict):
    """A misclosure."""

    seq: int
    what: str
    point: str
    misclosure: Length = Field(description="Computed minus known.")
    within: Length | None = Field(description="Half its own 95 % interval; null where it cannot be said.")
    passed: bool | None


class ClosedOut(Strict):
    """The day's misclosures."""

    rows: list[ClosingOut]
    mean: Length | None
    rms: Length | None
    allowable: Length | None = Field(
        description="By levelling practice, mm_per_root_km sqrt(km), where levelled_km was given."
    )
    past_allowable: list[int]


class VerdictOut(Strict):
    """The whole in a sentence. `ok` null: nothing to judge by."""

    ok: bool | None
    words: str


class DailyTrustOut(Strict):
    """A day of checks. Advisory."""

    job: str
    day: str = Field(description="UTC.")
    seq: int
    units: Units
    verdict: VerdictOut
    warnings: list[str] = Field(description="Sentences with numbers.")
    rod_checks: list[RodOut]
    together: TogetherOut | None = Field(description="Those that count; null with fewer than two.")
    misclosures: ClosedOut
    wear: list[WearOut] = Field(
        description="The last of each point of the present attachment, up to this day."
    )
    lasers: list[LaserOut] = Field(description="The last test of each laser up to this day.")
    advisory: str


def rod_out(state: JobState, entry: Entry, told: RodChecked) -> RodOut:
    """A rod check for an answer."""
    units = state.units
    standard = math.hypot(told.own_m, told.common_m)
    against = told.against
    return RodOut(
        seq=entry.seq, observed_utc=stamp(entry.observed_utc.isoformat()),
        status=entry_status(entry, state, withdrawn_directly(state)), edge_point=told.edge_point,
        tool=length(told.elevation_m, units), staff=length(told.staff.elevation_m, units), staff_by=told.staff.by,
        independent=told.independent, difference=length(told.difference_m, units),
        expected=ExpectedOut(
            standard=length(standard, units), within=length(FACTOR * standard, units), own=length(told.own_m, units),
            common=length(told.common_m, units)),
        word=word_of(told.difference_m, standard), words=words.rod_sentence(told, units), suspect=words.suspicion(told),
        cut_fill=None if against is None else AgainstOut(
            target=against.target, target_elevation=length(against.target_elevation_m, units),
            tool=_cut(against.tool_above_m, against.tolerance_m, units),
            staff=_cut(against.staff_above_m, against.tolerance_m, units)),
    )  # fmt: skip


def _cut(above: float, tolerance: float, units: LengthUnit) -> str:
    word = "on grade" if abs(above) <= tolerance else "cut" if above > 0 else "fill"
    return f"{word} {length(abs(above), units)['shown']}"


def rod_recorded(done: Recorded) -> RodRecordedOut:
    """The answer to a rod check."""
    payload = done.entry.payload
    assert isinstance(payload, RodChecked)  # noqa: S101
    return RodRecordedOut(**recorded(done), check=rod_out(done.state, done.entry, payload))


def wear_out(state: JobState, entry: Entry, told: WearChecked) -> WearOut:
    """A wear check for an answer."""
    units = state.units
    return WearOut(
        seq=entry.seq, observed_utc=stamp(entry.observed_utc.isoformat()), edge_point=told.edge_point,
        profile=length(told.profile_m, units), wear=length(told.wear_m, units),
        within=length(FACTOR * told.standard_m, units), seen=Wear(told.wear_m, told.standard_m).seen,
        words=words.wear_sentence(told, units),
    )  # fmt: skip


def wear_recorded(done: Recorded) -> WearRecordedOut:
    """The answer to a wear check."""
    payload = done.entry.payload
    assert isinstance(payload, WearChecked)  # noqa: S101
    return WearRecordedOut(**recorded(done), check=wear_out(done.state, done.entry, payload))


def laser_out(state: JobState, entry: Entry, told: LaserTested) -> LaserOut:
    """A laser test for an answer."""
    spread = told.reading_spread_m
    return LaserOut(
        seq=entry.seq, observed_utc=stamp(entry.observed_utc.isoformat()), laser=told.laser, procedure=told.procedure,
        tilt_arcsec=math.hypot(told.ahead_arcsec, told.left_arcsec), ahead_arcsec=told.ahead_arcsec,
        ahead_standard_arcsec=told.ahead_standard_arcsec, left_arcsec=told.left_arcsec,
        left_standard_arcsec=told.left_standard_arcsec, cone_arcsec=told.cone_arcsec,
        cone_standard_arcsec=told.cone_standard_arcsec,
        reading_spread=None if spread is None else length(spread, state.units), freedom=told.freedom,
        spread_as_claimed=told.spread_as_claimed, same_as_before=told.same_as_before, before_seq=told.before_seq,
        statements=list(told.statements),
    )  # fmt: skip


def laser_recorded(done: Recorded) -> LaserRecordedOut:
    """The answer to a laser test."""
    payload = done.entry.payload
    assert isinstance(payload, LaserTested)  # noqa: S101
    return LaserRecordedOut(**recorded(done), test=laser_out(done.state, done.entry, payload))


def together_out(found: Agreement, seqs: list[int], units: LengthUnit) -> TogetherOut:
    """Rod checks together, for an answer; `seqs` in their order."""
    drift = found.drift
    per_hour = 1e3 * words.HOUR_S
    return TogetherOut(
        count=found.count, mean=length(found.mean, units), spread=length(found.spread, units),
        rms=length(found.rms, units), worst_seq=seqs[found.worst],
        running=[
            RunningOut(seq=seq, mean=length(mean, units), spread=None if spread is None else length(spread, units))
            for seq, (mean, spread) in zip(seqs, found.running, strict=True)
        ],
        mean_within=length(found.bias.limit, units),
        **{
            name: TestOut(
                found=test.found, limit=test.limit, passed=test.passed,
                freedom=None if math.isinf(test.freedom) else test.freedom)
            for name, test in (("bias", found.bias), ("shifted", found.shifted), ("scatter", found.scatter))
        },
        drift=None if drift is None else DriftOut(
            mm_per_hour=per_hour * drift.slope, standard_mm_per_hour=per_hour * drift.standard,
            limit_mm_per_hour=per_hour * drift.test.limit, least_mm_per_hour=per_hour * drift.least,
            change=length(drift.change, units), seen=not drift.test.passed),
        words=[sentence for sentence, _ in words.together_sentences(found, units)],
    )  # fmt: skip
