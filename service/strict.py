"""The base of every request and response model."""

from typing import Any

from pydantic import BaseModel, ConfigDict


class Strict(BaseModel):
    """Closed (an unknown field is refused), strict (no text for a number), frozen, without NaN or infinity."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def example(value: Any) -> dict[str, Any]:
    """The `json_schema_extra` of a model or field with one worked example."""
    return {"examples": [value]}
