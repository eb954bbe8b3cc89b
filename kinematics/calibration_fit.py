"""The unknowns that explain what was seen best, and which observations they cannot explain.

Errors of observations are one each (contact, noise) and shared (what stays as it is and is not looked for: skews, other
dimensions, drift): V = D + H H^T. With V the estimate is the best linear one (Gauss, Markov, Aitken), its covariance
counts what is held with what is observed, and the sum of squares has its distribution though the held is not exact.

Blunders are found by Baarda's data snooping with all of V: w = e^T P r / sqrt(e^T P Q P e), P = V^-1, Q the residuals'
covariance; a normal deviate without a blunder. A robust fit first keeps several from hiding each other.
Source: W. Baarda, A testing procedure for use in geodetic networks (1968), from memory.
"""

import contextlib
import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from .calibration_model import Model, Told
from .errors import Fault, Refused, refuse
from .least_squares import Fitted, fit

Floats = NDArray[np.float64]
Which = NDArray[np.bool_]
CRITICAL = 3.2905
"""Of a normal deviate, either way: one in a thousand. Of 60 observations without a blunder one is doubted in 6 % of all
calibrations."""
CHECKED = 0.1
"""Of an error of one observation, the part that the others show; below, it would go unseen."""
MOST_SUSPECTS = 0.2
LEVEL = 0.05
MOST_WIDENED = 5.0
"""Residuals this many times what they should be are no uncertainty any more: something else is wrong."""
_OFFSET_M = 0.01
_TO_DEVIATION = 1.4826  # from a median of absolute normal deviates


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """One fit to the observations of `used` (N,).

    `values` (k,), `covariance` (k, k); `offsets` (groups,), NaN of a group of which nothing is used. Of every
    observation (N,): `off`: how far it is from what the others say (m, rad, observed minus told); `spread`: the
    standard uncertainty of that; `checked`: 0 to 1; `w` = off / spread, NaN of what nothing checks.
    """

    used: Which
    values: Floats
    covariance: Floats
    offsets: Floats
    told: Told
    off: Floats
    spread: Floats
    checked: Floats
    sum_of_squares: float
    freedom: int

    @property
    def w(self) -> Floats:
        """Baarda's w of what is used; of what is not, the same deviate of its prediction."""
        found: Floats = self.off / self.spread
        return found


