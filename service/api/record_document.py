"""The as-dug record as a document, in the job's units: what a building inspector reads."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from kinematics.agreement import FACTOR
from kinematics.units import LengthUnit, show, show_number
from service.book import payloads as p
from service.book.clock_steps import set_back
from service.book.dug_payloads import CheckTaken
from service.book.holding import Damage
from service.book.state import Entry, JobState
from service.paper.document import Document, Drawing, Heading, Paragraph, Part, Signatures, Table, Verdict
from service.store import StoredEvent, utc_text

from . import answers as a
from . import record_words as words
from .checks import RULE, ShareOut, SummaryOut, TargetSummaryOut, dug_of, summary_out, taken
from .entry_words import revision
from .level_book import level_book, withdrawn_directly
from .record_csv import pose_words
from .record_drawing import Drawn, long_section

_MOST_DRAWINGS = 12
_NONE, _TIED = "\u2013", "\u00a0"
_UNITS = {
    LengthUnit.M: "metres", LengthUnit.MM: "millimetres", LengthUnit.FT: "international feet and decimals",
    LengthUnit.FT_US: "US survey feet and decimals", LengthUnit.FTIN: "feet, inches and sixteenths",
}  # fmt: skip


def record_document(
    job: str, state: JobState, last: StoredEvent, when: datetime, by: str, damage: Damage | None = None
) -> Document:
    """The record up to the event `last`; `when`, `by`: written when and by which release; `damage`: why it ends there."""
    summed = summary_out(state)
    head = f"{last.seq}:{last.hash}"
    return Document(
        title="As-dug record",
        subtitle=f"{state.name}: what was dug, as the machine's readouts told it when each check was taken",
        facts=(
            ("Job", f"{job}, {state.name}"), ("Datum", state.datum or _NONE), ("Lengths", _UNITS[state.units]),
            ("Machine", _named(state, "machine")), ("Attachment", _named(state, "attachment")),
            ("Written", f"{_time(utc_text(when))}, by {by}"), ("Chain head", head),
        ),
        parts=(
            _verdict(summed) if damage is None else _ends(damage), *_waiting(state), *_summary(state, summed),
            *(part for target in summed.targets for part in _target(state, target)),
            *_rests(state), *_depth_sheet(state), *_benchmarks(state), *_level_book(state),
            Heading("The chain"), *([] if damage is None else [Paragraph(damage.words, strong=True)]),
            Paragraph(words.VERIFY.format(head=head)),
            Signatures(("taken by", "inspected by")),
        ),
        cautions=words.CAUTIONS,
        footer=f"{by} \u00b7 job {job} \u00b7 entry {last.seq} \u00b7 hash {last.hash}",
    )  # fmt: skip


def _named(state: JobState, kind: str) -> str:
    named = state.machine if kind == "machine" else state.attachment
    return "none on the job" if named is None else f"{named.id}, revision {named.hash}"


def _time(utc: str) -> str:
    """ "2026-05-04 07:31:12 UTC"."""
    return f"{utc[:10]} {utc[11:19]} UTC"


def _verdict(summed: SummaryOut) -> Verdict:
    count = sum(each.count for each in summed.targets)
    within, unsure, beyond = (
        sum(getattr(each, name) for each in summed.targets)
        for name in ("surely_within", "not_sure", "surely_beyond")
    )
    if count == 0:
        return Verdict(None, "no checks", "No check that counts was taken on this job.")
    told = f"Of {count} that count: {within} surely within tolerance, {unsure} not sure, {beyond} surely beyond. {RULE}"
    unchecked = [each.target for each in summed.targets if each.count == 0]
    if unchecked:
        told += f" Without a check: {', '.join(unchecked)}."
    if beyond:
        return Verdict(ok=False, word="surely beyond", text=told)
    word = "not sure" if unsure else "surely within"
    return Verdict(ok=None if unsure else True, word=word, text=told)


def _ends(damage: Damage) -> Verdict:
    return Verdict(ok=False, word=f"ends at entry {damage.seq - 1}", text=damage.words)


def _waiting(state: JobState) -> Iterator[Part]:
    if state.waiting:
        listed = ", ".join(map(str, state.waiting))
        yield Paragraph(
            f"Entries {listed} wait for the seat and are in no number of this record.", strong=True
        )


def _summary(state: JobState, summed: SummaryOut) -> Iterator[Part]:
    yield Heading("Checks by target")
    if not summed.targets:
        yield Paragraph("There is no target on the depth sheet.")
        return
    rows = [_summary_row(state.units, each) for each in summed.targets]
    yield Table(
        ("target", "tolerance", "checks", "void", "mean above target", "spread", "lowest", "highest", "share within",
         "surely within", "not sure", "surely beyond"),
        tuple(rows), ("left", *("right",) * 5, "left", "left", "left", *("right",) * 3),
        f"Lengths in {_UNITS[state.units]}",
    )  # fmt: skip
    yield Paragraph(f"{words.INTERVAL} Spread: sample standard deviation.")


def _summary_row(units: LengthUnit, told: TargetSummaryOut) -> tuple[str, ...]:
    def figure(metres: a.Length | None) -> str:
        return _NONE if metres is None else _signed(metres["m"], units)

    farthest = [
        _NONE
        if each is None
        else f"{_signed(each.above_target['m'], units)} ({each.point}, entry {each.seq})"
        for each in (told.lowest, told.highest)
    ]
    share = told.within
    within = _NONE
    if share is not None:
        interval = f"{share.low_percent:.1f} to {share.high_percent:.1f} %"
        within = f"{share.count} of {share.of}, {_percent(share)} % ({interval})"
    spread = _NONE if told.spread is None else show_number(told.spread["m"], units)
    return (
        told.target, f"\u00b1{show_number(told.tolerance['m'], units)}", str(told.count), str(told.void),
        figure(told.mean), spread, *farthest, within,
        *map(str, (told.surely_within, told.not_sure, told.surely_beyond)),
    )  # fmt: skip


def _percent(share: ShareOut) -> str:
    """To a tenth, and never 100 of less than all."""
    return "100" if share.count == share.of else f"{min(share.percent, 99.9):.1f}"


def _target(state: JobState, told: TargetSummaryOut) -> Iterator[Part]:
    checks = [
        e for e in taken(state) if isinstance(e.payload, CheckTaken) and e.payload.target == told.target
    ]
    if not checks:
        return
    yield Heading(f"Checks of {told.target}")
    yield _checks(state, checks)
    yield Paragraph(words.CHECKS)
    yield from _drawings(state, checks, told.target)


def _checks(state: JobState, checks: Sequence[Entry]) -> Table:
    units, withdrawn = state.units, withdrawn_directly(state)
    sloping = any(
        isinstance(e.payload, CheckTaken) and e.payload.centre.station_m is not None for e in checks
    )
    rows = []
    for entry in checks:
        told = entry.payload
        assert isinstance(told, CheckTaken)  # noqa: S101
        at = told.centre.station_m if sloping else told.centre.reach_m
        rows.append((
            str(entry.seq), _time(utc_text(entry.observed_utc))[:19],
            _NONE if at is None else show_number(at, units),
            *(_minus(show_number(point.elevation_m, units)) for point in told.points),
            show_number(FACTOR * max(point.elevation_standard_m for point in told.points), units),
            *(_signed(point.above_target_m, units) for point in told.points),
            show_number(FACTOR * max(point.cut_fill_standard_m for point in told.points), units),
            f"{told.cross_slope_percent:+.1f}".replace("-", "\u2212"), told.line, dug_of(told).sureness,
            a.entry_status(entry, state, withdrawn),
        ))  # fmt: skip
    return Table(
        ("entry", "taken, UTC", "station" if sloping else "reach", "elevation left", "centre", "right", "within",
         "above target left", "centre", "right", "within", "cross-slope %", "line", "how sure", "status"),
        tuple(rows), (*("right",) * 12, "left", "left", "left"),
        f"Lengths in {_UNITS[units]}",
    )  # fmt: skip


def _drawings(state: JobState, checks: Sequence[Entry], name: str) -> Iterator[Part]:
    """One for a target with stations, else one a setup: reaches of another stand are not along the same line."""
    stands: dict[int, list[Entry]] = {}
    for entry in checks:
        if isinstance(entry.payload, CheckTaken):
            stands.setdefault(
                0 if entry.payload.centre.station_m is not None else entry.payload.setup, []
            ).append(entry)
    for number, (setup, listed) in enumerate(stands.items()):
        if number == _MOST_DRAWINGS:
            yield Paragraph(
                f"Drawings of the first {_MOST_DRAWINGS} of {len(stands)} setups; the table has all checks."
            )
            return
        drawn = long_section(listed, state.void, state.units)
        if drawn is not None:
            yield _drawing(drawn, name, f", setup {setup}" if setup else "", len(listed))


def _drawing(drawn: Drawn, name: str, setup: str, count: int) -> Drawing:
    caption = f"Long section of {name}{setup}: {count} check{'s' if count != 1 else ''}"
    if drawn.left_out:
        caption += f", the {count - drawn.left_out} farthest from the target drawn"
    caption += f". To scale, heights {drawn.factor} times as large as lengths."
    return Drawing(drawn.svg, caption, f"{caption} The table above has every number drawn here.")


def _rests(state: JobState) -> Iterator[Part]:
    rows = []
    for entry in taken(state):
        told = entry.payload
        assert isinstance(told, CheckTaken)  # noqa: S101
        said = ", ".join(each.code for each in told.warnings)
        rows.append((
            str(entry.seq), entry.actor, str(told.setup),
            f"{told.machine} ({revision(told.machine_hash)}), {told.attachment} ({revision(told.attachment_hash)})",
            told.line, _minus(_tied(pose_words(told))), ", ".join(map(str, told.hangs_on)),
            "; ".join(filter(None, (said, told.note))) or _NONE,
        ))  # fmt: skip
    if rows:
        yield Heading("What each check was made from")
        yield Table(
            ("entry", "by", "setup", "machine, attachment", "line", "pose, degrees", "hangs on entries",
             "warnings, note"),
            tuple(rows), ("right", "left", "right", *("left",) * 5),
        )  # fmt: skip


def _depth_sheet(state: JobState) -> Iterator[Part]:
    yield Heading("Depth sheet")
    if not state.targets:
        yield Paragraph("No target.")
        return
    rows = []
    for name in state.targets:
        told = a.target_out(state, name)
        layers = "; ".join(f"{each.name} {_shown(each.thickness)}" for each in told.layers)
        grade = f"{told.along_percent:g} % along, {told.across_percent:g} % across"
        rows.append((
            name, told.benchmark, layers, _shown(told.overdig), _shown(told.depth_below), _shown(told.elevation),
            _shown(told.tolerance), grade if told.along_percent or told.across_percent else "level",
            _NONE if told.floor_limit is None else _shown(told.floor_limit),
        ))  # fmt: skip
    yield Table(
        ("target", "below", "layers", "overdig", "depth below", "elevation", "tolerance \u00b1", "grade", "floor limit"),
        tuple(rows), ("left", "left", "left", *("right",) * 4, "left", "right"),
    )  # fmt: skip


def _benchmarks(state: JobState) -> Iterator[Part]:
    points = a.job_out("", state).points
    if points:
        yield Heading("Benchmarks and turning points")
        yield Table(
            ("point", "elevation", "standard uncertainty", "hangs on entries"),
            tuple((each.name, _shown(each.elevation), _known(state, each), ", ".join(map(str, each.hangs_on)))
                  for each in points),
            ("left", "right", "right", "left"),
        )  # fmt: skip


def _known(state: JobState, point: a.PointOut) -> str:
    """How well a benchmark is known; of a turning point that depends on where it is read."""
    if point.uncertainty is not None:
        return _shown(point.uncertainty)
    estimate = f"{show(state.surroundings.benchmark, state.units)}, the job's estimate"
    return estimate if len(point.hangs_on) == 1 else _NONE


def _level_book(state: JobState) -> Iterator[Part]:
    book = level_book(state)
    rows = [each for each in book.rows if each.what not in {"check", "target"}]

    def figure(told: a.Length | None) -> str:
        return _NONE if told is None else _minus(show_number(told["m"], state.units))

    yield Heading("Level book")
    for each in set_back(state.entries):
        yield Paragraph(f"Of its times: {each.words}.", strong=True)
    yield Table(
        ("entry", "what", "point", "staff", "elevation", "origin", "laser plane", "misclosure", "status", "because"),
        tuple(
            (str(each.seq), each.what, each.point or _NONE,
             *map(figure, (each.staff, each.elevation, each.origin, each.plane, each.misclosure)), each.status,
             "; ".join(each.because) or _NONE)
            for each in rows
        ),
        ("right", "left", "left", *("right",) * 5, "left", "left"),
        f"Checks and targets stand above. Lengths in {_UNITS[state.units]}",
    )  # fmt: skip
    closed = [each for each in rows if each.misclosure is not None and each.status == "counts"]
    if closed:
        told = "; ".join(
            f"{show(each.misclosure['m'], state.units)} at entry {each.seq}, {each.point}"
            for each in closed if each.misclosure is not None
        )  # fmt: skip
        yield Paragraph(f"Misclosures that count (computed minus known): {_minus(told)}.", strong=True)
    else:
        yield Paragraph(
            "No misclosure: the height was never checked against a known point or a second strike.",
            strong=True,
        )
    struck = [e for e in state.entries if isinstance(e.payload, p.Struck) and not e.payload.taken]
    if struck:
        yield Paragraph(f"{len(struck)} strikes were turned down; they stand in the book with their reasons.")


def _shown(told: a.Length) -> str:
    return _minus(told["shown"])


def _signed(metres: float, units: LengthUnit) -> str:
    figure = show_number(metres, units)
    zero = not any(c in "123456789" for c in figure)
    return _minus(figure if zero or figure.startswith("-") else f"+{figure}")


def _tied(pose: str) -> str:
    """A pose broken between its joints alone."""
    return ", ".join(each.replace(" ", _TIED) for each in pose.split(", "))


def _minus(figure: str) -> str:
    return figure.replace("-", "\u2212")
