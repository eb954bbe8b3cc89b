"""Faults of a profile file, with their place in it, and pydantic's findings in our words."""

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from kinematics.errors import Fault

from .schema import ByPoints, ByTape, ByXZ
from .schema_sensors import BothZeros, CaseMounting

# What pydantic puts into a place to tell apart the forms of one key, and the table it stands for.
_FORMS: Mapping[str, type[BaseModel] | None] = {
    "Number": None, "Uncertain": None,
    **{model.__name__: model for model in (ByXZ, ByTape, ByPoints, CaseMounting, BothZeros)},
}  # fmt: skip
_SHOWN = 60


@dataclass(frozen=True, slots=True)
class ProfileFault:
    """One thing that is wrong in a profile file.

    `code` stable and hyphenated; `path` the dotted place ("boom.cylinder.foot", "" for the whole file); `line`
    from 1, None where the place has no line; `found`, `expected`, `advice` plain words.
    """

    code: str
    path: str
    line: int | None
    found: str
    expected: str
    advice: str

    def __str__(self) -> str:
        place = (f"line {self.line}: " if self.line else "") + (f"{self.path}: " if self.path else "")
        advice = f"; {self.advice}" if self.advice else ""
        return f"{place}expected {self.expected}, found {self.found}{advice}"


class ProfileFaulty(ValueError):
    """A profile that is not taken; `faults` holds every reason found, in the order of the file."""

    def __init__(self, faults: tuple[ProfileFault, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


def shown(value: object) -> str:
    """A found value in few words, whatever its size."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**20:
        return "a whole number of more than twenty digits"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


def document_faults(
    model: type[BaseModel], error: ValidationError, guide: str = "measuring"
) -> Iterator[Fault]:
    """Each finding of a strict validation of `model` as a fault at its dotted path; `guide` tells of the file."""
    for detail in error.errors(include_url=False):
        yield _fault(model, detail, guide)


def _fault(model: type[BaseModel], detail: Any, guide: str) -> Fault:
    kind, value, limits = detail["type"], detail["input"], detail.get("ctx", {})
    loc = detail["loc"]
    if kind == "string_pattern_mismatch" and loc[-1] == "[key]":
        loc = loc[:-1]  # of a name that is a key, pydantic's own mark
    path, _ = _walked(model, loc)
    key = str(loc[-1])
    if kind == "extra_forbidden":
        return _unknown_key(model, loc, path, key)
    if kind == "missing":
        return Fault(
            "missing-key", path, "no such key", f"the key {key}", f"add it; see the guide on {guide}"
        )
    if kind == "finite_number":
        return Fault(
            "not-finite", path, shown(value), "a finite number", "measure it, or leave its table out"
        )
    if kind == "literal_error":
        code = "wrong-unit" if path.startswith("units.") else "not-a-choice"
        near = _near(str(value), re.findall(r"'([^']*)'", limits["expected"]))
        return Fault(code, path, shown(value), limits["expected"].replace("'", ""), near)
    if kind == "string_pattern_mismatch":
        expected = _SLUG if path == "id" else _NAME
        return Fault("not-a-slug", path, shown(value), expected)
    if kind in _BOUNDS:
        return Fault("out-of-range", path, shown(value), _BOUNDS[kind].format(**limits))
    if kind == "greater_than":
        return Fault("not-positive", path, shown(value), "a number greater than 0")
    if kind == "too_long" and isinstance(value, dict):
        return Fault(
            "wrong-size", path, f"a table of {len(value)}", "a table of at most {max_length}".format(**limits)
        )
    if kind in _SIZES:
        return Fault("wrong-size", path, shown(value), _SIZES[kind].format(**limits))
    return Fault(
        "wrong-type",
        path,
        shown(value),
        _TYPES.get(kind, f"a value as the guide on {guide} has it"),
        _hint(value, kind),
    )


_SLUG = "2 to 40 of a to z, 0 to 9 and hyphens"
_NAME = "1 to 40 of a to z, 0 to 9, hyphens and underscores"
_SIZES = {
    "string_too_short": "at least {min_length} characters",
    "string_too_long": "at most {max_length} characters",
    "too_short": "a list of at least {min_length}",
    "too_long": "a list of at most {max_length}",
}
_BOUNDS = {
    "greater_than_equal": "at least {ge:g}",
    "less_than_equal": "at most {le:g}",
    "less_than": "less than {lt:g}",
}
_TYPES = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
}


def _hint(value: object, kind: str) -> str:
    if kind != "float_type" or not isinstance(value, str):
        return ""
    return "write a decimal point, without quotes" if "," in value else "leave out quotes and unit words"


def _unknown_key(model: type[BaseModel], loc: tuple[int | str, ...], path: str, key: str) -> Fault:
    known = _known_keys(_walked(model, loc[:-1])[1])
    advice = _near(key, known) or "take it out"
    return Fault("unknown-key", path, f"the key {shown(key)}", "one of " + ", ".join(known), advice)


def _near(word: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(word, known, n=1) or difflib.get_close_matches(word.lower(), known, n=1)
    return f"did you mean {near[0]}?" if near else ""


def _known_keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _walked(model: type[BaseModel], loc: tuple[int | str, ...]) -> tuple[str, type[BaseModel]]:
    """The dotted path in the file of a place in pydantic's words, and the table there, or the one around it."""
    path: list[str] = []
    named: type[BaseModel] | None = None
    for part in loc:
        if named is not None:  # a name of the file's own choosing
            model, named = named, None
        elif part in _FORMS:
            model = _FORMS[str(part)] or model
            continue
        elif (field := model.model_fields.get(str(part))) is not None:
            named = _named_table(field.annotation)
            inner = list(tables(field.annotation))
            if len(inner) == 1:  # several are told apart by the form that follows in `loc`
                model = inner[0]
        path.append(str(part))
    return ".".join(path), model


def _named_table(annotation: object) -> type[BaseModel] | None:
    """The table that every name of a field has, where the names are the file's own."""
    if get_origin(annotation) is dict:
        return next(tables(get_args(annotation)[1]), None)
    inner = get_args(annotation) if get_origin(annotation) in {Union, UnionType, Annotated} else ()
    return next((found for each in inner if (found := _named_table(each)) is not None), None)


def tables(annotation: object) -> Iterator[type[BaseModel]]:
    """The tables that a field may hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in {Union, UnionType}:
        for inner in get_args(annotation):
            yield from tables(inner)
