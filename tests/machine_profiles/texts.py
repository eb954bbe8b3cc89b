"""Profile texts for the tests: shipped ones with a change, and the same ones in other units."""

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import pytest

from machine_profiles import ProfileFault, ProfileFaulty, parse_profile, shipped

ANGLES = {
    "angle", "mast_angle", "low", "high", "play", "nose_up", "left_up", "to_left", "angles", "skew_uncertainty",
    "coupler_angle",
}  # fmt: skip
PLAIN = {
    "schema", "centre", "sign", "side_sign", "latency_ms", "age_limit_ms", "count", "working_pressure",
    "holding_pressure", "flow",
}  # fmt: skip
READINGS = {"low", "high", "noise", "mounting", "zero_uncertainty", "per_kelvin"}
PER_METRE = {
    "m": Fraction(1),
    "cm": Fraction(100),
    "mm": Fraction(1000),
    "ft": Fraction(10000, 3048),
    "in": Fraction(10000, 254),
}

TWO_PIECE = """
schema = 1
kind = "machine"
id = "two-piece"
name = "Two-piece boom that swings"
source = "Invented for the tests."
[units]
length = "mm"
angle = "deg"
[boom]
foot = { forward = 100, left = 20 }
length = 2000
range = { low = -40, high = 60 }
[fore_boom]
length = 1500
[fore_boom.cylinder]
foot = { to_inner = 900, to_outer = 1200, side = "below" }
eye = { x = 400, z = -250 }
shortest = 900
longest = 1400
extending = "raises"
[stick]
length = 1600
[stick.cylinder]
foot = { to_inner = 700, to_outer = 1000, side = "above" }
eye = { to_inner = 450, to_outer = 2000, side = "above" }
shortest = 1050
longest = 1400
extending = "lowers"
[bucket]
range = { low = -30, high = 120 }
[swing_boom]
post = { forward = 700, left = -150 }
range = { low = -60, high = 50 }
"""


def text_of(kind: str, name: str) -> str:
    """Source of a shipped profile."""
    return shipped()[kind, name].source_text


def bare(text: str) -> str:
    """The text without how well it is known, sensors and hydraulics, which stand last in the shipped files."""
    return text.partition("\n# Uncertainty:")[0]


def completed(blocks: Iterable[str]) -> list[str]:
    """Each block of a guide as a whole file: what is none completes the last one of its kind."""
    last, kind, found = {"": ""}, "", []
    for block in blocks:
        if block.startswith("schema"):
            kind = "machine" if 'kind = "machine"' in block else "attachment"
            last[kind] = block
        else:
            kind = "machine" if 'place = "body"' in block else kind
            last[kind] += "\n" + block
        found.append(last[kind])
    return found


def edited(text: str, *changes: tuple[str, str]) -> str:
    """The text with each old part, which must stand in it exactly once, replaced."""
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the text"
        text = text.replace(old, new)
    return text


def faults_of(text: str) -> tuple[ProfileFault, ...]:
    """The faults of a text, which must have some."""
    with pytest.raises(ProfileFaulty) as caught:
        parse_profile(text)
    assert caught.value.faults
    return caught.value.faults


def line_with(text: str, part: str) -> int:
    """Line of the first occurrence of a part of the text, from 1."""
    return text[: text.index(part)].count("\n") + 1


def in_units(document: dict[str, Any], length: str, angle: str) -> str:
    """The document as TOML in other units; numbers carry seventeen digits."""
    per_unit = PER_METRE[length] / PER_METRE[document["units"]["length"]]
    turned = 1.0 if document["units"]["angle"] == angle else 3.141592653589793 / 180
    assert angle == document["units"]["angle"] or angle == "rad", "only degrees to radians is needed"

    def written(key: str, value: object, measures: str = "") -> str:
        if isinstance(value, dict):
            measures = value.get("measures", measures)
            return "{ " + ", ".join(f"{k} = {written(k, v, measures)}" for k, v in value.items()) + " }"
        if isinstance(value, list):
            return "[" + ", ".join(written(key, item) for item in value) + "]"
        if isinstance(value, str):
            return f'"{value}"'
        assert isinstance(value, int | float)
        if isinstance(value, bool):
            return str(value).lower()
        if key in PLAIN:
            return str(value)
        angle = measures != "length" if measures and key in READINGS else key in ANGLES
        return repr(value * turned if angle else float(Fraction(value) * per_unit))

    changed = document | {"units": {"length": length, "angle": angle}, "source": "the same in other units"}
    return "\n".join(f"{key} = {written(key, value)}" for key, value in changed.items())
