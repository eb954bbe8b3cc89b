"""Which unknowns a set of postures can tell apart: singular values of what is seen by what is looked for.

Columns count in the profile's own standard uncertainties, rows in what an observation is uncertain by, and what each
group counts from is projected out. So a singular value of 1 is a direction that the observations know just as well as
the profile did; of 10 ten times better.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .calibration_checks import checked
from .calibration_fit import Fitter
from .calibration_model import Model
from .calibration_words import alone, together
from .errors import Fault
from .sensor_set import SensorSet
from .sources import Sources
from .touched import HeightSeen, Seen

Floats = NDArray[np.float64]
KNOWN = 1.0
"""Below, the profile knows a direction better than the observations do: told."""
HARDLY_SEEN, MOST_RAD, MOST_M = 0.2, math.radians(0.5), 0.05
"""Lost and refused: what is known five times worse and no better than to 0.5 deg or 50 mm: noise would come out."""
_NOTHING = 1e-6
_SHARE = 0.25  # of the largest part: what is less is not named
_SHOWN = 2.0  # standard uncertainties of the profile


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """A direction of the unknowns that is hardly seen: `names` and `by` how much of each (rad or m), which together
    change no observation by more than `moves` (m, of lines alone rad) against its group. `seen`: its singular value;
    `lost`: hardly at all, see `HARDLY_SEEN`; `words`."""

    names: tuple[str, ...]
    by: tuple[float, ...]
    moves: float
    seen: float
    lost: bool
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Separable:
    """`singular_values` (k,), largest first, and `directions` (k, k), a row each in profile's standard uncertainties of
    the `unknowns`; `together`: every direction seen less well than the profile knows it, worst first."""

    unknowns: tuple[str, ...]
    singular_values: Floats
    directions: Floats
    together: tuple[Together, ...]

    @property
    def well(self) -> bool:
        """Whether no direction is lost."""
        return not any(each.lost for each in self.together)


def separable(
    sensors: SensorSet, sources: Sources, unknowns: Sequence[str], seen: Sequence[Seen]
) -> Separable:
    """What of the unknowns these observations can tell apart, at the values that the set has.

    Boom and stick by encoders, one fixed point touched with the arm always as far out: both zeros raise the edge alike
    all over, and "boom.zero and stick.zero together" comes with a singular value near 0. Raises `Refused` as
    `calibration.calibrate` does of unknowns and observations, but not for what cannot be separated.
    """
    model = checked(sensors, sources, unknowns, seen, enough=False)
    return separated(Fitter(model))


def separated(fitter: Fitter) -> Separable:
    """The same of what is laid out already."""
    model = fitter.model
    s, directions = spectrum(fitter, model.start.jacobian)
    found: list[Together] = []
    unseen = np.array([not _moves(model, np.eye(len(s))[j] * model.own) > 0.0 for j in range(len(s))])
    for j in np.flatnonzero(unseen).tolist():
        name = model.unknowns[j]
        by = (_SHOWN * float(model.own[j]),)
        found.append(Together((name,), by, moves=0.0, seen=0.0, lost=True, words=alone(name)))
    rest = ~unseen
    low = [
        i
        for i in range(len(s) - 1, -1, -1)
        if s[i] < KNOWN and np.abs(directions[i, rest]).max(initial=0.0) > _NOTHING
    ]
    lost = [i for i in low if _is_lost(model, directions[i], float(s[i]))]
    rows = _apart(directions[lost][:, rest]) if len(lost) > 1 else directions[lost][:, rest]
    for i, row in zip(lost, rows, strict=False):
        found.append(_together(model, _whole(row, rest), float(s[i]), lost=True))
    for i in [i for i in low if i not in lost]:
        found.append(_together(model, directions[i], float(s[i]), lost=False))
    return Separable(model.unknowns, s, directions, tuple(found))


def spectrum(
    fitter: Fitter, jacobian: Floats, taken: NDArray[np.int64] | None = None
) -> tuple[Floats, Floats]:
    """(singular values (k,), largest first; right singular vectors as rows (k, k)) of scaled rates (N, k) of what is laid
    out, or of these observations of it."""
    of = np.arange(len(jacobian)) if taken is None else taken
    groups = fitter.in_group[of]
    groups = groups[:, groups.any(axis=0)]
    white = fitter.whitened(of, np.hstack([jacobian[of] * fitter.model.own, groups]))
    k = jacobian.shape[1]
    if white.shape[1] > k:
        u, _ = np.linalg.qr(white[:, k:])
        white = white[:, :k] - u @ (u.T @ white[:, :k])
    padded = np.vstack([white, np.zeros((max(k - len(white), 0), k))])
    _, s, directions = np.linalg.svd(padded, full_matrices=False)
    return s, directions


def faults_of(found: Separable) -> list[Fault]:
    """A fault "not-separable" for each direction that is lost."""
    return [
        Fault("not-separable", "unknowns", each.words, "postures that show each unknown by itself",
              "touch in more and other postures, or take one of them out; ask for the next posture that would help",
              {"singular_value": each.seen})
        for each in found.together if each.lost
    ]  # fmt: skip


def _is_lost(model: Model, direction: Floats, seen: float) -> bool:
    left = np.abs(direction) * model.own / max(seen, 1e-300)
    return seen < HARDLY_SEEN and bool((left > np.where(model.lengths, MOST_M, MOST_RAD)).any())


def _whole(row: Floats, rest: NDArray[np.bool_]) -> Floats:
    whole = np.zeros(len(rest))
    whole[rest] = row
    return whole


def _apart(rows: Floats) -> Floats:
    """Other directions of the same space, each with one unknown that no other has: plainer to read (Gauss, Jordan)."""
    found = rows.copy()
    for i in range(len(found)):
        j = int(np.argmax(np.abs(found[i])))
        if abs(found[i, j]) < _NOTHING:
            continue
        found[i] /= found[i, j]
        for other in range(len(found)):
            if other != i:
                found[other] -= found[other, j] * found[i]
    sizes = np.linalg.norm(found, axis=1, keepdims=True)
    plain: Floats = found[sizes[:, 0] > _NOTHING] / sizes[sizes[:, 0] > _NOTHING]
    return plain


def _moves(model: Model, change: Floats) -> float:
    """How far (m; rad of lines alone) a change of the unknowns moves any observation against its group, at most."""
    by = model.start.jacobian @ change
    heights = model.groups >= 0
    if not heights.any():
        return float(np.abs(by).max())
    for group in range(len(model.group_names)):
        of = model.groups == group
        by[of] -= 0.5 * (by[of].max() + by[of].min())
    most = float(np.abs(by).max())
    plain = float(np.abs(model.start.jacobian @ np.abs(change)).max(initial=0.0))
    return most if most > _NOTHING * plain else 0.0


def _together(model: Model, direction: Floats, seen: float, *, lost: bool) -> Together:
    parts = np.abs(direction)
    order = np.argsort(-parts)
    named = [int(j) for j in order if parts[j] >= _SHARE * parts.max()]
    change = direction * model.own * (_SHOWN / parts.max())
    if change[named[0]] < 0.0:
        change = -change
    names = tuple(model.unknowns[j] for j in named)
    by = tuple(float(change[j]) for j in named)
    moves = _moves(model, np.where(np.isin(np.arange(len(change)), named), change, 0.0))
    of_lines = not any(isinstance(one, HeightSeen) for one in model.seen)
    words = together(names, by, [bool(model.lengths[j]) for j in named], moves, of_lines=of_lines, lost=lost)
    return Together(names, by, moves, seen, lost, words)
