"""Whether tool and staff agree: differences of elevations, each with what was to be expected of it.

A difference is tool minus staff: +0.012 says that the tool reads 12 mm too high. Metres, seconds; probability 95 %
throughout. What is expected has two parts: `own`, anew at each check (sensor noise, contact, the staff's readings), and
`common`, the same at all of them (the touch that they hang on, zeros, lengths, drift).

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2 (t), 1.3.5.8 (chi-square), 4.4.3.1 (straight line),
from memory; `scipy.stats` and NIST's certified data sets are the referees of the tests."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from scipy.special import chdtri, stdtrit

from .errors import Fault, Refused, refuse
from .units import LengthUnit, to_metres

Word = Literal["within", "beyond", "far beyond"]
PROBABILITY = 0.95
FACTOR = 1.959963984540054
"""Of a normal distribution, 95 % within so many standard uncertainties either way (GUM table G.1)."""
FAR = 3.0
"""So many standard uncertainties one honest check in 370 passes (as a z-score of 3 in ISO 13528, from memory)."""
FINEST_M = 1e-6
"""Nothing here is read finer: what is smaller is rounding, not a finding."""
FEWEST, FEWEST_OF_A_LINE = 2, 3
_FOUND_OFTEN = 0.9
_FOOT_M = to_metres(1.0, LengthUnit.FT)
_LEAST_SLIP_M, _SLIP_WITHIN_M, _SLIP_AT_MOST_M = 0.05, 0.01, 0.03


@dataclass(frozen=True, slots=True)
class Check:
    """One difference (m), what was to be expected of it (standard, m), and when it was read (s, from anywhere).

    Raises `Refused` with every fault: "not-finite", "negative-uncertainty".
    """

    difference: float
    own: float
    common: float
    at: float

    def __post_init__(self) -> None:
        refuse(
            Fault("not-finite", name, str(value), "a finite number")
            for name, value in (*self._standards, ("difference", self.difference), ("at", self.at))
            if not math.isfinite(value)
        )  # fmt: skip
        refuse(
            Fault("negative-uncertainty", name, f"{value:g}", "0 or more")
            for name, value in self._standards
            if value < 0.0
        )

    @property
    def _standards(self) -> tuple[tuple[str, float], tuple[str, float]]:
        return ("own", self.own), ("common", self.common)

    @property
    def expected(self) -> float:
        """Standard uncertainty (m) of the difference, both parts."""
        return math.hypot(self.own, self.common)


@dataclass(frozen=True, slots=True)
class Test:
    """A number held against its limit, both of one unit; `freedom`: degrees of it, inf where the limit owes nothing to
    a sample. `passed`: not more than the limit."""

    __test__ = False  # no test of pytest's
    found: float
    limit: float
    freedom: float

    @property
    def passed(self) -> bool:
        """Whether it is within its limit."""
        return self.found <= self.limit


@dataclass(frozen=True, slots=True)
class Drift:
    """The straight line through differences over time. `slope`, `standard` of it (m/s); `change` (m) from the first
    check to the last; `test` (m/s): |slope| against t times its standard; `least` (m/s): what would be found nine times
    in ten; `span` (s) from the first check to the last."""

    slope: float
    standard: float
    change: float
    test: Test
    least: float
    span: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """What checks say together. Metres.

    `mean`, `spread` (sample standard deviation), `rms` about zero; `worst`: which is farthest from zero; `running`:
    mean and spread after each check, no spread after the first. `shifted`: the mean against what the scatter alone
    explains (t); `bias`: the mean against what was to be expected of it; `scatter`: the spread likewise (chi-square).
    `drift`: None with fewer than three checks, or all at once."""

    count: int
    mean: float
    spread: float
    rms: float
    worst: int
    running: tuple[tuple[float, float | None], ...]
    mean_expected: float
    shifted: Test
    bias: Test
    scatter: Test
    drift: Drift | None


def word_of(difference: float, expected: float) -> Word:
    """How one difference (m) stands to what was expected of it (standard, m): "within" half a 95 % interval, "beyond"
    it, "far beyond" past three standards. 15 mm where 9 mm is standard: within 17.6 mm."""
    if abs(difference) <= max(FACTOR * expected, FINEST_M):
        return "within"
    return "beyond" if abs(difference) <= FAR * expected else "far beyond"


def mean_of(values: Sequence[float]) -> float:
    """Mean without the rounding of a running sum."""
    middle = math.fsum(values) / len(values)
    return middle + math.fsum(value - middle for value in values) / len(values)


def spread_of(values: Sequence[float]) -> float:
    """Sample standard deviation (n - 1); 1, 2, 3: 1."""
    middle = mean_of(values)
    return math.sqrt(math.fsum((value - middle) ** 2 for value in values) / (len(values) - 1))


def t_limit(freedom: float, probability: float = PROBABILITY) -> float:
    """Two-sided quantile of Student's t: 2.776 with 4 degrees of freedom at 95 %."""
    return float(-stdtrit(freedom, 0.5 * (1.0 - probability)))


