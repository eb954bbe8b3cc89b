"""What the tables of a profile file are made of: closed tables, numbers, units, a range."""

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic.functional_validators import AfterValidator


def _unsigned_zero(value: float) -> float:
    """-0.0 and 0.0 are one measurement and must give one hash."""
    return value + 0.0


Number = Annotated[float, AfterValidator(_unsigned_zero)]
Uncertain = Annotated[
    float, Field(allow_inf_nan=True, json_schema_extra={"minimum": 0}), AfterValidator(_unsigned_zero)
]
"""A standard uncertainty. What is none is refused with the geometry, all at once, and so is passed on here."""
Distance = Annotated[Number, Field(gt=0.0)]
Slug = Annotated[str, Field(pattern=r"^[a-z0-9-]{2,40}$")]
Triple = Annotated[list[Number], Field(min_length=3, max_length=3)]


def _publish_one_of(schema: dict[str, Any], model: type["Table"]) -> None:
    if model.one_of:
        schema["oneOf"] = [{"required": [key]} for key in model.one_of]


class Table(BaseModel):
    """A table of the file. `one_of`: keys of which exactly one must be given."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, json_schema_extra=_publish_one_of
    )
    one_of: ClassVar[tuple[str, ...]] = ()


class Units(Table):
    """The units of every number in this file."""

    length: Literal["m", "mm", "cm", "ft", "in"] = Field(
        title="Length", description="Unit of every length; ft is the international foot.", examples=["mm"]
    )
    angle: Literal["deg", "rad"] = Field(title="Angle", description="Unit of every angle.", examples=["deg"])


class Span(Table):
    """Lowest and highest value, both included."""

    low: Number = Field(title="Low", description="Lower end.", examples=[-40])
    high: Number = Field(title="High", description="Upper end.", examples=[60])
