"""The misclosures of a day, against what the uncertainty allows and what levelling practice allows. Metres."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .agreement import FACTOR, FINEST_M, Test, mean_of
from .errors import Fault, Refused, refuse
from .levelbook import allowable_misclosure_m


@dataclass(frozen=True, slots=True)
class Misclosure:
    """Computed minus known (m), and its standard uncertainty (m), None where it cannot be said. `Refused` "not-finite",
    "negative-uncertainty"."""

    value: float
    standard: float | None

    def __post_init__(self) -> None:
        given = (("value", self.value), ("standard", self.standard))
        refuse(
            Fault("not-finite", name, str(each), "a finite number")
            for name, each in given
            if each is not None and not math.isfinite(each)
        )
        if self.standard is not None and self.standard < 0.0:
            raise Refused([Fault("negative-uncertainty", "standard", f"{self.standard:g}", "0 or more")])

    @property
    def test(self) -> Test | None:
        """Against half its own 95 % interval; None without a standard."""
        if self.standard is None:
            return None
        return Test(abs(self.value), max(FACTOR * self.standard, FINEST_M), math.inf)


@dataclass(frozen=True, slots=True)
class Closed:
    """Misclosures together: `mean`, `rms`, `worst` (which); `beyond`: those outside their own interval; `allowable` (m)
    by levelling practice, `past` those outside that; None and none where no distance was given."""

    mean: float
    rms: float
    worst: int
    beyond: tuple[int, ...]
    allowable: float | None
    past: tuple[int, ...]


def closed(
    misclosures: Sequence[Misclosure], distance_km: float | None = None, millimetres_per_root_km: float = 12.0
) -> Closed:
    """What misclosures say together. 12 mm sqrt(K): over 0.25 km 6 mm.

    Source of the rule: check_values 4.5, see `levelbook.allowable_misclosure_m`. Raises `Refused` "too-few-checks" for
    none, and as `allowable_misclosure_m`.
    """
    if not misclosures:
        raise Refused([Fault("too-few-checks", "misclosures", "0", "at least 1", "return to a known point")])
    values = [each.value for each in misclosures]
    tests = [each.test for each in misclosures]
    allowable = None if distance_km is None else allowable_misclosure_m(distance_km, millimetres_per_root_km)
    return Closed(
        mean=mean_of(values), rms=math.sqrt(math.fsum(v * v for v in values) / len(values)),
        worst=max(range(len(values)), key=lambda i: abs(values[i])),
        beyond=tuple(i for i, test in enumerate(tests) if test is not None and not test.passed),
        allowable=allowable,
        past=() if allowable is None else tuple(i for i, v in enumerate(values) if abs(v) > allowable),
    )  # fmt: skip
