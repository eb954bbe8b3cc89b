"""Nonlinear least squares with exact derivatives: values, their covariance, and a check that they are the ones.

Gauss and Newton's steps as long as each betters the sum; where they do not come home, a trust region first (scipy, after
Levenberg, Marquardt, Branch, Coleman and Li 1999). It has converged where what such a step would still move is nothing
beside what the values are uncertain by, the relative offset of Bates and Watts (1981).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from .errors import Fault, Refused

Floats = NDArray[np.float64]
Function = Callable[[Floats], Floats]
LEAST_RATIO = 1e-11
"""Of the largest singular value of the scaled Jacobian: a direction below is not seen at all, only rounding is."""
_TOLERANCE = 1e-12
_MOST_CALLS = 400
_STEPS, _FARTHEST = 30, 100.0  # of Gauss and Newton; each in scales
_ROUNDING = 1e-12  # of a sum of squares
_ROUNDED = 1e-12  # of a residual's standard deviation: what is left of a metre told in some millimetres
_OFFSET = 1e-7  # of a standard deviation
_STEP = 1e-11  # of a scale


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """`values` (k,); `covariance` (k, k) of them where each residual has a variance of 1; `residuals` (m,) and `jacobian`
    (m, k) there; `sum_of_squares` of the residuals, `freedom` how many there are beyond the values."""

    values: Floats
    covariance: Floats
    residuals: Floats
    jacobian: Floats
    sum_of_squares: float
    freedom: int

    @property
    def residual_variance(self) -> float:
        """Of one residual, as they turned out to be: times this, `covariance` needs no variance known beforehand."""
        return self.sum_of_squares / self.freedom


def fit(
    residuals: Function, jacobian: Function, start: Floats, *, scales: Floats, loss: str = "linear",
) -> Fitted:  # fmt: skip
    """The values that make the sum of squares of `residuals` least.

    `residuals`: (k,) to (m,), each over its own standard deviation; `jacobian`: to (m, k), exact. `scales` (k,): how far
    each value may be expected to go; 0.001 for an angle of some hundredths of a rad. `loss` "linear", or "soft_l1": one
    residual of 60 then counts as a small one of some 10 would, so that it shows instead of bending the rest. Residuals
    [b - 3, b - 5] from anywhere: 4, its covariance 0.5.

    Raises `Refused`: "too-few" with fewer residuals than values, "not-separable" where a combination of values changes
    no residual, "not-converged".
    """
    first = residuals(start)
    if len(first) < len(start):
        raise Refused(
            [Fault("too-few", "", f"{len(first)} residuals", f"at least {len(start)}, one a value")]
        )
    if loss == "linear":
        best = _polished(residuals, jacobian, start, scales)
        if best is not None and _offset(best, scales) <= _OFFSET:
            return best
    found = least_squares(
        lambda scaled: residuals(scaled * scales), start / scales, lambda scaled: jacobian(scaled * scales) * scales,
        method="trf", loss=loss, ftol=_TOLERANCE, xtol=_TOLERANCE, gtol=_TOLERANCE, max_nfev=_MOST_CALLS,
    )  # fmt: skip
    values = found.x * scales
    if loss != "linear":
        if not found.success:
            raise _not_converged("it went on changing")
        return _fitted(values, residuals(values), jacobian(values), scales)
    best = _polished(residuals, jacobian, values, scales)
    if best is None:
        return _fitted(values, residuals(values), jacobian(values), scales)  # which tells why
    offset = _offset(best, scales)
    if not offset <= _OFFSET:
        raise _not_converged(f"a step of {offset:.1g} standard deviations is left")
    return best


def _polished(residuals: Function, jacobian: Function, start: Floats, scales: Floats) -> Fitted | None:
    """Where steps of Gauss and Newton lead from here, while they better the sum or go on getting shorter; None where even
    the first has no direction."""
    try:
        best = _fitted(start, residuals(start), jacobian(start), scales)
        for _ in range(_STEPS):
            offset = _offset(best, scales)
            if offset <= _STEP:
                break
            step = _step(best)
            if not (np.abs(step) <= _FARTHEST * scales).all():
                break
            values = best.values + step
            r = residuals(values)
            if not float(r @ r) <= best.sum_of_squares * (1.0 + _ROUNDING) + _rounded(best):
                break
            again = _fitted(values, r, jacobian(values), scales)
            if offset <= _OFFSET and not _offset(again, scales) < offset:
                break
            best = again
    except Refused:
        return None
    return best


def _rounded(at: Fitted) -> float:
    """How much rounding of each residual may change the sum: much, beside a sum that is small by good luck."""
    return 2.0 * _ROUNDED * float(np.sqrt(len(at.residuals) * at.sum_of_squares))


def _step(at: Fitted) -> Floats:
    step: Floats = -at.covariance @ (at.jacobian.T @ at.residuals)
    return step


def _offset(at: Fitted, scales: Floats) -> float:
    """What a step of Gauss and Newton would move: of the standard deviations as the residuals tell them, or, where those
    are next to nothing, of the scales."""
    step = np.abs(_step(at))
    size = np.sqrt(np.diagonal(at.covariance) * at.sum_of_squares / max(at.freedom, 1))
    moved = np.minimum(step / np.maximum(size, 1e-300), step / scales * (_OFFSET / _STEP))
    return float(np.max(moved, initial=0.0))


def _fitted(values: Floats, r: Floats, j: Floats, scales: Floats) -> Fitted:
    _, s, vt = np.linalg.svd(j * scales, full_matrices=False)
    if not s[-1] > LEAST_RATIO * s[0]:
        raise Refused([
            Fault("not-separable", "", "a combination of values that changes no residual",
                  "values that each leave a trace of their own", "leave one out, or observe more")
        ])  # fmt: skip
    root = (vt.T / s) * scales[:, None]
    return Fitted(values, root @ root.T, r, j, float(r @ r), len(r) - len(values))


def _not_converged(found: str) -> Refused:
    return Refused([
        Fault("not-converged", "", found, "values that no step betters", "start nearer, or ask for fewer values")
    ])  # fmt: skip
