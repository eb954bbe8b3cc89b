"""A calibration as it is answered: before and after of each unknown, what every observation says now, in words."""

import csv
import io
import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field
from typing_extensions import TypedDict

from kinematics.calibration import Calibrated
from kinematics.errors import Refused
from kinematics.sensor_set import LEAN
from kinematics.touched import HeightSeen
from kinematics.units import LengthUnit, show
from machine_profiles import ProfileFaulty
from service.book.requests import Units
from service.strict import Strict

from .answers import ADVISORY, Reference
from .budget_words import size
from .calibration_found import NewTexts, Told, new_texts
from .calibration_ready import observations_sha256

Verdict = Literal["found", "suspects", "doubtful", "not-separable"]


class Value(TypedDict):
    """A length or an angle: metres or degrees, the other null."""

    m: float | None
    deg: float | None
    shown: Annotated[str, Field(description="In the units asked for, of an angle deg.")]


class UnknownOut(TypedDict):
    """One unknown before and after."""

    name: str
    was: Value
    found: Value
    change: Value
    standard: Annotated[Value, Field(description="Standard uncertainty of what was found.")]
    was_standard: Annotated[Value, Field(description="That of the profile.")]
    words: str


class ResidualOut(TypedDict):
    """One observation: what was seen less what the machine told."""

    name: str
    pointer: Annotated[str, Field(description="Its place in the request.")]
    before: Value | None
    after: Value | None
    standard: Annotated[Value | None, Field(description="What `after` is expected to be by.")]
    standardised: Annotated[
        float | None,
        Field(description="After in its own standard; beyond 3.3 a suspect; null: nothing checks it."),
    ]
    checked: Annotated[
        float, Field(description="The part of an error of it that the others would show, 0 to 1.")
    ]
    suspect: bool
    words: str


class TogetherOut(TypedDict):
    """Unknowns that these postures show only together."""

    names: list[str]
    lost: Annotated[
        bool, Field(description="Nothing can be found; false: told, the profile knows them better.")
    ]
    words: str


class CorrelationOut(TypedDict):
    """Two unknowns that err together, beyond 0.3 either way."""

    one: str
    other: str
    coefficient: float


class AlsoOut(TypedDict):
    """A key of a file that changes besides, in the file's units."""

    kind: str
    key: str
    was: float | None
    now: float | None
    why: str


class TextOut(Strict):
    """A profile's text with what was found in it."""

    kind: Literal["machine", "attachment"]
    id: str
    toml: str


class ProposalOut(TypedDict):
    """A posture to touch in next."""

    group: Annotated[str, Field(description="Of which touches or set-up it would be one more.")]
    edge_point: str
    joints_deg: dict[str, float]
    attitude_deg: dict[str, float]
    height: Annotated[
        Value, Field(description="Of that point over the body origin, as the profile has it now.")
    ]
    reach: Annotated[Value, Field(description="Level, ahead of the swing axis.")]
    weakest: Annotated[str, Field(description="The unknown that is known least, of which it tells most.")]
    before: Annotated[Value, Field(description="Its standard uncertainty now.")]
    after: Annotated[Value, Field(description="And after this touch and those before it.")]
    words: str


class FitOut(TypedDict):
    """How well all fits together."""

    chi_square: float
    freedom: int
    consistent: Annotated[bool, Field(description="Chi-square below what it passes in one case of 20.")]
    widened: Annotated[float, Field(description="The factor by which uncertainties were widened; 1: not.")]
    rms_before: Annotated[float, Field(description="Of residuals, each in its own standard uncertainty.")]
    rms_after: float


