"""How far a readout is to be trusted, as an answer: coverage intervals, the largest parts, what would help."""

import math
from collections.abc import Sequence
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field
from typing_extensions import TypedDict

from kinematics.agreement import FACTOR
from kinematics.arm import Pose
from kinematics.errors import Fault, Refused
from kinematics.sensing import readings_of
from kinematics.sources import KINDS, Sources
from kinematics.trust import Trust
from kinematics.trust_block import (
    CHOICES,
    NONE,
    NUMBERS,
    REMEDIES,
    REZEROED_M,
    REZEROED_RAD,
    TAPED_M,
    TAPED_RAD,
    TOLD,
)
from kinematics.units import LengthUnit, show
from service.book.trusting import Chain
from service.strict import Strict

from .answers import Length, length

Floats = NDArray[np.float64]
COVERAGE_PERCENT = 95.0
_AT = {name: i for i, name in enumerate(NUMBERS)}
_REMEDY, _SOURCE = CHOICES.index("remedy"), CHOICES.index("source")


class PartOut(TypedDict):
    """One part of an uncertainty."""

    part: Annotated[str, Field(description="What it comes from; see /guide/trust for each.")]
    within: Annotated[Length, Field(description="What the interval would be if there were only this.")]


class TrustOut(Strict):
    """How far to trust the middle of the line: half of an interval that holds the true value 95 times in 100."""

    of: Literal["cut_fill", "elevation"] = Field(description="Of which number; elevation without a target.")
    coverage_percent: float
    standard: Length = Field(description="Combined standard uncertainty (GUM).")
    within: Length = Field(description="Half the coverage interval, either way.")
    parts: list[PartOut] = Field(
        description="Largest first, at most five, none below a hundredth of the variance; they add up by squares. POST "
        "/v1/jobs/{job}/uncertainties tells all."
    )
    largest: str | None = Field(description="The largest part in words.")
    would_help: str | None = Field(
        description="What would make it better by a tenth or more, and how much, computed; the most helpful of what is "
        "known. null where nothing would. At best: a point that lies higher or lower than the edge is touched in nearly "
        "the same posture, not in the same."
    )
    assumed: int = Field(
        description="How many uncertainties neither profiles nor job give, so that they are taken as usual; POST "
        "/v1/jobs/{job}/uncertainties names them."
    )


class Judged:
    """What a trust found for one pose, as it is told; `numbers` and `choices` by the names of `trust_block`."""

    def __init__(
        self, sources: Sources, numbers: NDArray[np.float64], choices: NDArray[np.uint8], chain: Chain
    ) -> None:
        self._sources, self._assumed, self._again = sources, len(chain.assumed), chain.again
        self._numbers: Sequence[float] = numbers.tolist()
        self._choices: Sequence[int] = choices.tolist()

    @classmethod
    def of(cls, trust: Trust, chain: Chain) -> "Judged":
        """What it found last."""
        return cls(trust.sources, trust.numbers, trust.choices, chain)

    def within(self, name: str, units: LengthUnit) -> Length | None:
        """Half the coverage interval of one of `trust_block.NUMBERS`; None where there is no number to trust."""
        value = self._numbers[_AT[name]]
        return None if math.isnan(value) else length(FACTOR * value, units)

    def standard(self, name: str) -> float:
        """Standard uncertainty (m, ratio) of one of `trust_block.NUMBERS`; NaN where there is no number to trust."""
        return self._numbers[_AT[name]]

    @property
    def assumed(self) -> int:
        """How many uncertainties neither profiles nor job give."""
        return self._assumed

    @property
    def slope_within(self) -> float:
        """Of the cross-slope, percent."""
        return 100.0 * FACTOR * self._numbers[_AT["cross_slope_u"]]

    def out(self, units: LengthUnit) -> TrustOut | None:
        """The whole; None without a height."""
        told = told_of(self._numbers)
        if told is None:
            return None
        value = self._numbers[_AT[told]]
        parts: list[PartOut] = [
            {"part": KINDS[self._choices[i]].value, "within": length(FACTOR * self._numbers[_AT[f"part_{i}"]], units)}
            for i in range(TOLD)
            if self._choices[i] != NONE
        ]  # fmt: skip
        whole = length(FACTOR * value, units)
        return TrustOut(
            of="cut_fill" if told == "centre_cut_u" else "elevation", coverage_percent=COVERAGE_PERCENT,
            standard=length(value, units), within=whole, parts=parts,
            largest=_largest(parts, whole),
            would_help=self._help(whole, units, self._again[told == "centre_cut_u"][0]), assumed=self._assumed,
        )  # fmt: skip

    def _help(self, whole: Length, units: LengthUnit, point: str) -> str | None:
        which = self._choices[_REMEDY]
        if which == NONE:
            return None
        after = show(FACTOR * self._numbers[_AT["remedied_u"]], units)
        source = self._choices[_SOURCE]
        name, by_length = self._sources.names[source], bool(self._sources.lengths[source])
        return f"{whole['shown']} would be {after} at best: {in_words(REMEDIES[which], name, point, by_length=by_length)}"


def _largest(parts: list[PartOut], whole: Length) -> str | None:
    if not parts:
        return None
    return f"{parts[0]['part']} alone: {parts[0]['within']['shown']}, all together {whole['shown']}"


def told_of(numbers: Sequence[float]) -> str | None:
    """Of which number a trust tells the parts."""
    for name in ("centre_cut_u", "centre_elevation_u"):
        if not math.isnan(numbers[_AT[name]]):
            return name
    return None


def in_words(remedy: str, source: str, point: str, *, by_length: bool) -> str:
    """What to do, in words; `point`: what may be touched, `by_length`: whether the source is a length."""
    match remedy:
        case "touch":
            return f"touch {point} in the posture you dig in"
        case "zero":
            to = f"{1e3 * REZEROED_M:g} mm" if by_length else f"{math.degrees(REZEROED_RAD):g} deg"
            sensor = source.partition(".")[0]
            return f"set the zero of the sensor {sensor} anew to {to} (/guide/fitting), then touch again"
        case "measure":
            to = f"{1e3 * TAPED_M:g} mm" if by_length else f"{math.degrees(TAPED_RAD):g} deg"
            return f"measure {source.replace('_', ' ')} anew to {to} (/guide/measuring), then touch again"
        case _:
            return "have the laser's level checked by a turn test, and enter it in the estimates"


def judge(
    chain: Chain, found: Pose, line: str, fall: tuple[float, float], said: Floats | None, *, cut: bool
) -> tuple[Judged | None, list[Fault]]:
    """(what is to be told of a pose, else why there is nothing); `said`: what the sensors said, None: what they would;
    `cut`: whether there is a cut or fill."""
    trust = chain.trust(line, fall, cut=cut)
    try:
        said = trust.said(readings_of(chain.sensors, found)) if said is None else said
    except Refused as refused:
        return None, [*chain.why, *refused.faults]
    if not trust.judge(said, found.q):
        return None, [*chain.why, DEAD_CENTRE]
    return Judged.of(trust, chain), list(chain.why)


DEAD_CENTRE = Fault(
    "no-derivative", "trust", "a linkage at its dead centre: a hair of its sensor is any turn of the bucket",
    "a pose away from it", "uncurl or curl a little",
)  # fmt: skip
