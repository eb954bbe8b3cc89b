"""The near-grade tone as a table, so that a page can sound it without knowing how it is made."""

import math
from collections.abc import Iterator
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field
from typing_extensions import TypedDict

from kinematics.errors import Fault, Refused
from kinematics.grade import NOISE_M
from kinematics.tone import WIDEST_M, Tone, ToneWidths, tone
from kinematics.units import LengthUnit
from service.book import requests as q
from service.book.decide import together
from service.book.lengths import metres_within
from service.strict import Strict

from .answers import Length, length

router = APIRouter(prefix="/v1/tones", tags=["readouts"])
_STEPS = 20
"""Rows a side: two neighbours then differ by less than a semitone and a tenth of their pulses, which no ear misses."""
_HEARD_M, _HEARD_TOLERANCES = 0.3, 10.0
"""How far above the target it is heard, unless asked otherwise."""
_WHERE = {"on_grade_m": "tolerance", "heard_m": "heard"}


class ToneRow(TypedDict):
    """What sounds from this height up to the next row's."""

    above_target: Annotated[Length, Field(description="Edge minus target; negative is too deep.")]
    pitch_hz: Annotated[float | None, Field(description="null for silence.")]
    pulses_per_s: Annotated[float | None, Field(description="0 for one unbroken tone.")]
    in_pairs: bool


class TonesOut(Strict):
    """Rows from deep to high. Below the first the first holds; the last is silence. No number, no sound."""

    units: q.Units
    tolerance: Length
    heard: Length
    rows: list[ToneRow]


@router.get("", summary="What is heard near the target")
def tones(
    tolerance: Annotated[
        str,
        Query(max_length=40, description="Half width of the on-grade band, in `units`.", examples=["0.03"]),
    ],
    units: Annotated[q.Units, Query(description=q.UNITS_TEXT)],
    heard: Annotated[
        str | None,
        Query(
            max_length=40,
            description="From how far above the target it is heard, in `units`; left out: 0.3 m, or ten tolerances where "
            "these are more.",
            examples=["0.3"],
        ),
    ] = None,
) -> TonesOut:
    """Pitch and pulses by cut and fill: single and high above the target, unbroken on grade, low pairs below it.

    curl -s 'localhost:8311/v1/tones?tolerance=0.03&heard=0.3&units=m'
    """  # fmt: skip
    unit = LengthUnit(units)
    found: dict[str, float] = {}
    together(
        lambda: found.update(on_grade=_metres(tolerance, unit, "tolerance")),
        lambda: None if heard is None else found.update(heard=_metres(heard, unit, "heard")),
    )
    far = max(_HEARD_M, _HEARD_TOLERANCES * found["on_grade"])
    widths = _widths(found["on_grade"], found.get("heard", far))
    return TonesOut(
        units=units, tolerance=length(widths.on_grade_m, unit), heard=length(widths.heard_m, unit),
        rows=[_row(*each, unit) for each in _rows(widths)],
    )  # fmt: skip


def _metres(given: str, unit: LengthUnit, where: str) -> float:
    """Metres of a length as it stands in an address."""
    if unit is LengthUnit.FTIN:
        return metres_within(given, unit.value, where, WIDEST_M)
    try:
        value = float(given)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Refused([Fault("not-a-number", where, repr(given), f"a number in {unit}", "such as 0.03")])
    return metres_within(value, unit.value, where, WIDEST_M)


def _widths(on_grade: float, heard: float) -> ToneWidths:
    try:
        return ToneWidths(on_grade, heard)
    except Refused as refused:
        raise Refused(
            Fault(f.code, _WHERE[f.where], f.found, f.expected, f.advice, f.numbers) for f in refused.faults
        ) from None


def _rows(widths: ToneWidths) -> Iterator[tuple[float, Tone | None]]:
    """(height over the target (m) from which it sounds so, what sounds); each as in the middle of its step."""
    band, step = widths.on_grade_m + NOISE_M, (widths.heard_m - widths.on_grade_m) / _STEPS
    for i in range(_STEPS, 0, -1):
        yield -band - i * step, tone(-band - (i - 0.5) * step, widths)
    yield -band, tone(0.0, widths)
    for i in range(_STEPS):
        yield band + i * step, tone(band + (i + 0.5) * step - NOISE_M, widths)
    yield band + _STEPS * step, None


def _row(above: float, sounds: Tone | None, unit: LengthUnit) -> ToneRow:
    return {
        "above_target": length(above, unit), "pitch_hz": None if sounds is None else sounds.pitch_hz,
        "pulses_per_s": None if sounds is None else sounds.pulses_per_s,
        "in_pairs": sounds is not None and sounds.in_pairs,
    }  # fmt: skip
