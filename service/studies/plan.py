"""A study that can be run: its file, its profiles by content, the parts it is run in, the columns of its results."""

import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version

from kinematics.envelope import DIMENSIONS
from kinematics.hydraulics import RAMS
from kinematics.parameters import TURNS
from kinematics.study import LEAST_TRANSMISSION, Metric, Study
from kinematics.study_tools import BY_CYLINDER, BY_IDLER, is_force, is_limit
from kinematics.units import profile_length_to_metres
from machine_profiles import Profile
from machine_profiles.loader import content_hash
from machine_profiles.table import Units

from .tables import StudyDocument

NUMBERS_BY = ("tipdatum", "numpy", "scipy", "numba")
"""What makes the numbers: another release of any may draw another design from the same seed, or round otherwise."""
EVALUATIONS_OF_A_PART = 2**18
"""Some 10 MB of results: what is lost where a machine stops, and what each worker holds."""
_FEWEST, _PARTS = 4096, 16
_ENVELOPES = 32  # each takes as long as a hundred thousand poses


@dataclass(frozen=True, slots=True)
class Column:
    """One number of a row: its name in the results, with its unit, and what metres, radians, newtons or a ratio take for
    it. `words`: what it stands for where it is no quantity, by its value."""

    source: str
    name: str
    factor: float
    unit: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """What a study's file comes to. `identity`: SHA-256 of everything its numbers hang on; parts of another study cannot
    be taken for its own."""

    text: str
    document: StudyDocument
    machine: Profile
    attachment: Profile
    study: Study
    identity: str

    @property
    def each_pose(self) -> bool:
        """Whether a row is a pose; else it is a variant."""
        return self.document.results.each == "pose"

    @property
    def variants_of_a_part(self) -> int:
        """How many variants one part has; hangs on nothing but the study, so that parts are the same everywhere."""
        whole = self.study.evaluations
        aim = min(EVALUATIONS_OF_A_PART, max(_FEWEST, math.ceil(whole / _PARTS)))
        most = _ENVELOPES if any(name in DIMENSIONS for name in self.study.traits) else EVALUATIONS_OF_A_PART
        return max(1, min(most, aim // self.study.poses.count))

    @property
    def parts(self) -> int:
        """How many parts there are."""
        return math.ceil(self.study.design.rows / self.variants_of_a_part)

    def variants(self, part: int) -> tuple[int, int]:
        """First variant of a part, and the first no longer of it."""
        first = part * self.variants_of_a_part
        return first, min(first + self.variants_of_a_part, self.study.design.rows)

    @property
    def parameters(self) -> tuple[Column, ...]:
        """Columns of the varied parameters, in the units of the file."""
        units = self.document.units
        return tuple(parameter_column(name, units) for name in self.study.design.names)

    @property
    def outputs(self) -> tuple[Column, ...]:
        """Columns of outputs of a pose."""
        return tuple(output_column(name, self.document.units) for name in self.study.outputs)

    @property
    def traits(self) -> tuple[Column, ...]:
        """Columns of traits of a variant."""
        return tuple(output_column(name, self.document.units) for name in self.study.traits)

    @property
    def metrics(self) -> tuple[Column, ...]:
        """Columns of metrics of a variant."""
        return tuple(metric_column(each, self.document.units) for each in self.study.metrics)

    @property
    def results(self) -> Iterator[Column]:
        """Every column of a number that was computed."""
        yield from self.outputs
        yield from self.traits
        yield from self.metrics


@cache
def release(library: str) -> str:
    """The release of a library that this process has; to look it up takes a millisecond."""
    return version(library)


def identity(document: StudyDocument, machine: Profile, attachment: Profile) -> str:
    """SHA-256, hexadecimal, of a study's document, the content hashes of its profiles, and the releases of
    `NUMBERS_BY`: parts that others made are not mixed in."""
    return content_hash({
        "study": document.model_dump(by_alias=True, exclude_none=True), "machine": machine.content_hash,
        "attachment": attachment.content_hash, **{name: release(name) for name in NUMBERS_BY},
    })  # fmt: skip


def text_hash(text: str) -> str:
    """SHA-256, hexadecimal, of a file's text."""
    return hashlib.sha256(text.encode()).hexdigest()


def length_factor(units: Units) -> float:
    """How many of the file's units a metre is."""
    return 1.0 / profile_length_to_metres(1.0, units.length)


def angle_factor(units: Units) -> float:
    """How many of the file's units a radian is."""
    return math.degrees(1.0) if units.angle == "deg" else 1.0


def parameter_column(name: str, units: Units) -> Column:
    """Of a parameter: "boom_length_mm"; numbers of a direction have no unit."""
    if is_direction(name):
        return Column(name, name, 1.0)
    if name in TURNS:
        return _with_unit(name, units.angle, angle_factor(units))
    return _with_unit(name, units.length, length_factor(units))


def _with_unit(name: str, unit: str, factor: float) -> Column:
    return Column(name, f"{name}_{unit}", factor, unit)


def is_direction(name: str) -> bool:
    """Whether a parameter is one of the three numbers of a direction of length 1, which have no unit."""
    return name in TURNS and not name.endswith("_angle")


def output_column(name: str, units: Units) -> Column:
    """Of an output or trait: "centre_height_mm", "cross_slope_percent", "centre_force_by_stick_kn"."""
    if is_limit(name):
        return Column(name, name, 1.0, "", RAMS)
    if name == BY_IDLER:
        return Column(name, name, 1.0)
    if name == BY_CYLINDER:
        return _with_unit(
            name, f"{units.angle}_per_{units.length}", angle_factor(units) / length_factor(units)
        )
    if is_force(name):
        return _with_unit(name, "kn", 1e-3)
    if name == "cross_slope":
        return _with_unit(name, "percent", 100.0)
    if name.endswith(("_angle", "_travel")) or name == LEAST_TRANSMISSION:
        return _with_unit(name, units.angle, angle_factor(units))
    return _with_unit(name, units.length, length_factor(units))


def metric_column(metric: Metric, units: Units) -> Column:
    """Of a metric: its own name with the unit of its output, "depth_mm"; "depth_percent" of a share."""
    if metric.how == "share_within":
        return _with_unit(metric.name, "percent", 100.0)
    of = output_column(metric.output, units)
    return (
        _with_unit(metric.name, of.unit, of.factor)
        if of.unit
        else Column(metric.name, metric.name, of.factor)
    )
