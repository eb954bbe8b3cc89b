"""What is wrong with the text of a request, in our own words, each fault under its JSON pointer (RFC 6901)."""

import difflib
import inspect
import json
import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any

from pydantic import BaseModel, Field
from pydantic_core import from_json

from .secret import hide
from .strict import Strict

DEEPEST = 64
_MOST_QUOTES = 4096  # more is no text of numbers, and none for the quick reader
_LONGEST_TEXT = 120
_LONGEST_LIST = 400


class FaultOut(Strict):
    """One thing that is wrong."""

    pointer: str = Field(
        description="JSON pointer into the body; empty for the whole, or for what stands outside the body.",
        examples=["/pose/angles_deg/boom"],
    )
    code: str
    expected: str
    found: str
    advice: str
    numbers: dict[str, float] = Field(
        description="The same quantities for programs; the unit is in each name."
    )


def pointer(parts: Iterable[object]) -> str:
    """A JSON pointer from keys and indices: ("pose", "angles_deg") gives "/pose/angles_deg"."""
    return "".join("/" + plain(str(part)).replace("~", "~0").replace("/", "~1") for part in parts)


def plain(text: str, longest: int | None = None) -> str:
    """Text that UTF-8 can carry (half a surrogate pair is spelt out), shortened past `longest` characters.

    A credential that got into it is struck out: what is answered is logged and kept by others.
    """
    text = hide(text.encode("utf-8", "backslashreplace").decode())
    return text if longest is None or len(text) <= longest else text[: longest - 1] + "…"


def fault(
    code: str, found: str, expected: str, advice: str = "", at: str = "",
    numbers: Mapping[str, float] | None = None,
) -> FaultOut:  # fmt: skip
    """A fault fit to be sent: plain text of bounded length, finite numbers only (JSON has no other)."""
    return FaultOut(
        pointer=at, code=code, expected=plain(expected, _LONGEST_LIST), found=plain(found, _LONGEST_TEXT),
        advice=plain(advice, _LONGEST_LIST),
        numbers={name: float(n) for name, n in (numbers or {}).items() if math.isfinite(n)},
    )  # fmt: skip


def shown(value: object) -> str:
    """A found value in few words, whatever its size."""
    match value:
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case dict():
            return f"an object of {len(value)}"
        case list() | tuple():
            return f"a list of {len(value)}"
        case str():
            return json.dumps(plain(value, _LONGEST_TEXT), ensure_ascii=False)
        case int() if abs(value) >= 10**20:
            return "a whole number of more than twenty digits"
        case float() if math.isnan(value):
            return "NaN"
        case float() if math.isinf(value):
            return f"{'minus ' if value < 0 else ''}infinity, or a number too large"
        case _:
            return plain(str(value), _LONGEST_TEXT)


# The text as JSON


def json_faults(body: bytes) -> list[FaultOut]:
    """Why bytes are not one JSON text in UTF-8 that can mean only one thing; empty where they are.

    A key given twice is refused: most readers keep the last and say nothing. NaN and numbers beyond double
    precision pass, since the fields they stand in refuse them together with all else that is wrong there.
    """
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        return [_malformed(body[: error.start].decode("utf-8"), "a byte that is not UTF-8", "send UTF-8")]
    if _depth(text) > DEEPEST:
        return [
            fault("malformed-json", f"more than {DEEPEST} levels of nesting", f"at most {DEEPEST}",
                  "no request here needs more than a few")
        ]  # fmt: skip
    try:
        if _all_names_differ(text):
            json.loads(text)
        else:
            return _twice(text)
    except json.JSONDecodeError as error:
        advice = "look at the commas, quotes and brackets just before this place"
        return [_malformed(error.doc[: error.pos], error.msg, advice)]
    except ValueError:  # the interpreter's own limit on the digits of a whole number
        return [fault("malformed-json", "a whole number of thousands of digits", "a number of use here")]
    return []


def read_json(body: bytes) -> tuple[Any, list[FaultOut]]:
    """(value, faults) of a JSON text, some five times as fast as `json_faults` and a reader: for megabytes of numbers.

    The quick reader keeps the last of two equal names; it is believed only where it kept as many as were written.
    """
    flat = body.count(b"[") + body.count(b"{") <= DEEPEST
    if flat and b"\\" not in body and body.count(b'"') <= _MOST_QUOTES:
        try:
            value = from_json(body)
        except ValueError:
            pass  # the thorough reader says what is wrong, and where
        else:
            if len(_names(body.decode())) == _names_kept(value):
                return value, []
    faults = json_faults(body)
    return (None, faults) if faults else (json.loads(body), [])


def _names_kept(value: object) -> int:
    if isinstance(value, dict):
        return len(value) + sum(map(_names_kept, value.values()))
    if isinstance(value, list) and not {dict, list}.isdisjoint(map(type, value)):
        return sum(map(_names_kept, value))
    return 0


