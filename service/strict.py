"""The base of every request and response model."""

from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict

_UNSEEN = (
    r"\x00-\x1f\x7f-\x9f\u00ad\u0600-\u0605\u061c\u06dd\u070f\u115f\u1160\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\u3164"
    r"\ufeff\ufff9-\uffff"
)
ONE_LINE = rf"^[^\s{_UNSEEN}](?:[^{_UNSEEN}]*[^\s{_UNSEEN}])?$"
"""Words on one line, no blank at either end, nothing that cannot be seen or turns the words about it round."""


class Strict(BaseModel):
    """Closed (an unknown field is refused), strict (no text for a number), frozen, without NaN or infinity."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


Model = TypeVar("Model", bound=Strict)


def made(model: type[Model], fields: dict[str, Any]) -> Model:
    """An answer with all its fields, as they must be: pydantic's `model_construct` without its search for defaults."""
    answer = model.__new__(model)
    for name, value in (("__dict__", fields), ("__pydantic_fields_set__", set(fields)), ("__pydantic_extra__", None),
                        ("__pydantic_private__", None)):  # fmt: skip
        object.__setattr__(answer, name, value)
    return answer


def example(value: Any) -> dict[str, Any]:
    """The `json_schema_extra` of a model or field with one worked example."""
    return {"examples": [value]}
