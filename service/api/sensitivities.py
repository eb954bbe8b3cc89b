"""What each joint and each dimension does to an output, in one pose. No job needed."""

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Literal, cast

from fastapi import APIRouter
from pydantic import AfterValidator, ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.arm import Pose
from kinematics.chain import POINT_OUTPUTS
from kinematics.errors import Fault, Refused
from kinematics.sensitivity import DIFFERENTIABLE, Sensitivity, sensitivity
from service.book.posing import solve
from service.book.requests import AttachmentId, Joint, MachineId, PoseIn
from service.strict import Strict, example

from .answers import ADVISORY, Reference, reference_to
from .column_request import LEAN, among
from .door import ProfilesDep

router = APIRouter(prefix="/v1/sensitivities", tags=["poses"])
_TOLD = 10
_STEP_DEG, _STEP_MM = 0.1, 1.0
_LEAST = (
    1e-6  # a micrometre, a microradian, a ten-thousandth of a percent: less is rounding, or nobody's business
)
Unit = Literal["m", "rad", "ratio"]
_SHOWN: Mapping[Unit, tuple[float, str]] = {
    "m": (1e3, "mm"), "rad": (math.degrees(1.0), "deg"), "ratio": (100.0, "%")
}  # fmt: skip
POINTS_IN_WORDS = {
    "left": "left corner", "centre": "edge centre", "right": "right corner", "tooth_left": "left tooth",
    "tooth_centre": "middle tooth", "tooth_right": "right tooth", "heel_left": "left end of the heel",
    "heel_right": "right end of the heel", "receiver": "receiver",
}  # fmt: skip

Output = Annotated[
    str,
    AfterValidator(among(DIFFERENTIABLE)),
    Field(
        description="An output of /v1/pose-columns without its unit, a cylinder's length, or an angle of the linkage.",
        json_schema_extra={"enum": list(DIFFERENTIABLE)},
    ),
]