def _malformed(before: str, found: str, advice: str) -> FaultOut:
    line, column = before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1
    return fault(
        "malformed-json", f"{found} at line {line}, column {column}", "one JSON object (RFC 8259)", advice,
        numbers={"line": line, "column": column},
    )  # fmt: skip


# The closing quote is optional, so that a string without one is passed over once and not once for each quote in it.
_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*+"?|([\[{])|[\]}]', re.DOTALL)


def _depth(text: str) -> int:
    """How deep brackets nest, without recursion; 0 where they are too few to matter."""
    if text.count("[") + text.count("{") <= DEEPEST:
        return 0
    deepest = level = 0
    for token in _BRACKETS.finditer(text):
        if token[1]:
            level += 1
            deepest = max(deepest, level)
        elif token[0] in "]}":
            level -= 1
    return deepest


class _GivenTwice(Exception):
    pass


class _Pairs(list[tuple[str, Any]]):
    """An object as its pairs, which a dict would lose."""


def _all_names_differ(text: str) -> bool:
    """Whether no field name at all comes twice: then none does within one object, and the quick reader will do."""
    if "\\" in text:
        return False
    names = _names(text)
    return len(names) == len(set(names))


def _names(text: str) -> list[str]:
    """The field names of a JSON text without escapes: every second piece between quotes that a colon follows."""
    pieces = text.split('"')
    return [
        name
        for name, after in zip(pieces[1::2], pieces[2::2], strict=False)
        if after.lstrip().startswith(":")
    ]


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise _GivenTwice
    return made


def _twice(text: str) -> list[FaultOut]:
    """Where names stand twice in one object. Raises ValueError where the text is no JSON, in front of them or behind."""
    try:
        json.loads(text, object_pairs_hook=_once)
    except _GivenTwice:
        return list(_given_twice(json.loads(text, object_pairs_hook=_Pairs), ()))
    return []


def _given_twice(value: object, above: tuple[object, ...]) -> Iterator[FaultOut]:
    inner: Iterable[tuple[object, object]] = ()
    if isinstance(value, _Pairs):
        inner = value
        for name, times in Counter(name for name, _ in value).items():
            if times > 1:
                yield fault(
                    "given-twice", f"{shown(name)} {times} times in one object", "each field once",
                    "which of them was meant is not guessed: leave one", pointer((*above, name)),
                )  # fmt: skip
    elif isinstance(value, list):
        inner = enumerate(value)
    for key, each in inner:
        yield from _given_twice(each, (*above, key))


# The fields as the route wants them

_TYPES = {
    "float_type": "a number", "int_type": "a whole number", "int_from_float": "a whole number",
    "string_type": "text", "bool_type": "true or false", "dict_type": "an object", "list_type": "a list",
    "tuple_type": "a list", "model_type": "an object", "model_attributes_type": "an object",
    "int_parsing": "a whole number", "float_parsing": "a number", "bool_parsing": "true or false",
    "string_unicode": "text without half a surrogate pair",
}  # fmt: skip
_SIZES = {
    "greater_than": ("out-of-range", "more than {gt}"), "less_than": ("out-of-range", "less than {lt}"),
    "greater_than_equal": ("out-of-range", "at least {ge}"), "less_than_equal": ("out-of-range", "at most {le}"),
    "string_too_short": ("wrong-length", "at least {min_length} characters"),
    "string_too_long": ("wrong-length", "at most {max_length} characters"),
    "too_short": ("wrong-length", "at least {min_length} of them"),
    "too_long": ("wrong-length", "at most {max_length} of them"),
}  # fmt: skip
# The patterns of the request models in words.
_FORMS = {
    r"^[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?$": "lower-case letters, digits and hyphens, such as pump-house, "
    "at most 40, no hyphen at the ends",
    r"^[^\s\x00-\x1f\x7f](?:[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f])?$": "text without blanks at its ends and without "
    "control characters",
}


def misfit(each: Mapping[str, Any], endpoint: Callable[..., Any] | None) -> FaultOut:
    """One finding of pydantic about a request to `endpoint`, in our words.

    `each` is an item of `RequestValidationError.errors()`: ("body", "pose", "roll") missing gives the pointer
    "/pose/roll", code "missing-field".
    """
    part, *place = each["loc"]
    kind, value, limits = each["type"], each.get("input"), each.get("ctx") or {}
    if place and place[-1] == "token":
        value = "(not shown)"
    inside = part == "body"
    at = pointer(p for p in place if p != "[key]") if inside else ""
    where = "" if inside else f" in the {part} parameter {'.'.join(map(str, place))}"
    if kind == "missing":
        return fault("missing-field", f"nothing{where}", _missing(inside, place), "", at)
    if kind == "extra_forbidden":
        return unknown_field(str(place[-1]), _fields(endpoint, place[:-1]), at)
    if place and place[-1] == "[key]":
        return unknown_field(str(value), _choices(limits), at)
    if is_not_finite({**each, "input": value}):
        return fault("not-finite", shown(value) + where, "a finite number", "leave out what is not known", at)
    code, expected = wanted(kind, limits, str(each["msg"]))
    advice = ""
    if isinstance(value, str) and inside and kind in {"float_type", "int_type"}:
        advice = "write a decimal point, without quotes" if "," in value else "leave out the quotes"
    elif isinstance(value, str) and code == "not-a-choice":
        advice = nearest(value, _choices(limits))
    return fault(code, shown(value) + where, expected, advice, at)


