"""A file's text with some of its numbers replaced: comments, layout and every other number stay as they are."""

import copy
import math
from collections.abc import Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from kinematics.errors import Fault, Refused
from kinematics.units import profile_length_to_metres

from .loader import Profile, parse_profile

DECIMALS = {"deg": 4, "rad": 6, "m": 5, "mm": 2, "cm": 3, "ft": 5, "in": 4}
"""At most 1e-4 deg: 0.02 mm at 10 m ahead; at most 0.01 mm."""


class Rewriting:
    """One file being rewritten: `put` what changes, then `done` gives the text, proven to differ in nothing else."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._text: Any = tomlkit.parse(profile.source_text.removeprefix("\ufeff"))
        self.wanted: dict[str, Any] = copy.deepcopy(profile.document)
        self.units: dict[str, str] = profile.document["units"]

    def get(self, path: Sequence[str | int]) -> Any:
        """What stands at a place now; None for nothing."""
        here: Any = self.wanted
        for part in path:
            if isinstance(here, dict) and part not in here:
                return None
            here = here[part]
        return here

    def stands(self, path: Sequence[str | int]) -> bool:
        """Whether the text itself says something there, and no default does."""
        here: Any = self._text
        for part in path:
            if isinstance(here, dict) and part not in here:
                return False
            here = here[part]
        return True

    def put(self, path: Sequence[str | int], value: Any) -> None:
        """Put a number or table there, in place of what stands there or anew; tables on the way are made."""
        here: Any = self._text
        told: Any = self.wanted
        for part in path[:-1]:
            if isinstance(part, str) and part not in told:
                told[part] = {}
                here[part] = tomlkit.table() if here is self._text else _like(here)
            here, told = here[part], told[part]
        here[path[-1]] = _inline(value) if isinstance(value, dict) else value
        told[path[-1]] = copy.deepcopy(value)

    def drop_table(self, name: str) -> None:
        """Take a table out, where there is one."""
        if name in self._text:
            del self._text[name]
        self.wanted.pop(name, None)

    def put_table(self, name: str, value: dict[str, Any]) -> None:
        """Put a table of this name at the end of the file, in place of one that is there."""
        self.drop_table(name)
        self._text[name] = _table(value)
        self.wanted[name] = copy.deepcopy(value)

    def done(self) -> str:
        """The text. Raises `ProfileFaulty` where it would be no profile, `Refused` "not-written-so" where more than
        was put would change."""
        try:
            new = tomlkit.dumps(self._text)
        except TOMLKitError as error:
            raise self._odd(str(error)) from None
        if parse_profile(new).document != self.wanted:
            raise self._odd("more would change than what was found")
        return new

    def _odd(self, found: str) -> Refused:
        return Refused([
            Fault("not-written-so", self._profile.id, f"a file laid out so that {found}",
                  "each table of a file in one place", "write its tables as the guide on measuring has them")
        ])  # fmt: skip


def written(value: float, unit: str) -> float:
    """A value (rad or m) as it is written in `unit`: 0.0646 rad in deg is 3.7013."""
    return round(value / per(unit), DECIMALS[unit]) + 0.0  # no minus zero


def known_to(standard: float, unit: str) -> float:
    """A standard uncertainty (rad or m) in `unit`, to three digits."""
    return float(f"{standard / per(unit):.3g}")


def per(unit: str) -> float:
    """Radians or metres of one of it."""
    if unit in ("deg", "rad"):
        return math.radians(1.0) if unit == "deg" else 1.0
    return profile_length_to_metres(1.0, unit)


def _like(here: Any) -> Any:
    """A table as the one that it is to stand in: inside an inline table nothing else can."""
    return tomlkit.inline_table() if isinstance(here, tomlkit.items.InlineTable) else tomlkit.table()


def _table(value: dict[str, Any]) -> Any:
    """A table whose own tables stand under headings, and theirs on one line."""
    made = tomlkit.table()
    for key, each in value.items():
        if isinstance(each, dict):
            inner = tomlkit.table()
            for name, one in each.items():
                inner[name] = _inline(one) if isinstance(one, dict) else one
            made[key] = inner
        else:
            made[key] = each
    return made


def _inline(value: dict[str, Any]) -> Any:
    made = tomlkit.inline_table()
    made.update(value)
    return made
