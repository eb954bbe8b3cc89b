"""Whether the 95 % interval holds the truth 95 times in 100, on machines that are not quite their profiles."""

import math

import numpy as np
import pytest

from kinematics.propagation import coverage
from tests.amounts import several

from .trust_chains import job
from .trust_truth import Truth

TRIALS = several(2000)
# Four standard deviations of a share of 95 % in so many trials, sqrt(0.95 x 0.05 / n) each: of 2000, 93 to 97 %.
BESIDE = 0.02 * math.sqrt(2000 / TRIALS)


@pytest.mark.parametrize(
    ("pair", "kind"),
    [
        ("midi-8t with digging-1500", "touch"),
        ("crawler-14t with coupled-900", "turning"),
        ("crawler-14t with tilting-1800", "laser"),
    ],
)
def test_the_interval_holds_the_truth(pair: str, kind: str) -> None:
    of, rng = job(pair, kind), np.random.default_rng(20)
    found = np.array([Truth(of, kind, rng).run() for _ in range(TRIALS)])
    assert np.all(np.isfinite(found))
    errors, standards = found.T
    half = coverage(standards, np.full(TRIALS, math.inf))
    held = float(np.mean(np.abs(errors) <= half))
    print(
        f"{pair}, {kind}: held {held:.4f}, drawn {np.std(errors) * 1e3:.2f} mm, told {np.mean(standards) * 1e3:.2f} mm"
    )
    assert abs(held - 0.95) <= BESIDE
    # Root of the mean square against what was told, with 4 sigma of its own and the second order.
    assert abs(math.sqrt(np.mean((errors / standards) ** 2)) - 1.0) <= 4.0 / math.sqrt(2.0 * TRIALS) + 0.01
    assert abs(np.mean(errors / standards)) <= 4.0 / math.sqrt(TRIALS) + 0.02
