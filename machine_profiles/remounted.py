"""A profile's text with one sensor's mounting replaced: comments, layout and every other number stay as they are."""

import copy
import math
from typing import Any

import tomlkit

from kinematics.errors import Fault, Refused
from kinematics.sensor import Mounting
from kinematics.units import profile_length_to_metres

from .loader import Profile, parse_profile

_DECIMALS = {"deg": 4, "rad": 6, "m": 5, "mm": 2, "cm": 3, "ft": 5, "in": 4}
"""At most 1e-4 deg: 0.02 mm at 10 m ahead; at most 0.01 mm."""


def remounted(
    profile: Profile, name: str, mounting: Mounting | float, zero_uncertainty: float | None = None
) -> str:
    """The text of `profile` with another zero of its sensor `name`: `mounting` as `Sensor` has it (rad or m).

    A boom sensor of `nose_up` 3.2 deg and a new one of 0.0646 rad: the line says `nose_up = 3.7013`. `left_up` and
    `to_left` are written where they stand in the text already or are not zero. `zero_uncertainty` (rad or m) replaces the
    file's, to three digits; None leaves that as it is. Raises `Refused` "no-such-sensor",
    "wrong-kind" where the one is a table and the other a number, "missing-key" where the file gives no uncertainty to be
    replaced, and `ProfileFaulty` where the text would be none.
    """
    sensors = profile.document.get("sensors") or {}
    if name not in sensors:
        raise Refused([
            Fault("no-such-sensor", name, f"no such sensor in {profile.id}", "one of " + (", ".join(sensors) or "none"))
        ])  # fmt: skip
    text = tomlkit.parse(profile.source_text.removeprefix("\ufeff"))
    table: Any = text["sensors"][name]
    wanted = copy.deepcopy(profile.document)
    told: Any = wanted["sensors"][name]
    if isinstance(mounting, Mounting) != isinstance(told["mounting"], dict):
        raise Refused([
            Fault("wrong-kind", name, type(mounting).__name__, "the kind of mounting that the profile has")
        ])  # fmt: skip
    units = profile.document["units"]
    unit = units["length" if told["measures"] == "length" else "angle"]
    if isinstance(mounting, Mounting):
        for key in ("nose_up", "left_up", "to_left"):
            value = _written(getattr(mounting, key), unit)
            if key in table["mounting"] or value != 0.0:
                table["mounting"][key] = value
            told["mounting"][key] = value
    else:
        table["mounting"] = told["mounting"] = _written(mounting, unit)
    if zero_uncertainty is not None:
        if "zero_uncertainty" not in told:
            raise Refused([
                Fault("missing-key", f"{name}.zero_uncertainty", "no such key", "one to be replaced", "add it")
            ])  # fmt: skip
        value = float(f"{zero_uncertainty / _per(unit):.3g}")
        table["zero_uncertainty"] = told["zero_uncertainty"] = value
    new = tomlkit.dumps(text)
    if parse_profile(new).document != wanted:
        raise AssertionError(f"more than the mounting of {name} would change")
    return new


def _written(value: float, unit: str) -> float:
    return round(value / _per(unit), _DECIMALS[unit]) + 0.0  # no minus zero


def _per(unit: str) -> float:
    """Radians or metres of one of it."""
    if unit in ("deg", "rad"):
        return math.radians(1.0) if unit == "deg" else 1.0
    return profile_length_to_metres(1.0, unit)
