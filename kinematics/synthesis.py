"""Linkage synthesis: geometry searched for a wanted bucket rotation, force curve or transmission.

Every candidate is assembled as a machine is (`assembly_rows`); one that does not close over its stroke is none. What is
found is geometry alone: strength, clearance and weight of links are for whoever designs them.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from . import linkage
from .assembly import JOINTS, Assembly
from .assembly_rows import Built, bar_at, built
from .compiled import compiled
from .errors import Fault, Refused, refuse
from .linkage import joint_from_cylinder
from .machine import Cylinder
from .parameters import NAMES
from .rates import triangle_rates
from .search import Keep, Searched, SearchState, Tell, search
from .study import parameter_faults

Measure = Literal["rotation", "transmission", "lever_curve"]
MEASURES: tuple[Measure, ...] = ("rotation", "transmission", "lever_curve")
Floats = NDArray[np.float64]
_AT = 2 * JOINTS.index("bucket")
_FOOT_X, _FOOT_Z, _IDLER = (
    NAMES.index(name) for name in ("bucket_cylinder_foot_x", "bucket_cylinder_foot_z", "idler_length")
)


@dataclass(frozen=True, slots=True)
class Goal:
    """What is to be had. "rotation": the bucket turns `wanted` (rad) in all, as near as can be. "transmission": the angle
    between power link and pin line as far from 0 and 180 deg as can be, over the whole stroke. "lever_curve": at the
    shares `at` of the cylinder's stroke, metres of cylinder a radian of bucket as near to `curve` as can be (root
    mean square, relative): times the cylinder's force it is the moment that curls the bucket."""

    measure: Measure
    wanted: float = math.nan
    at: tuple[float, ...] = ()
    curve: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Limit:
    """What must be kept to: "rotation" or "transmission" (rad) of at least `low`, at most `high`."""

    measure: Measure
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True, slots=True, eq=False)
class Synthesis:
    """What was found, best first by the first goal: `numbers` (n, varied) of `names`; `rotation`, `transmission`
    (n,), rad, `levers` (n, places), m/rad, at the shares of the stroke `at`; `searched` the search itself."""

    names: tuple[str, ...]
    numbers: Floats
    rotation: Floats
    transmission: Floats
    at: tuple[float, ...]
    levers: Floats
    searched: Searched = field(repr=False)


def synthesis(
    assembly: Assembly, ranges: Mapping[str, tuple[float, float]], goals: Sequence[Goal], limits: Sequence[Limit] = (), *,
    seed: int = 0, generations: int = 60, candidates: int = 64, tell: Tell = lambda _done, _of: True,
    keep: Keep = lambda _state: None, state: SearchState | None = None,
) -> Synthesis:  # fmt: skip
    """Geometry of a bucket linkage between `ranges` (m, rad) of its parameters that comes nearest to one goal, or
    the front of two: candidates of which none betters another in both. The same for one seed; `keep` and `state` as
    `search` has them.

    Raises `Refused` with every fault: "no-linkage", "unknown-parameter", "no-such-parameter", "out-of-range", "ragged",
    "wrong-size", "unknown-goal", "given-twice"; "nothing-found".
    """
    refuse(synthesis_faults(assembly, ranges, goals, limits))
    names = tuple(ranges)
    places = next((goal.at for goal in goals if goal.measure == "lever_curve"), (0.0, 0.25, 0.5, 0.75, 1.0))
    told = _Told(assembly, names, places)

    def judge(numbers: Floats) -> tuple[Floats, Floats]:
        measured = told.of(numbers)
        judged = np.stack([_shortfall(goal, measured) for goal in goals], axis=1)
        missed = np.where(measured.ok, 0.0, 1.0)
        for limit in limits:
            values = getattr(measured, limit.measure)
            missed = missed + np.nan_to_num(
                np.maximum(limit.low - values, 0.0) + np.maximum(values - limit.high, 0.0)
            )
        return np.nan_to_num(judged, nan=0.0), missed

    low, high = zip(*ranges.values(), strict=True)
    found = search(
        judge, low, high, len(goals), seed=seed, generations=generations, candidates=candidates, tell=tell, keep=keep,
        state=state,
    )  # fmt: skip
    measured = told.of(found.numbers)
    return Synthesis(
        names, found.numbers, measured.rotation, measured.transmission, places, measured.levers, found
    )


