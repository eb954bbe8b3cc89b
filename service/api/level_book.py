"""The log of a job as a level book."""

from pydantic import Field

from kinematics.units import LengthUnit
from service.book import payloads as p
from service.book.dug_payloads import CheckTaken
from service.book.requests import Units
from service.book.staff_payloads import RodChecked
from service.book.state import Entry, JobState, steps
from service.strict import Strict

from .answers import Length, entry_status, length, maybe
from .entry_words import WHAT


class LevelRow(Strict):
    """A line of the book."""

    seq: int
    what: str
    point: str
    edge_point: str | None = Field(
        description="Which point of the bucket rested there, or had the staff beside it; null of other lines."
    )
    staff: Length | None = Field(
        description="Staff reading: laser plane minus elevation; a backsight on a known point, else a foresight."
    )
    elevation: Length | None = Field(
        description="Known (benchmark, touch that sets the height) or computed (check touch, turning point)."
    )
    origin: Length | None = Field(description="Elevation of the body origin after this line.")
    plane: Length | None = Field(description="Laser plane (height of instrument) after this line.")
    misclosure: Length | None = Field(description="Computed minus known.")
    status: str = Field(description="counts, waits, withdrawn, void, or turned down.")
    because: list[str]


class LevelBookOut(Strict):
    """The lines in order, and the last misclosure that counts."""

    units: Units
    rows: list[LevelRow]
    misclosure: Length | None


def _what(entry: Entry) -> str:
    if isinstance(entry.payload, p.Touched) and entry.payload.purpose == "check":
        return "check touch"
    return WHAT[entry.type]


def withdrawn_directly(state: JobState) -> frozenset[int]:
    """Entries that a standing withdrawal names, apart from those that merely hung on them."""
    return frozenset(
        e.payload.seq for e in state.entries
        if isinstance(e.payload, p.Withdrawn) and e.seq not in state.void and e.seq not in state.waiting
    )  # fmt: skip


def level_book(state: JobState) -> LevelBookOut:
    """Every entry as a line; what was withdrawn is marked, not left out."""
    withdrawn = withdrawn_directly(state)
    rows = []
    before = JobState()
    for entry, after in steps(state.entries):
        rows.append(_row(entry, before, after, state.units, entry_status(entry, state, withdrawn)))
        before = after
    closing = [row.misclosure for row in rows if row.misclosure is not None and row.status == "counts"]
    return LevelBookOut(units=state.units.value, rows=rows, misclosure=closing[-1] if closing else None)


def _row(entry: Entry, before: JobState, after: JobState, units: LengthUnit, status: str) -> LevelRow:
    book = after.book
    point, elevation, misclosure, because = _reading(entry, after)
    if status == "counts" and isinstance(entry.payload, p.Touched) and misclosure is not None:
        misclosure = _closes(entry.payload, before)
    plane = None if book.plane is None else book.plane.elevation
    staff = None
    read = isinstance(entry.payload, p.Touched | p.TurningPointTaken | CheckTaken)
    level = book.laser is not None and book.laser.fall == 0.0  # a falling plane is elsewhere over the point
    if read and level and plane is not None and elevation is not None and status == "counts":
        staff = plane - elevation
    return LevelRow(
        seq=entry.seq, what=_what(entry), point=point, edge_point=_rested(entry), staff=maybe(staff, units),
        elevation=maybe(elevation, units),
        origin=None if book.height is None else length(book.height.elevation, units),
        plane=maybe(plane, units), misclosure=maybe(misclosure, units), status=status, because=because,
    )  # fmt: skip


def _rested(entry: Entry) -> str | None:
    match entry.payload:
        case (
            p.Touched(edge_point=point)
            | p.TurningPointTaken(edge_point=point)
            | p.StationTouched(edge_point=point)
            | RodChecked(edge_point=point)
        ):
            return point
        case _:
            return None


def _closes(touched: p.Touched, before: JobState) -> float | None:
    """Computed minus known against the height that still counts: what it was read against may be withdrawn."""
    height, known = before.book.height, before.book.points.get(touched.point)
    if height is None or known is None:
        return None
    return height.elevation + touched.edge_height_m - known.elevation


def _reading(entry: Entry, after: JobState) -> tuple[str, float | None, float | None, list[str]]:
    """(point, its elevation, misclosure, reasons) of an entry."""
    match entry.payload:
        case p.BenchmarkDeclared(name=name, elevation_m=elevation):
            return name, elevation, None, []
        case p.Touched(point=point, purpose="check", elevation_m=computed, misclosure_m=misclosure):
            return point, computed, misclosure, []
        case p.Touched(point=point, misclosure_m=misclosure):
            known = after.book.points.get(point)
            return point, None if known is None else known.elevation, misclosure, []
        case (
            p.TurningPointTaken(name=name, elevation_m=elevation)
            | RodChecked(edge_point=name, elevation_m=elevation)
        ):
            return name, elevation, None, []
        case p.Struck(misclosure_m=misclosure, because=because):
            return "laser", None, misclosure, [f"{r.found}; expected {r.expected}" for r in because]
        case CheckTaken(target=target, centre=centre):
            return target, centre.elevation_m, None, []
        case p.SetupBegun(machine=machine, attachment=attachment):
            return f"{machine} + {attachment}", None, None, []
        case p.AttachmentChanged(attachment=name) | p.TargetSet(name=name) | p.StationTouched(target=name):
            return name, None, None, []
        case p.Withdrawn(seq=seq, reason=reason):
            return f"entry {seq}", None, None, [reason]
        case p.Acknowledged(seqs=seqs):
            return ", ".join(f"entry {seq}" for seq in seqs), None, None, []
        case p.SeatTaken():
            return entry.actor, None, None, []
        case _:
            return "", None, None, []
