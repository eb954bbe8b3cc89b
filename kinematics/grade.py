"""Targets and how far an edge is from them: layers, overdig, slopes, cut and fill, tolerance.

A target hangs below a benchmark. Metres; elevations positive up, depths positive down, slopes in percent.
Cut is how far the edge is ABOVE the target (must go down), fill how far below it.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from .errors import Fault, refuse
from .units import ratio_from_percent

# Binary noise of elevations of a few kilometres, far below what any rod shows: it must not decide "on grade".
NOISE_M = 1e-9


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a depth, named as on the drawing; `thickness_m` positive goes down.

    A finished floor 0.15 above the benchmark is a first layer of -0.15. `depth_below` and `Target` check it.
    """

    name: str
    thickness_m: float

    def faults(self, where: str) -> Iterator[Fault]:
        """What is wrong with it: no name, or a thickness that is not finite."""
        yield from _named(f"{where}.name", self.name)
        yield from _finite(f"{where}.thickness", self.thickness_m)


@dataclass(frozen=True, slots=True)
class Target:
    """What is to be dug: the layers' sum and the overdig below a benchmark.

    `tolerance_m` is half the on-grade band; `floor_limit_below_m` a depth below the benchmark never to be passed
    (no protection for utilities). `along_percent` rises away from the machine along the boom, `across_percent`
    is positive with the right side higher; the depth holds at station 0, right offset 0.
    Raises `Refused` with every fault: "no-name", "no-layer", "not-finite", "negative-overdig",
    "tolerance-not-positive", "floor-limit-above-target" (limit above the whole tolerance band at station 0).
    """

    name: str
    benchmark: str
    layers: tuple[Layer, ...]
    overdig_m: float
    tolerance_m: float
    floor_limit_below_m: float | None = None
    along_percent: float = 0.0
    across_percent: float = 0.0

    def __post_init__(self) -> None:
        refuse(self._faults())

    @property
    def sloping(self) -> bool:
        """Whether its elevation depends on where the edge stands."""
        return self.along_percent != 0.0 or self.across_percent != 0.0

    @property
    def depth_below_m(self) -> float:
        """Depth below the benchmark at station 0."""
        return depth_below(self.layers, self.overdig_m)

    def _faults(self) -> Iterator[Fault]:
        yield from _named("name", self.name)
        yield from _named("benchmark", self.benchmark)
        depth_faults = tuple(_depth_faults(self.layers, self.overdig_m))
        yield from depth_faults
        tolerance_faults = tuple(_tolerance(self.tolerance_m))
        yield from tolerance_faults
        yield from _finite("along_percent", self.along_percent)
        yield from _finite("across_percent", self.across_percent)
        if self.floor_limit_below_m is None:
            return
        limit_faults = tuple(_finite("floor_limit_below", self.floor_limit_below_m))
        yield from limit_faults
        if depth_faults or tolerance_faults or limit_faults:
            return
        top = self.depth_below_m - self.tolerance_m
        if self.floor_limit_below_m < top - NOISE_M:
            yield Fault(
                "floor-limit-above-target", "floor_limit_below", f"{self.floor_limit_below_m:.3f} m",
                f"at least {top:.3f} m, the top of the tolerance band",
                "the target cannot be reached without passing the limit: correct one of them",
                {"floor_limit_below_m": self.floor_limit_below_m, "least_m": top},
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class CutFill:
    """Edge against target. `value_m` = edge minus target, positive cut; `amount_m` its size.

    `word` is "on grade" within the tolerance, whatever is left then being in `value_m`.
    """

    value_m: float
    word: Literal["cut", "fill", "on grade"]
    amount_m: float
    below_floor_limit: bool


def depth_below(layers: Sequence[Layer], overdig_m: float) -> float:
    """Depth (m, positive down) of the layers' sum and the overdig below the benchmark.

    Floor 0.15 above the benchmark, slab 0.20, gravel 0.25, overdig 0.10: -0.15 + 0.20 + 0.25 + 0.10 = 0.40.
    Raises `Refused` with every fault: "no-layer", "no-name", "not-finite", "negative-overdig".
    """
    refuse(_depth_faults(layers, overdig_m))
    return math.fsum((*(layer.thickness_m for layer in layers), overdig_m))


def target_elevation(
    target: Target, benchmark_elevation_m: float, station_m: float = 0.0, right_offset_m: float = 0.0
) -> float:
    """Elevation (m) of the target at a station along it and an offset to the right of its line.

    Benchmark 100.00, 1.42 below, rising 2 % away from the machine: 98.58 at station 0, 98.54 at station -2.
    Raises `Refused` "not-finite".
    """
    refuse((
        *_finite("benchmark_elevation", benchmark_elevation_m),
        *_finite("station", station_m),
        *_finite("right_offset", right_offset_m),
    ))  # fmt: skip
    return (
        benchmark_elevation_m
        - target.depth_below_m
        + ratio_from_percent(target.along_percent) * station_m
        + ratio_from_percent(target.across_percent) * right_offset_m
    )


def cut_fill(
    edge_elevation_m: float,
    target_elevation_m: float,
    tolerance_m: float,
    floor_limit_elevation_m: float | None = None,
) -> CutFill:
    """How far an edge must still go: edge at 98.70 over a target at 98.58 is cut 0.12, at 98.50 fill 0.08.

    On grade where the difference is at most `tolerance_m`, the band's ends included.
    Raises `Refused`: "not-finite", "tolerance-not-positive".
    """
    limit = floor_limit_elevation_m
    refuse((
        *_finite("edge_elevation", edge_elevation_m),
        *_finite("target_elevation", target_elevation_m),
        *_tolerance(tolerance_m),
        *(_finite("floor_limit_elevation", limit) if limit is not None else ()),
    ))  # fmt: skip
    value = edge_elevation_m - target_elevation_m
    word: Literal["cut", "fill", "on grade"] = "cut" if value > 0.0 else "fill"
    if abs(value) <= tolerance_m + NOISE_M:
        word = "on grade"
    return CutFill(value, word, abs(value), limit is not None and edge_elevation_m < limit - NOISE_M)


def _depth_faults(layers: Sequence[Layer], overdig_m: float) -> Iterator[Fault]:
    if not layers:
        yield Fault("no-layer", "layers", "none", "at least one layer", "a plain depth is one layer")
    for place, layer in enumerate(layers):
        yield from layer.faults(f"layers.{place}")
    yield from _finite("overdig", overdig_m)
    if overdig_m < 0.0:
        yield Fault(
            "negative-overdig", "overdig", f"{overdig_m:g} m", "zero or more", "overdig only deepens",
            {"overdig_m": overdig_m},
        )  # fmt: skip


def _tolerance(tolerance_m: float) -> Iterator[Fault]:
    yield from _finite("tolerance", tolerance_m)
    if tolerance_m <= 0.0:
        yield Fault(
            "tolerance-not-positive", "tolerance", f"{tolerance_m:g} m", "more than zero",
            "common practice 0.030 m, good work 0.015 m", {"tolerance_m": tolerance_m},
        )  # fmt: skip


def _named(where: str, name: str) -> Iterator[Fault]:
    if not name.strip():
        yield Fault("no-name", where, repr(name), "a name")


def _finite(where: str, value: float) -> Iterator[Fault]:
    if not math.isfinite(value):
        yield Fault("not-finite", where, str(value), "a finite number")
