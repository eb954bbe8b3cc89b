"""What checks of a dug surface say together: mean, spread, the share within tolerance, and how sure each is.

How sure: the decision rule of ISO 14253-1, as JCGM 106:2012 8.3 has it (guarded acceptance and rejection), the guard
band as wide as half the 95 % coverage interval: within or beyond the tolerance only where the whole interval is. Clauses
from memory. Metres; a deviation is edge minus target, positive cut.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from scipy.special import betaincinv

from .agreement import FACTOR
from .errors import Fault, refuse
from .grade import NOISE_M

POINTS = ("left", "centre", "right")
Sureness = Literal["surely within", "not sure", "surely beyond"]


@dataclass(frozen=True, slots=True)
class Dug:
    """One check: deviations (m) at the line's left, centre and right, their standard uncertainties (m), the tolerance (m)
    either way. Raises `Refused` with every fault: "not-finite", "out-of-range", "tolerance-not-positive".
    """

    deviations: tuple[float, float, float]
    standards: tuple[float, float, float]
    tolerance: float

    def __post_init__(self) -> None:
        refuse(self._faults())

    def _faults(self) -> Iterator[Fault]:
        told = (*self.deviations, *self.standards, self.tolerance)
        if not all(map(math.isfinite, told)):
            yield Fault("not-finite", "", str(told), "finite numbers")
        elif min(self.standards) < 0.0:
            yield Fault(
                "out-of-range", "standards", f"{min(self.standards):g} m", "0 or more: a size has no sign"
            )
        elif self.tolerance <= 0.0:
            yield Fault("tolerance-not-positive", "tolerance", f"{self.tolerance:g} m", "more than zero")

    @property
    def within(self) -> bool:
        """Whether all three points are within the tolerance as told, its ends included."""
        return all(abs(each) <= self.tolerance + NOISE_M for each in self.deviations)

    @property
    def sureness(self) -> Sureness:
        """Of the check: surely within where all three points are, surely beyond where one is."""
        told = [
            sureness(each, standard, self.tolerance)
            for each, standard in zip(self.deviations, self.standards, strict=True)
        ]
        if "surely beyond" in told:
            return "surely beyond"
        return "not sure" if "not sure" in told else "surely within"


@dataclass(frozen=True, slots=True)
class Share:
    """`count` of `of`, as a ratio with the ends of its confidence interval."""

    count: int
    of: int
    ratio: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Extreme:
    """The farthest one way: which check, by index, which of `POINTS`, its deviation (m)."""

    index: int
    point: str
    deviation: float


@dataclass(frozen=True, slots=True)
class Summary:
    """Of at least one check. `mean`, `spread` (m, sample standard deviation, None of one check): of middles' deviations.

    `lowest`, `highest` of all points; `within` as told, `sure` how many are which.
    """

    count: int
    mean: float
    spread: float | None
    lowest: Extreme
    highest: Extreme
    within: Share
    sure: dict[Sureness, int]


def sureness(deviation: float, standard: float, tolerance: float) -> Sureness:
    """What one point says with its doubt. Tolerance 30 mm, standard 4 mm (95 %: 7.8): 20 mm off is surely within, 25 mm
    not sure, 38 mm surely beyond."""
    doubt = FACTOR * standard
    if abs(deviation) + doubt <= tolerance + NOISE_M:
        return "surely within"
    return "surely beyond" if abs(deviation) - doubt > tolerance + NOISE_M else "not sure"


def share(count: int, of: int, level: float = 0.95) -> Share:
    """A share with its confidence interval after Clopper and Pearson (1934): at least `level`, whatever the true share.

    19 of 20 within: 0.95, from 0.751 to 0.999. The checks are taken as drawn by chance; it cannot see what is
    wrong with all alike, as a height is.
    Raises `Refused` "out-of-range" unless 0 <= count <= of, of >= 1, and 0 < level < 1.
    """
    if not (0 <= count <= of and of >= 1 and 0.0 < level < 1.0):
        refuse(
            [
                Fault(
                    "out-of-range",
                    "",
                    f"{count} of {of} at {level:g}",
                    "0 <= count <= of, of from 1, a level below 1",
                )
            ]
        )
    tail = 0.5 * (1.0 - level)
    low = 0.0 if count == 0 else float(betaincinv(count, of - count + 1, tail))
    high = 1.0 if count == of else float(betaincinv(count + 1, of - count, 1.0 - tail))
    return Share(count, of, count / of, low, high)


def summary(checks: Sequence[Dug]) -> Summary:
    """What checks of one target say together. Raises `Refused` "too-few" for none."""
    if not checks:
        refuse([Fault("too-few", "", "no check", "at least one")])
    middles = [each.deviations[1] for each in checks]
    mean = math.fsum(middles) / len(middles)
    spread = None
    if len(middles) > 1:
        spread = math.sqrt(math.fsum((each - mean) ** 2 for each in middles) / (len(middles) - 1))
    every = [
        Extreme(i, point, deviation)
        for i, each in enumerate(checks)
        for point, deviation in zip(POINTS, each.deviations, strict=True)
    ]
    sure: dict[Sureness, int] = {"surely within": 0, "not sure": 0, "surely beyond": 0}
    for each in checks:
        sure[each.sureness] += 1
    return Summary(
        len(checks), mean, spread, min(every, key=_deviation), max(every, key=_deviation),
        share(sum(each.within for each in checks), len(checks)), sure,
    )  # fmt: skip


def _deviation(found: Extreme) -> float:
    return found.deviation