def synthesis_faults(
    assembly: Assembly,
    ranges: Mapping[str, tuple[float, float]],
    goals: Sequence[Goal],
    limits: Sequence[Limit],
) -> Iterator[Fault]:
    """What `synthesis` would refuse before it searches."""
    if assembly.links is None or "bucket" not in assembly.cylinders:
        yield Fault("no-linkage", "", "a machine without a measured bucket linkage and cylinder",
                    "idler, power link and bucket cylinder in the profile", "measure them")  # fmt: skip
    for fault in parameter_faults(assembly, tuple(ranges)):
        yield fault.at("ranges")
    for name, (low, high) in ranges.items():
        if not (math.isfinite(low) and math.isfinite(high) and low < high):
            yield Fault(
                "out-of-range", f"ranges.{name}", f"{low:g} to {high:g}", "low below high, both finite"
            )
    if not ranges:
        yield Fault("wrong-size", "ranges", "nothing that may change", "one parameter at least")
    if len(goals) not in (1, 2):
        yield Fault("wrong-size", "goals", str(len(goals)), "one goal, or two for their front")
    for i, goal in enumerate(goals):
        yield from (fault.at(f"goals.{i}") for fault in _goal_faults(goal))
        if goal.measure in (each.measure for each in goals[:i]):
            # Levers are measured at one list of shares; two of anything else would only be apart by what is wanted.
            yield Fault("given-twice", f"goals.{i}", f"{goal.measure} a second time", "two goals of different measures",
                        "say it in one goal; a curve takes any number of places")  # fmt: skip
    for i, limit in enumerate(limits):
        if limit.measure not in ("rotation", "transmission") or not limit.low < limit.high:
            yield Fault("unknown-goal", f"limits.{i}", f"{limit.measure}, {limit.low:g} to {limit.high:g}",
                        "rotation or transmission, low below high")  # fmt: skip


def _goal_faults(goal: Goal) -> Iterator[Fault]:
    match goal.measure:
        case "rotation":
            if not 0.0 < goal.wanted < 2.0 * math.pi:
                yield Fault(
                    "out-of-range", "wanted", f"{goal.wanted:g} rad", "more than 0 and less than a turn"
                )
        case "transmission":
            pass
        case "lever_curve":
            if not goal.at or len(goal.at) != len(goal.curve):
                yield Fault(
                    "ragged",
                    "curve",
                    f"{len(goal.curve)} values at {len(goal.at)} places",
                    "one at each place",
                )
            for k, share in enumerate(goal.at):
                if not 0.0 <= share <= 1.0:
                    yield Fault("out-of-range", f"at.{k}", f"{share:g}", "a share of the stroke from 0 to 1")
            for k, value in enumerate(goal.curve):
                if not value > 0.0:
                    yield Fault("out-of-range", f"curve.{k}", f"{value:g} m/rad", "more than 0")
        case _:
            yield Fault("unknown-goal", "measure", repr(goal.measure), "one of " + ", ".join(MEASURES))


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    ok: NDArray[np.bool_]
    rotation: Floats
    transmission: Floats
    levers: Floats


class _Told:
    """What candidates measure, a population at once."""

    def __init__(self, assembly: Assembly, names: tuple[str, ...], places: tuple[float, ...]) -> None:
        cylinder = assembly.cylinders["bucket"]
        if not isinstance(cylinder, Cylinder) or assembly.links is None:
            raise Refused([Fault("no-linkage", "", "no bucket cylinder", "one in the profile")])
        self._assembly, self._names, self._branch = assembly, names, assembly.links[6]
        stroke = cylinder.stroke
        self._lengths = stroke.low + np.array(places) * (stroke.high - stroke.low)
        self._extending = float(cylinder.extending)

    def of(self, numbers: Floats) -> _Measured:
        """Of candidates (n, names)."""
        records = np.repeat(self._assembly.parameters, len(numbers))
        for i, name in enumerate(self._names):
            records[name] = numbers[:, i]
        made: Built = built(self._assembly, records, self._names)
        flat = records.view(np.float64).reshape(len(records), len(NAMES))
        levers = np.full((len(records), len(self._lengths)), np.nan)
        write_levers(flat, made.status, self._lengths, self._extending, self._branch, levers)
        rotation = made.ranges[:, _AT + 1] - made.ranges[:, _AT]
        return _Measured(made.status == 0, rotation, made.transmission, levers)


def _shortfall(goal: Goal, measured: _Measured) -> Floats:
    """What is to be made small: rad, rad away from 90 deg, or a relative root mean square."""
    if goal.measure == "rotation":
        return np.abs(measured.rotation - goal.wanted)
    if goal.measure == "transmission":
        return np.asarray(0.5 * math.pi - measured.transmission)
    off = measured.levers / np.array(goal.curve) - 1.0
    return np.asarray(np.sqrt((off**2).mean(axis=1)))


@compiled
def write_levers(
    flat: Floats, status: NDArray[np.uint8], lengths: Floats, extending: float, branch: float, out: Floats
) -> None:
    """Metres of bucket cylinder a radian of bucket, without its sign, into `out` (n, lengths) for rows whose status
    is 0."""
    for row in range(flat.shape[0]):
        if status[row] != linkage.OK:
            continue
        m = flat[row]
        for k in range(lengths.shape[0]):
            idler, _, _ = joint_from_cylinder(lengths[k], m[_FOOT_X], m[_FOOT_Z], m[_IDLER], 0.0, extending)
            _, _, ratio, _ = bar_at(m, idler, branch)
            by_idler, _, _, _, _ = triangle_rates(idler, m[_FOOT_X], m[_FOOT_Z], m[_IDLER], 0.0)
            out[row, k] = abs(by_idler / ratio)
