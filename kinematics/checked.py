"""What was to be expected of a check: a touch or strike whose result is known from elsewhere, through the job's own
chain."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .estimates import Estimates
from .levelling import Enters, Terms
from .observed import Observed, chained
from .sensor_set import SensorSet
from .shared import Owners
from .shares import write_shares
from .sources import Sources
from .trust_desk import Owed


@dataclass(frozen=True, slots=True)
class Expected:
    """Standard uncertainties (m) of computed minus known: `own`, anew at each check (noise, slop, contact or receiver);
    `common`, what other checks on the same chain share, at worst in full (zeros, lengths, drift, the touch behind)."""

    own: float
    common: float

    @property
    def standard(self) -> float:
        """Both together."""
        return math.hypot(self.own, self.common)


def expected_of(
    seq: int, what: Enters, terms: Terms, observed: Mapping[int, Observed], benchmarks: Mapping[int, float],
    estimates: Estimates, sensors: SensorSet, sources: Sources, owners: Owners,
) -> Expected:  # fmt: skip
    """What was to be expected of computed minus known, of these `terms`, the check's own (seq, what) among them.

    All but `seq` and `what` as `observed.chained`. A check of the very touch that set the height, in its posture: zeros
    cancel, noise and contact count twice, of which once is its own.
    Raises `Refused` as `chained`.
    """
    alone = chained(
        {(seq, what): terms[seq, what]}, observed, benchmarks, estimates, sensors, sources, owners
    )
    own = float(alone.rest.sum())
    whole = _variance(chained(terms, observed, benchmarks, estimates, sensors, sources, owners), sources)
    return Expected(math.sqrt(own), math.sqrt(max(whole - own, 0.0)))


def _variance(owed: Owed, sources: Sources) -> float:
    """Variance (m2) of all that a number owes."""
    rates = owed.edge + owed.strikes
    shares = np.empty(len(rates))
    write_shares(rates, sources.standard, sources.root.ravel(), np.empty(sources.root.shape[1]), shares)
    return float(shares.sum() + owed.rest.sum())