def is_not_finite(each: Mapping[str, Any]) -> bool:
    """Whether pydantic found a number where one belongs, and that it is none."""
    value = each.get("input")
    lost = each["type"] in {"missing", "extra_forbidden"} or each["loc"][-1:] == ("[key]",)
    return not lost and isinstance(value, float) and not math.isfinite(value)


def wanted(kind: str, limits: Mapping[str, Any], message: str) -> tuple[str, str]:
    """(code, what was expected) of a kind of finding of pydantic, with its `ctx` and its message."""
    if kind in _TYPES:
        return "wrong-type", _TYPES[kind]
    if kind in _SIZES:
        code, words = _SIZES[kind]
        return code, words.format(**limits)
    if kind in {"literal_error", "enum"}:
        return "not-a-choice", "one of: " + (", ".join(_choices(limits)) or str(limits.get("expected")))
    if kind == "string_pattern_mismatch":
        return "wrong-form", _FORMS.get(str(limits.get("pattern")), "text of the form that /docs describes")
    return "does-not-fit", re.sub(r"^(?:Value error, )?(?:\w+ should (?:be )?)?", "", message)


def nearest(word: str, known: Sequence[str]) -> str:
    """The advice "did you mean X?" where a known word is near, else ""; ("feet", ["m", "ft"]) gives ft."""
    near = difflib.get_close_matches(word, known, n=1) or difflib.get_close_matches(word.lower(), known, n=1)
    return f"did you mean {near[0]}?" if near else ""


def _missing(inside: bool, place: Sequence[object]) -> str:  # noqa: FBT001
    if not place:
        return "a JSON object as the body"
    return f"the field {place[-1]}" if inside else "a value"


def _choices(limits: Mapping[str, Any]) -> list[str]:
    """The words of a choice, out of pydantic's "'a', 'b' or 'c'"."""
    return re.findall(r"'([^']*)'", str(limits.get("expected", "")))


def unknown_field(name: str, known: Sequence[str], at: str) -> FaultOut:
    """The fault of a name that is not among those known: ("bom", ["boom"], "/bom") advises boom."""
    return fault(
        "unknown-field", f"the field {shown(name)}",
        "one of: " + ", ".join(known) if known else "no field of this name",
        nearest(name, known) or "take it out", at,
    )  # fmt: skip


def _fields(endpoint: Callable[..., Any] | None, place: Sequence[object]) -> list[str]:
    """The fields that a route's body has at a place; empty where that cannot be told."""
    if endpoint is None:
        return []
    kinds = [p.annotation for p in inspect.signature(endpoint).parameters.values()]
    bodies = [kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel)]
    if len(bodies) != 1:
        return []
    schema = _schema(bodies[0])
    spots: list[Mapping[str, Any]] = [schema]
    for part in place:
        spots = [inner for spot in _open(spots, schema) for inner in _inside(spot, part)]
    return sorted({name for spot in _open(spots, schema) for name in spot.get("properties", {})})


@lru_cache(maxsize=64)
def _schema(model: type[BaseModel]) -> dict[str, Any]:
    return model.model_json_schema()


def _open(spots: Iterable[Mapping[str, Any]], schema: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Schemas with references followed and alternatives laid side by side."""
    for spot in spots:
        if "$ref" in spot:
            yield from _open([schema["$defs"][spot["$ref"].rpartition("/")[2]]], schema)
        elif "anyOf" in spot:
            yield from _open(spot["anyOf"], schema)
        else:
            yield spot


def _inside(spot: Mapping[str, Any], part: object) -> Iterator[Mapping[str, Any]]:
    if isinstance(part, int) and isinstance(spot.get("items"), Mapping):
        yield spot["items"]
    elif part in spot.get("properties", {}):
        yield spot["properties"][part]


def named_number(word: str) -> tuple[str, float] | None:
    """NAME=NUMBER as a name and a finite number, else None: "boom=32.5" is ("boom", 32.5)."""
    name, _, text = word.partition("=")
    try:
        value = float(text)
    except ValueError:
        return None
    return (name, value) if name and math.isfinite(value) else None