class CalibrationOut(Strict):
    """What a calibration found. Nothing is recorded."""

    verdict: Verdict = Field(
        description="found; suspects: found without some observations; doubtful: found, but residuals are larger than "
        "they should be or nothing checks it; not-separable: touch in more postures."
    )
    units: Units
    machine: Reference
    attachment: Reference
    unknowns: list[UnknownOut] = Field(description="Empty where not-separable.")
    residuals: list[ResidualOut]
    suspects: list[str] = Field(
        description="Names, for `left_out`; each one's words stand with its residual."
    )
    doubts: list[str] = Field(
        description="In words, what `doubts_seen` says was looked at: something found that nothing checks, that goes "
        "against what the profile knew, or that it knew better, or residuals larger than they should be."
    )
    together: list[TogetherOut]
    fit: FitOut | None
    correlations: list[CorrelationOut]
    next_postures: list[ProposalOut] = Field(
        description="The touches that would help most, best first, within the joints' ranges; it knows no ground."
    )
    observations_sha256: str
    profiles: list[TextOut] = Field(
        description="The texts with what was found; empty where there is nothing to write."
    )
    also: list[AlsoOut] = Field(description="Keys that were no unknown and change with them.")
    words: list[str] = Field(description="The same in sentences, for people.")
    advisory: str = ADVISORY


def answered(told: Told, today: str) -> CalibrationOut:
    """The answer to a calibration that was computed; `today`: the day, UTC, that the texts name."""
    units = LengthUnit(told.asked.units)
    found, pair = told.found, told.pair
    texts: NewTexts | None = None
    unwritten: list[str] = []
    if found is not None:
        try:
            texts = new_texts(told, today)
        except (Refused, ProfileFaulty) as refused:
            unwritten = [f"Not to be written: {fault}." for fault in refused.faults]
    changed = {} if texts is None else texts.changed(pair)
    return CalibrationOut(
        verdict=told.verdict,  # type: ignore[arg-type]
        units=told.asked.units,
        machine=Reference(id=pair.machine.id, revision=pair.machine.content_hash),
        attachment=Reference(id=pair.attachment.id, revision=pair.attachment.content_hash),
        unknowns=[] if found is None else [*_unknowns(told, found, units)],
        residuals=[] if found is None else [*_residuals(told, found, units)],
        suspects=told.suspects, doubts=told.doubts,
        together=[
            {"names": [*each.names], "lost": each.lost, "words": each.words} for each in told.together
        ],
        fit=None if found is None else _fit(found),
        correlations=[]
        if found is None
        else [{"one": one, "other": other, "coefficient": c} for one, other, c in found.correlations],
        next_postures=[*_proposals(told, units)],
        observations_sha256=observations_sha256(told.asked),
        profiles=[
            TextOut(kind=profile.kind, id=profile.id, toml=profile.source_text) for profile in changed.values()
        ],
        also=[
            {"kind": kind, "key": each.key, "was": each.was, "now": each.now, "why": each.why}
            for kind, every in ({} if texts is None else texts.also).items() for each in every
        ],
        words=[*_words(told, units), *unwritten],
    )  # fmt: skip


def value(of: float, units: LengthUnit, *, length: bool, size_only: bool = False) -> Value:
    """A value (m or rad) of an answer; `size_only`: a change or an uncertainty, shown finer."""
    if length:
        shown = _signed(of, units) if size_only else show(of, units)
        return {"m": of, "deg": None, "shown": shown}
    degrees = math.degrees(of)
    return {"m": None, "deg": degrees, "shown": f"{degrees + 0.0:.3f} deg"}


def _signed(of: float, units: LengthUnit) -> str:
    text = size(abs(of), units)
    return f"-{text}" if of < 0.0 and not text.startswith("less") else text


def _maybe(of: float, units: LengthUnit, *, length: bool) -> Value | None:
    return value(of, units, length=length, size_only=True) if math.isfinite(of) else None


