"""The law of propagation of uncertainty: how well outputs are known through inputs that are not known exactly.

Knows no machine: a rate is the unit of its output per that of its input. Words, symbols and clauses: JCGM 100:2008
(GUM). Its Monte Carlo counterpart is `monte_carlo`.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, overload

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from .errors import Fault, Refused, refuse
from .shares import write_all_shares
from .uncertain_inputs import EPS, MOST_FAULTS, ROUNDING, Floats, Inputs, numbers, probability_faults

__all__ = ["Combined", "Inputs", "Series", "combine", "coverage", "rates_of"]

STEP = 1e-3
"""Of a number's own size, where the caller gives no step: errors of some 1e-12 of a smooth rate."""
UNSMOOTH = 0.01
"""Of the largest part that an output has: so far may its rates over a step and over half of it lie apart."""


@dataclass(frozen=True, slots=True, eq=False)
class Combined:
    """k outputs and how well they are known through n inputs, as `combine` finds it.

    `value` (k,) as given. `covariance` (k, k), `standard` (k,): combined standard uncertainties, in the outputs' units.
    `parts` (k, n): the share of each input in the variance, unit squared; they add up to it, and where inputs are
    correlated one may be negative. `freedom` (k,): effective degrees of freedom, inf where nothing limits them. 3 mm of
    zero and 4 mm of contact: parts 9 and 16 mm^2, standard 5 mm.
    """

    value: Floats | None
    covariance: Floats
    standard: Floats
    parts: Floats
    freedom: Floats

    @property
    def correlation(self) -> Floats:
        """(k, k), 1 with itself; 0 with an output that has no uncertainty, which goes with nothing."""
        scale = np.where(self.standard > 0.0, self.standard, 1.0)
        correlation = self.covariance / scale[:, None] / scale
        np.fill_diagonal(correlation, 1.0)
        return correlation


def combine(inputs: Inputs, rates: ArrayLike, value: ArrayLike | None = None) -> Combined:
    """How well k outputs are known: U_y = C U_x C^T (GUM 5.1.2, 5.2.2), C = `rates` (k, n), d output / d input.

    To first order: exact where outputs are linear in the inputs. Effective degrees of freedom by Welch and Satterthwaite
    (GUM G.4.1); inputs that hang together and have the same freedom, as readings taken at once, count there as one
    (R. Willink, Metrologia 44, 2007, from memory), so that all of one series keep its n - 1. Time and memory are those of
    C where nothing is correlated. Raises `Refused`: "wrong-length", "not-finite", "not-a-number".
    """
    faults: list[Fault] = []
    n = len(inputs.names)
    c = numbers("rates", rates, (None, n), faults)
    outputs = None if faults else len(c)
    y = None if value is None else numbers("value", value, (outputs,), faults)
    refuse(faults)
    with np.errstate(over="ignore", invalid="ignore"):
        scaled = c * inputs.standard
        size = (scaled * scaled).sum(axis=1)
        if not np.isfinite(n * size).all():
            raise Refused([Fault("not-finite", "rates", "a variance beyond double precision",
                                 "rates and uncertainties that can be squared", "look at their units")])  # fmt: skip
    root = np.empty((0, 0)) if inputs.root is None else inputs.root
    spread, parts = np.empty((len(c), root.shape[1])), np.empty_like(c)
    write_all_shares(c, inputs.standard, root.ravel(), spread, parts)
    if inputs.root is None:
        spread = scaled
    covariance = spread @ spread.T
    variance = np.diagonal(covariance)
    return Combined(y, covariance, np.sqrt(variance), parts, _effective(inputs, parts, variance))


@overload
def coverage(of: float, freedom: float | None = None, probability: float = 0.95) -> float: ...
@overload
def coverage(
    of: Combined | Floats, freedom: ArrayLike | None = None, probability: float = 0.95
) -> Floats: ...
def coverage(
    of: Combined | ArrayLike, freedom: ArrayLike | None = None, probability: float = 0.95
) -> Floats | float:
    """Half the width of the interval that holds the true value with this probability (GUM G.3): t_p(freedom) times
    standard uncertainty.

    `of`: what `combine` gave, or standard uncertainties. `freedom`: one or one each; None: that of `of`, inf for bare
    uncertainties. It is not cut to a whole number. The output is taken as normal (or t), not as one rectangular input
    makes it. 10 mm, known for sure: 19.6 mm at 95 %; from 5 readings: 27.8 mm.
    Raises `Refused`: "negative-uncertainty", "out-of-range" (freedom below 1, probability), "wrong-length", "not-finite".
    """
    faults: list[Fault] = []
    given = of.standard if isinstance(of, Combined) else of
    if freedom is None:
        freedom = of.freedom if isinstance(of, Combined) else math.inf
    standard = numbers("standard", given, None, faults)
    freedoms = numbers("freedom", freedom, None, faults, finite=False)
    if freedoms.ndim and freedoms.shape != standard.shape:
        faults.append(
            Fault("wrong-length", "freedom", f"shape {freedoms.shape}", "one number, or one each")
        )  # fmt: skip
    if (standard < 0.0).any():
        faults.append(Fault("negative-uncertainty", "standard", f"{standard.min():g}", "0 or more"))
    if not (freedoms >= 1.0 - ROUNDING).all():
        least = f"{freedoms.min():.3g}"
        faults.append(Fault("out-of-range", "freedom", least, "1 or more, or inf", "take more readings"))
    faults += probability_faults(probability)
    refuse(faults)
    tail = 0.5 * (1.0 - probability)
    sure = np.isinf(freedoms)
    half = np.where(sure, -ndtri(tail), -stdtrit(np.where(sure, 1.0, freedoms), tail)) * standard
    return float(half) if half.ndim == 0 else half