class SensitivitiesIn(PoseIn):
    """A pose, and the outputs whose derivatives are wanted."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500",
        "angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0},
        "attitude_deg": {"pitch": 0.4, "roll": -0.2},
        "outputs": ["left_height", "cross_slope"], "sensed": {"bucket": "idler"},
    }))  # fmt: skip
    machine: MachineId
    attachment: AttachmentId
    outputs: list[Output] = Field(
        min_length=1, max_length=len(DIFFERENTIABLE), description="Those that are wanted."
    )
    sensed: dict[Joint, Literal["cylinder", "idler", "power_link"]] = Field(
        default_factory=dict,
        description="What is read in place of a joint's angle; derivatives are then by that reading, and the dimensions "
        "between count too. Left out: by joint angles.",
    )


class EffectOut(TypedDict):
    """What a small step of one reading or dimension does."""

    by: str
    step: Annotated[str, Field(description="0.1 deg or 1 mm.")]
    change: Annotated[float, Field(description="Of the output, in its unit.")]
    words: str


class SensitivityOut(Strict):
    """Derivatives of one output."""

    output: str
    unit: Unit
    value: float
    per_rad: dict[str, float] = Field(
        description="d output / d joint, linkage sensor or fixed angle, per rad. A dimension that is not listed here or "
        "below has no part in the output."
    )
    per_m: dict[str, float] = Field(description="d output / d cylinder or dimension, per metre.")
    per_one: dict[str, float] = Field(description="d output / d each number of a unit direction.")
    no_derivative: list[str] = Field(
        description="What moves the output by one amount one way and by another the other way: the heel clearance of a "
        "bucket whose both ends clear alike, by the dimensions of one end."
    )
    largest: list[EffectOut] = Field(
        description="Every joint or sensor, largest first; then the ten dimensions that matter most, largest first, none "
        "of them below a micrometre or its like."
    )


class SensitivitiesOut(Strict):
    """Derivatives in one pose."""

    machine: Reference
    attachment: Reference
    sensitivities: list[SensitivityOut]
    advisory: str


@router.post("", summary="What an output hangs on: joints, sensors, dimensions")
def differentiate(asked: SensitivitiesIn, profiles: ProfilesDep) -> SensitivitiesOut:
    """What each joint and dimension does to an output: exact derivatives, and effects in words.

    curl -s localhost:8311/v1/sensitivities -H 'content-type: application/json' -d @sensitivities.json
    """
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    found = solve(fitted, asked)
    faults: list[Fault] = []
    told = list(_all(found, asked, faults))
    if faults:
        raise Refused(faults)
    return SensitivitiesOut(
        machine=reference_to(machine), attachment=reference_to(attachment), sensitivities=told, advisory=ADVISORY
    )  # fmt: skip


def _all(found: Pose, asked: SensitivitiesIn, faults: list[Fault]) -> Iterator[SensitivityOut]:
    sensed = cast(Mapping[str, str], asked.sensed)
    for i, output in enumerate(asked.outputs):
        try:
            yield _out(sensitivity(found, output, sensed))
        except Refused as refused:
            for each in refused.faults:
                placed = Fault(
                    each.code, _place(each.where, i, asked), each.found, each.expected, each.advice, each.numbers
                )  # fmt: skip
                if placed not in faults:  # what is wrong with a sensor is found for every output
                    faults.append(placed)


def _place(where: str, output: int, asked: SensitivitiesIn) -> str:
    """A fault of the derivatives at its place in the body: an output's, or a sensor's."""
    if where.startswith("sensed."):
        return where
    if where != asked.outputs[output]:
        for joint, by in asked.sensed.items():
            if where == (f"{joint}_cylinder" if by == "cylinder" else f"{by}_angle"):
                return f"sensed.{joint}"
    return f"outputs.{output}"


def _out(found: Sensitivity) -> SensitivityOut:
    parts = {name: by for name, by in found.parameters.items() if by != 0.0}
    rates: dict[str, dict[str, float]] = {"deg": {}, "mm": {}, "": {}}
    for name, rate in (found.joints | parts).items():
        rates[_step_unit(name)][name] = rate
    steps = [
        *(
            (rate * math.radians(_STEP_DEG), name, f"{_STEP_DEG:g} deg")
            for name, rate in rates["deg"].items()
        ),
        *((rate * _STEP_MM * 1e-3, name, f"{_STEP_MM:g} mm") for name, rate in rates["mm"].items()),
    ]
    steps.sort(key=lambda each: -abs(each[0]))
    dimensions = [each for each in steps if each[1] not in found.joints and abs(each[0]) >= _LEAST]
    largest = [each for each in steps if each[1] in found.joints] + dimensions[:_TOLD]
    unit = _unit(found.output)
    return SensitivityOut(
        output=found.output, unit=unit, value=found.value, per_rad=rates["deg"], per_m=rates["mm"], per_one=rates[""],
        no_derivative=list(found.kinked),
        largest=[
            EffectOut(by=name, step=step, change=change, words=_words(found.output, unit, name, step, change))
            for change, name, step in largest
        ],
    )  # fmt: skip


def _step_unit(name: str) -> str:
    """What a reading or dimension is counted in: "deg", "mm", or "" for a number of a direction."""
    if name in {*LEAN, "idler", "power_link"} or name.endswith("_angle"):
        return "deg"
    if name.endswith("_cylinder"):
        return "mm"
    if name.startswith(("mast_", "tilt_axis_", "rotate_axis_")):
        return ""
    return "mm" if "_" in name and name not in {"swing_boom", "fore_boom"} else "deg"


def _unit(output: str) -> Unit:
    return "ratio" if output == "cross_slope" else "rad" if output.endswith("_angle") else "m"


def _words(output: str, unit: Unit, name: str, step: str, change: float) -> str:
    """ "0.1 deg of boom moves the height of the left corner by +14.0 mm"."""
    factor, shown = _SHOWN[unit]
    point, _, axis = output.rpartition("_")
    what = f"{axis} of the {POINTS_IN_WORDS[point]}" if output in POINT_OUTPUTS else output.replace("_", " ")
    by = f"{factor * change:+.3g}" if abs(change) >= _LEAST else f"less than {factor * _LEAST:.3g}"
    return f"{step} of {name.replace('_', ' ')} moves the {what} by {by} {shown}"