def spread_limit(freedom: float, probability: float = PROBABILITY) -> float:
    """By what factor a sample's spread may exceed the true one: sqrt(chi-square / freedom), one-sided.

    38 degrees of freedom: 1.19, the factor of ISO 17123-2 (from memory).
    """
    return math.sqrt(float(chdtri(freedom, 1.0 - probability)) / freedom)


def agreement(checks: Sequence[Check]) -> Agreement:
    """What checks in the order of their times say together.

    The mean is expected within 1.96 hypot(mean of `common`, `own` / sqrt n): what all share is never averaged away. The
    spread is held against both parts, since what is common acts otherwise in another posture. Five differences of +6 mm
    of 9 mm standard, 8 of these common: bias within 17 mm, though a t test finds that 6 mm is no chance. Raises
    `Refused` "too-few-checks" below two, "not-in-order"."""
    n = len(checks)
    if n < FEWEST:
        raise Refused([_too_few(n, FEWEST)])
    if any(later.at < earlier.at for earlier, later in pairwise(checks)):
        raise Refused(
            [Fault("not-in-order", "checks", "times that go back", "checks in the order of their times")]
        )
    values = [check.difference for check in checks]
    mean, spread = mean_of(values), spread_of(values)
    common = math.fsum(check.common for check in checks) / n
    own = math.sqrt(math.fsum(check.own**2 for check in checks))
    of_mean = math.hypot(common, own / n)
    of_one = math.sqrt(math.fsum(check.expected**2 for check in checks) / n)
    return Agreement(
        count=n, mean=mean, spread=spread, rms=math.sqrt(math.fsum(v * v for v in values) / n),
        worst=max(range(n), key=lambda i: abs(values[i])),
        running=tuple(
            (mean_of(values[:k]), spread_of(values[:k]) if k > 1 else None) for k in range(1, n + 1)
        ),
        mean_expected=of_mean,
        shifted=Test(abs(mean), max(t_limit(n - 1) * spread / math.sqrt(n), FINEST_M), n - 1),
        bias=Test(abs(mean), max(FACTOR * of_mean, FINEST_M), math.inf),
        scatter=Test(spread, max(spread_limit(n - 1) * of_one, FINEST_M), n - 1),
        drift=drift([check.at for check in checks], values),
    )  # fmt: skip


def drift(times: Sequence[float], values: Sequence[float]) -> Drift | None:
    """The straight line of `values` (m) over `times` (s), and whether its slope is more than chance; None where there
    is no line. +2 mm every hour: slope 5.6e-7 m/s."""
    n = len(times)
    if n < FEWEST_OF_A_LINE or max(times) - min(times) <= 0.0:
        return None
    middle, mean = mean_of(times), mean_of(values)
    about = math.fsum((t - middle) ** 2 for t in times)
    slope = math.fsum((t - middle) * (v - mean) for t, v in zip(times, values, strict=True)) / about
    left = [v - mean - slope * (t - middle) for t, v in zip(times, values, strict=True)]
    standard = math.sqrt(math.fsum(r * r for r in left) / (n - 2) / about)
    span = max(times) - min(times)
    limit = max(t_limit(n - 2) * standard, FINEST_M / span)
    found_often = float(stdtrit(n - 2, _FOUND_OFTEN))
    return Drift(
        slope, standard, slope * span, Test(abs(slope), limit, n - 2), limit + found_often * standard, span
    )


@dataclass(frozen=True, slots=True)
class Slip:
    """What a difference looks like: `count` whole `unit`s, "ft" or "m"."""

    count: float
    unit: Literal["ft", "m"]


def slip(difference: float, expected: float) -> Slip | None:
    """The slip of the pen that a difference (m) looks like, None where it looks like none.

    Only far beyond what was expected (standard, m) and more than 50 mm: of whole feet or metres, up to 10, within 10 mm
    or what was expected (95 %), at most 30 mm; of whole decimetres up to 1 m, a misread staff, within 10 mm. 0.61: 2 ft.
    """
    size = abs(difference)
    if size <= max(FAR * expected, _LEAST_SLIP_M):
        return None
    within = min(max(FACTOR * expected, _SLIP_WITHIN_M), _SLIP_AT_MOST_M)
    known = [
        *((k * _FOOT_M, within, Slip(float(k), "ft")) for k in range(1, 11)),
        *((0.1 * k, _SLIP_WITHIN_M, Slip(0.1 * k, "m")) for k in range(1, 10)),
        *((float(k), within, Slip(float(k), "m")) for k in range(1, 11)),
    ]
    near = [
        (abs(size - length), i) for i, (length, most, _) in enumerate(known) if abs(size - length) <= most
    ]
    return known[min(near)[1]][2] if near else None


def _too_few(found: int, least: int) -> Fault:
    return Fault(
        "too-few-checks", "checks", str(found), f"at least {least}", "read the staff beside the edge a few times more",
        {"least": float(least)},
    )  # fmt: skip