class Series(NamedTuple):
    """Means (n,) of n quantities read together again and again, and how well these are known."""

    means: Floats
    inputs: Inputs

    @classmethod
    def from_readings(cls, readings: ArrayLike, names: Sequence[str]) -> "Series":
        """Of readings (n, times), column by column taken at once: type A (GUM 4.2, 5.2.3).

        The means, their standard uncertainties s / sqrt(times), their correlations as the readings show them, freedom
        times - 1. Five readings that scatter by 2.2 mm: 1.0 mm, freedom 4. What all of them share (a zero, a step of the
        display) is not seen. Raises `Refused`: "too-few-readings" below two times, "wrong-length", "not-finite".
        """
        faults: list[Fault] = []
        rows = numbers("readings", readings, (len(names), None), faults)
        refuse(faults)
        times = rows.shape[1]
        if times < 2:
            raise Refused([Fault("too-few-readings", "readings", f"{times} of each", "2 or more of each")])
        since = rows - rows[:, :1]  # what does not vary then shows no scatter at all
        rest = since - since.mean(axis=1, keepdims=True)
        covariance = rest @ rest.T / (times * (times - 1.0))
        inputs = Inputs.of_covariance(names, covariance, np.full(len(names), times - 1.0))
        return cls(rows[:, 0] + since.mean(axis=1), inputs)


def rates_of(
    function: Callable[[Floats], ArrayLike], at: ArrayLike, steps: ArrayLike | None = None
) -> Floats:
    """Rates (k, n) of any function of n numbers, which gives one number or k, at `at` (n,): for `combine`.

    Central differences over `steps` (n,) to either side and over half of them, extrapolated once (Richardson): the error
    goes with the fourth power of the step. Standard uncertainties do well as steps (GUM 5.1.3, note 2); None: a
    thousandth of each number. The rate of x^2 at 3 is 6. At a kink a number between both sides' comes out, or a
    refusal. What the function raises goes through.
    Raises `Refused`: "no-step" (a number that is 0, or a step too small to change it), "not-positive" (a step),
    "no-derivative" where the function is not smooth over the step, "not-finite", "wrong-length", "ragged".
    """
    faults: list[Fault] = []
    x = numbers("at", at, (None,), faults)
    h = STEP * np.abs(x) if steps is None else numbers("steps", steps, x.shape, faults)
    refuse(faults)
    if steps is not None:
        faults += [
            Fault("not-positive", f"steps.{i}", f"{h[i]:g}", "a step above 0")
            for i in np.flatnonzero(h <= 0.0)[:MOST_FAULTS].tolist()
        ]
    refuse(faults or [
        Fault("no-step", f"steps.{i}", f"a step of {h[i]:g} from {x[i]:g}", "a step that changes the number",
              "give steps, such as the standard uncertainties")
        for i in np.flatnonzero((x + 0.5 * h == x) | (x - 0.5 * h == x))[:MOST_FAULTS].tolist()
    ])  # fmt: skip
    middle = _of(function, x, None)
    wide = np.empty((len(middle), len(x)))
    near = np.empty_like(wide)
    size = np.empty_like(wide)
    for i in range(len(x)):
        for step, found in ((h[i], wide), (0.5 * h[i], near)):
            up, down = x.copy(), x.copy()
            up[i] += step
            down[i] -= step
            above, below = _of(function, up, len(middle)), _of(function, down, len(middle))
            with np.errstate(over="ignore"):
                found[:, i] = (above - below) / (up[i] - down[i])
            size[:, i] = np.maximum(np.abs(above), np.abs(below))
    refuse(
        Fault(
            "not-finite", f"at.{i}", "a rate beyond double precision", "a finite rate", "give a larger step"
        )
        for i in np.flatnonzero(~(np.isfinite(wide) & np.isfinite(near)).all(axis=0))[:MOST_FAULTS].tolist()
    )
    most = np.max(np.abs(near) * h, axis=1, keepdims=True, initial=0.0)
    unsmooth = np.abs(wide - near) * h > UNSMOOTH * most + 32.0 * EPS * size
    refuse(
        Fault("no-derivative", f"at.{i}", f"output {j} with a rate of {wide[j, i]:g} over a step of {h[i]:g}, "
              f"{near[j, i]:g} over half of it", "one that is nearly the same", "give a smaller step")
        for j, i in np.argwhere(unsmooth)[:MOST_FAULTS].tolist()
    )  # fmt: skip
    return near + (near - wide) / 3.0


def _effective(inputs: Inputs, parts: Floats, variance: Floats) -> Floats:
    """Degrees of freedom (k,) of outputs with these parts (k, n): 1 / sum(share^2 / freedom), GUM (G.2b) with shares."""
    freedom = np.full(len(variance), np.inf)
    if inputs.freedom is None:
        return freedom
    whole = variance[:, None]
    shares = np.divide(parts, whole, out=np.zeros_like(parts), where=whole > 0.0)
    if inputs.sets is not None:
        alone, shares = shares, np.zeros_like(shares)
        np.add.at(shares.T, inputs.sets, alone.T)
    limits = (shares * shares / inputs.freedom).sum(axis=1)
    np.divide(1.0, limits, out=freedom, where=limits > 0.0)
    return freedom


def _of(function: Callable[[Floats], ArrayLike], x: Floats, outputs: int | None) -> Floats:
    """What a function gives, as (k,) finite numbers; `outputs`: how many it gave before."""
    faults: list[Fault] = []
    given = function(x)
    found = numbers("function", given, None if np.ndim(given) == 0 else (outputs,), faults)
    refuse(faults)
    found = np.atleast_1d(found)
    if outputs not in (None, len(found)):
        raise Refused([Fault("wrong-length", "function", f"{len(found)} outputs", f"{outputs} as before")])
    return found