def _unknowns(told: Told, found: Calibrated, units: LengthUnit) -> Iterator[UnknownOut]:
    own = dict(zip(told.sources.names, told.sources.standard.tolist(), strict=True))
    for i, name in enumerate(found.unknowns):
        length = bool(found.lengths[i])
        was, now, change, standard = (
            float(each[i]) for each in (found.was, found.found, found.change, found.standard)
        )
        told_change = value(change, units, length=length, size_only=True)
        told_standard = value(standard, units, length=length, size_only=True)
        before, after = value(was, units, length=length), value(now, units, length=length)
        moved = f"{told_change['shown'].removeprefix('-')} {'more' if change > 0.0 else 'less'} than the profile's"
        yield {
            "name": name, "was": before, "found": after, "change": told_change, "standard": told_standard,
            "was_standard": value(own[name], units, length=length, size_only=True),
            "words": f"{name} is {after['shown']}, {moved} {before['shown']}; known to {told_standard['shown']}",
        }  # fmt: skip


def _residuals(told: Told, found: Calibrated, units: LengthUnit) -> Iterator[ResidualOut]:
    for each, seen, place in zip(found.residuals, told.made.seen, told.made.places, strict=True):
        length = isinstance(seen, HeightSeen)
        yield {
            "name": each.name, "pointer": "/" + place.replace(".", "/"),
            "before": _maybe(each.before, units, length=length), "after": _maybe(each.after, units, length=length),
            "standard": _maybe(each.standard, units, length=length),
            "standardised": each.standardised if math.isfinite(each.standardised) else None,
            "checked": each.checked, "suspect": each.suspect, "words": each.words,
        }  # fmt: skip


def _proposals(told: Told, units: LengthUnit) -> Iterator[ProposalOut]:
    lengths = dict(zip(told.sources.names, told.sources.lengths.tolist(), strict=True))
    for each in told.proposed:
        degrees = {name: math.degrees(angle) for name, angle in each.angles.items()}
        lean = {name: degrees.pop(name) for name in LEAN}
        length = lengths[each.weakest]
        yield {
            "group": each.group, "edge_point": each.point, "joints_deg": degrees, "attitude_deg": lean,
            "height": value(each.height, units, length=True), "reach": value(each.reach, units, length=True),
            "weakest": each.weakest, "before": value(each.before, units, length=length, size_only=True),
            "after": value(each.after, units, length=length, size_only=True), "words": each.words,
        }  # fmt: skip


def _fit(found: Calibrated) -> FitOut:
    return {
        "chi_square": found.chi_square, "freedom": found.freedom, "consistent": found.consistent,
        "widened": found.widened, "rms_before": found.rms_before, "rms_after": found.rms_after,
    }  # fmt: skip


def _words(told: Told, units: LengthUnit) -> Iterator[str]:
    found = told.found
    if found is None:
        for fault in told.missing:
            yield f"{fault.found}: {fault.advice}."
        return
    for each in _unknowns(told, found, units):
        yield f"{each['words']}."
    for suspect in found.suspects:
        yield _sentence(f"Left out: {suspect.words}")
    for unchecked in found.unchecked:
        yield f"Doubtful: {unchecked}."
    for surprise in found.surprising:
        yield _sentence(f"Doubtful: {surprise}")
    for worse in found.worse_known:
        yield f"Known better by the profile, if that is right: {worse}."
    for doubt in found.doubts:
        yield f"{'Doubtful' if told.doubtful else 'To know'}: {doubt}."


def _sentence(words: str) -> str:
    return words if words.endswith(("?", ".")) else f"{words}."


def as_csv(document: Mapping[str, Any]) -> str:
    """The before and after table of a calibration's answer (RFC 4180): metres or degrees."""
    out = io.StringIO()
    write = csv.writer(out)
    write.writerow(["unknown", "unit", "was", "found", "change", "standard", "was_standard"])
    for each in document["unknowns"]:
        unit = "m" if each["was"]["m"] is not None else "deg"
        numbers = [f"{each[key][unit]:.6f}" for key in ("was", "found", "change", "standard", "was_standard")]
        write.writerow([each["name"], unit, *numbers])
    return out.getvalue()