class Fitter:
    """Fits of one `Model`, its errors as they are at the set's own values."""

    def __init__(self, model: Model) -> None:
        self.model = model
        fresh, held = model.fresh(), model.held()
        self.variance = np.diag(fresh) + held @ held.T
        count = len(model.group_names)
        self.in_group = (model.groups[:, None] == np.arange(count)).astype(np.float64)
        sizes = self.in_group.sum(axis=0)
        centred = np.eye(len(fresh)) - self.in_group @ (self.in_group / np.maximum(sizes, 1.0)).T
        # Alone in its group an observation says nothing, with any deviation.
        self.marginal = np.sqrt(np.maximum(np.diagonal(centred @ self.variance @ centred.T), fresh))

    def whitened(self, used: Which | NDArray[np.int64], columns: Floats) -> Floats:
        """Columns (of what is used) over the root of their covariance."""
        white: Floats = self._white(used) @ columns
        return white

    def _white(self, used: Which | NDArray[np.int64]) -> Floats:
        # By the small matrix itself: triangular solvers wait for threads.
        inverse: Floats = np.linalg.inv(np.linalg.cholesky(self.variance[np.ix_(used, used)]))
        return inverse

    def solve(self, used: Which, start: Floats, *, robust: bool = False) -> Solved:
        """The fit to what is used, from these values; `robust`: each residual for itself, large ones counted less."""
        model, k = self.model, len(start)
        groups = np.flatnonzero(self.in_group[used].any(axis=0))
        ones = self.in_group[np.ix_(used, groups)]
        observed = model.observed[used]
        white = np.diag(1.0 / self.marginal[used]) if robust else self._white(used)

        @functools.lru_cache(maxsize=2)
        def told(of: bytes) -> Told:
            return model.tell(np.frombuffer(of))

        def residuals(x: Floats) -> Floats:
            try:
                r: Floats = white @ (told(x[:k].tobytes()).told[used] + ones @ x[k:] - observed)
            except Refused:  # a step too far: the search takes a shorter one
                r = np.full(len(observed), math.nan)
            return r

        def jacobian(x: Floats) -> Floats:
            j: Floats = white @ np.hstack([told(x[:k].tobytes()).jacobian[used], ones])
            return j

        first = told(start.tobytes()).told[used]
        offsets = (ones.T @ (observed - first)) / ones.sum(axis=0)
        scales = np.concatenate([model.own, np.full(len(groups), _OFFSET_M)])
        found = fit(
            residuals, jacobian, np.concatenate([start, offsets]), scales=scales,
            loss="soft_l1" if robust else "linear",
        )  # fmt: skip
        every = np.full(len(model.group_names), math.nan)
        every[groups] = found.values[k:]
        return self._solved(used, found, every, white, told(found.values[:k].tobytes()))

    def _solved(self, used: Which, found: Fitted, offsets: Floats, white: Floats, told: Told) -> Solved:
        model, k = self.model, len(self.model.unknowns)
        # Out of the residuals' space: (I - U U^T) white, U the columns of the whitened Jacobian made square.
        u, _ = np.linalg.qr(found.jacobian)
        left = white - u @ (u.T @ white)
        shown = (left**2).sum(axis=0)
        off, spread, checked = (np.full(len(used), math.nan) for _ in range(3))
        checked[used] = shown / (white**2).sum(axis=0)
        seen = np.where(checked[used] > CHECKED, shown, math.nan)
        off[used] = -(left.T @ found.residuals) / seen
        spread[used] = 1.0 / np.sqrt(seen)
        for i in np.flatnonzero(~used).tolist():
            group = model.groups[i]
            if group >= 0 and math.isnan(offsets[group]):
                continue
            row = np.concatenate([told.jacobian[i], self.in_group[i, ~np.isnan(offsets)]])
            by = white @ self.variance[used, i]
            e = told.told[i] + (offsets[group] if group >= 0 else 0.0) - model.observed[i]
            row = row - by @ found.jacobian
            off[i] = by @ found.residuals - e
            spread[i] = math.sqrt(self.variance[i, i] - by @ by + row @ found.covariance @ row)
            checked[i] = 1.0
        return Solved(
            used, found.values[:k], found.covariance[:k, :k], offsets, told, off, spread, checked,
            found.sum_of_squares, found.freedom,
        )  # fmt: skip

    def residual_spread(self, best: Solved) -> Floats:
        """(N,): what the residual of each observation should be, standard (m, rad); of a suspect as of its prediction."""
        used = best.used
        groups = ~np.isnan(best.offsets)
        columns = np.hstack([best.told.jacobian[used], self.in_group[np.ix_(used, groups)]])
        u, _ = np.linalg.qr(self.whitened(used, columns))
        root = np.linalg.cholesky(self.variance[np.ix_(used, used)])
        taken = root @ u
        found = best.spread.copy()
        left = np.diagonal(self.variance)[used] - (taken**2).sum(axis=1)
        found[used] = np.sqrt(np.maximum(left, 0.0))
        return found

    def search(self) -> Solved:
        """The fit to all that agrees: without suspects. Raises `Refused`: "too-many-suspects", "undecided", as `fit`, and
        as `Model.tell`."""
        model = self.model
        everything = np.ones(len(model.seen), dtype=np.bool_)
        plain = None
        with contextlib.suppress(Refused):  # blunders may leave nothing to converge to
            plain = self.solve(everything, model.was)
        if plain is not None and _sound(plain):
            return plain
        robust = self.solve(everything, model.was, robust=True)
        used = ~self._far(robust)
        now = self.solve(used if self._enough(used) else everything, robust.values)
        met: set[bytes] = set()
        most = MOST_SUSPECTS * len(everything)
        while now.used.tobytes() not in met and (~now.used).sum() <= most:
            met.add(now.used.tobytes())
            change = _next_change(now)
            if change is None:
                break
            used = now.used.copy()
            used[change] = not used[change]
            if not self._enough(used):
                break
            now = self.solve(used, now.values)
        refuse(self._undecided(now))
        lost = int((~now.used).sum())
        if lost > most:
            names = ", ".join(model.seen[i].name for i in np.flatnonzero(~now.used).tolist())
            raise Refused([
                Fault("too-many-suspects", "seen", f"{lost} of {len(now.used)} that the others contradict: {names}",
                      f"at most a fifth, {int(most)}",
                      "look at these, at units and signs, and at whether the point or the machine moved meanwhile")
            ])  # fmt: skip
        return now

    def _undecided(self, now: Solved) -> Iterator[Fault]:
        """Suspects in whose place another observation might as well be left out: what contradicts what is open then, and
        the order in which they were given must not decide."""
        for i in np.flatnonzero(~now.used).tolist():
            for j in np.flatnonzero(now.used & np.isnan(now.off)).tolist():
                swapped = now.used.copy()
                swapped[[i, j]] = True, False
                try:
                    other = self.solve(swapped, now.values)
                except Refused:  # without it nothing is left to find something by
                    continue
                if other.sum_of_squares <= max(now.sum_of_squares, bound(other.freedom)):
                    one, two = (self.model.seen[k].name for k in sorted((i, j)))
                    yield Fault(
                        "undecided", f"seen.{max(i, j)}", f"{one} and {two}, which contradict each other",
                        "observations of which the others can tell which one is off",
                        "look at both, and observe a third time what only they show",
                    )  # fmt: skip

    def _far(self, robust: Solved) -> Which:
        """The observations that a robust fit leaves furthest, at most as many as may be suspects."""
        model = self.model
        offsets = np.append(robust.offsets, 0.0)[model.groups]  # -1, of a line, is the last
        apart = np.abs(robust.told.told + offsets - model.observed) / self.marginal
        limit = CRITICAL * max(1.0, _TO_DEVIATION * float(np.median(apart)))
        most = int(MOST_SUSPECTS * len(apart))
        far = np.zeros(len(apart), dtype=np.bool_)
        for i in np.argsort(-apart)[:most].tolist():
            far[i] = apart[i] > limit
        return far

    def _enough(self, used: Which) -> bool:
        groups = int(self.in_group[used].any(axis=0).sum())
        return int(used.sum()) - groups > len(self.model.unknowns)


def bound(freedom: int) -> float:
    """What a sum of squares of so many normal deviates passes in one case of 20."""
    return float(chdtri(freedom, LEVEL)) if freedom else 0.0


def _scale(now: Solved) -> float:
    """How much larger the deviates are than they should be, blunders or not: from their median, 1 at least."""
    w = np.abs(now.w[now.used])
    w = w[np.isfinite(w)]
    return max(1.0, _TO_DEVIATION * float(np.median(w))) if len(w) else 1.0


def _sound(now: Solved) -> bool:
    w = np.abs(now.w)
    return now.sum_of_squares <= bound(now.freedom) and not bool((w[np.isfinite(w)] > CRITICAL).any())


def _next_change(now: Solved) -> int | None:
    """Which observation to take back in, else which to leave out; None where neither is called for."""
    w = np.abs(now.w)
    limit = CRITICAL * _scale(now)
    out = np.where(~now.used & np.isfinite(w), w, math.inf)
    if out.min() <= limit:
        return int(np.argmin(out))
    worst = np.where(now.used & np.isfinite(w), w, 0.0)
    return int(np.argmax(worst)) if worst.max() > limit else None
