"""A table of measured pins to a profile's text: one door for the route and the command, each with its own words."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from kinematics.errors import Fault, Refused
from machine_profiles import check_profile
from machine_profiles.exchange import KNOWN_PINS, Told, attachment_text, machine_text, read_pin_table

Kind = Literal["machine", "attachment"]
LONGEST_CSV = 20_000
"""Characters; a full table needs some two thousand."""
_WRITERS = {"machine": machine_text, "attachment": attachment_text}
_BY_RANGE = {"beyond-joint"}


@dataclass(frozen=True, slots=True)
class Places:
    """How a door calls what it was given: the table, a joint's stroke and range, any other thing by its name."""

    table: str
    stroke: Callable[[str], str]
    range: Callable[[str], str]
    other: Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Surveyed:
    """A profile's text, with what its check says of it."""

    toml: str
    facts: dict[str, Any]
    doubts: tuple[str, ...]


def surveyed(csv: str, kind: Kind, told: Told, places: Places) -> Surveyed:
    """The profile that a table gives. Raises `Refused` with every fault, at the places that the door calls them by."""
    try:
        text = _WRITERS[kind](read_pin_table(csv), told)
    except Refused as refused:
        raise Refused(_placed(fault, places) for fault in refused.faults) from None
    verdict = check_profile(text)
    if not verdict.ok:
        raise Refused(
            Fault(
                f.code, places.table, f"{f.found} at {f.path or 'the profile'} it gives", f.expected, f.advice
            )
            for f in verdict.faults
        )
    return Surveyed(text, verdict.facts, verdict.doubts)


def _placed(fault: Fault, places: Places) -> Fault:
    where, found = fault.where, fault.found
    if not where or where.startswith("line ") or where in KNOWN_PINS:
        return Fault(
            fault.code, places.table, f"{where}: {found}" if where else found, fault.expected, fault.advice, fault.numbers
        )  # fmt: skip
    if where in {"boom_foot_left", "roll", "pitch"}:
        told = places.other(where)
    elif fault.code in _BY_RANGE or "range" in found:
        told = places.range(where)
    elif where in {"heel", "teeth"}:
        told, found = places.table, f"{where}: {found}"
    else:
        told = places.stroke(where)
    return Fault(fault.code, told, found, fault.expected, fault.advice, fault.numbers)
