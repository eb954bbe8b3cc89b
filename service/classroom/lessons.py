"""Every lesson of the classroom for one machine with one attachment, and those that it cannot show."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from kinematics.assembly import Assembly
from kinematics.errors import Refused
from kinematics.units import LengthUnit

from . import lessons_of_joints, lessons_of_numbers
from .bench import Bench
from .lesson import LeftOut, Lesson, Step


@dataclass(frozen=True, slots=True)
class _Plan:
    id: str
    title: str
    learn: str
    steps: Callable[[Bench], tuple[Step, ...]]


_PLANS = (
    _Plan(
        "curl", "Hold the pin, curl the bucket",
        "An edge goes round its pin: whether a curl takes it up or down is decided by where it begins.",
        lessons_of_joints.curl,
    ),
    _Plan(
        "one-degree", "One degree each", "What a degree does is its radius times 0.01745.", lessons_of_joints.one_degree
    ),
    _Plan(
        "lean", "The body leans, the joints do not",
        "Pitch lifts or lowers by reach, roll gives a cross-slope, and no joint shows either.",
        lessons_of_numbers.leaning,
    ),
    _Plan(
        "cancel", "Two that cancel", "A height that stays is no proof that nothing moved.", lessons_of_joints.cancelling
    ),
    _Plan(
        "corners", "The corner is not the centre", "On a rolled machine every point of the edge has a height of its own.",
        lessons_of_numbers.corners,
    ),
    _Plan(
        "reference", "The number changed, the machine did not",
        "Elevations hang on the reference and cuts on the target as well.", lessons_of_numbers.reference,
    ),
    _Plan(
        "tilt", "The tilt and the cross-slope", "The tilt turns the edge, and a degree is not quite the same everywhere.",
        lessons_of_numbers.tilting,
    ),
)  # fmt: skip
IDS = tuple(each.id for each in _PLANS)


@lru_cache(maxsize=64)
def lessons_of(fitted: Assembly, units: LengthUnit) -> tuple[tuple[Lesson, ...], tuple[LeftOut, ...]]:
    """The lessons, lengths in `units`, and what is left out with its reason. Kept for the last few asked."""
    told: list[Lesson] = []
    left_out: list[LeftOut] = []
    try:
        bench = Bench(fitted, units)
    except Refused as refused:
        return (), tuple(LeftOut(plan.id, plan.title, _why(refused)) for plan in _PLANS)
    for plan in _PLANS:
        try:
            told.append(Lesson(plan.id, plan.title, plan.learn, plan.steps(bench)))
        except Refused as refused:
            left_out.append(LeftOut(plan.id, plan.title, _why(refused)))
    return tuple(told), tuple(left_out)


def _why(refused: Refused) -> str:
    return "; ".join(f"expected {each.expected}, found {each.found}" for each in refused.faults)
