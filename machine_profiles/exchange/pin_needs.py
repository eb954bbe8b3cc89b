"""What a table of pins must have, and what has to be said beside it."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from kinematics.errors import Fault
from kinematics.machine import Range

from .pin_table import PinTable
from .tree import Attitude

USUAL_TOLERANCE_M = 0.01
"""How far a pin may lie off the plane of all: what a prism pole held by hand leaves (common practice, no source)."""
ARM = ("boom", "fore_boom", "stick")


@dataclass(frozen=True, slots=True)
class Stroke:
    """A cylinder's shortest and longest length (m, pin to pin), and what a longer one does to its link: +1 raises, -1
    lowers; None for the bucket's, which the pins tell."""

    shortest: float
    longest: float
    extending: int | None


@dataclass(frozen=True, slots=True)
class Told:
    """What pins alone do not say. Angles in rad, lengths in m.

    `strokes` by joint, of cylinders whose two pins are in the table; `ranges` by joint (`idler` too) of what has none.
    `boom_foot_left`: in a side view, how far that pin lies to the left of the swing axis. `tolerance`: off the plane.
    """

    id: str
    name: str
    source: str
    attitude: Attitude
    strokes: Mapping[str, Stroke] = field(default_factory=dict)
    ranges: Mapping[str, Range] = field(default_factory=dict)
    boom_foot_left: float | None = None
    tolerance: float = USUAL_TOLERANCE_M


def missing(there: Iterable[str], needed: Iterable[str]) -> Iterator[Fault]:
    for name in needed:
        if name not in there:
            yield Fault("missing-pin", name, "no row", f"a row for {name}", "measure it")


def machine_pins_missing(table: PinTable) -> Iterator[Fault]:
    there = table.places
    yield from missing(there, ("swing_axis", "boom_foot_pin", "stick_pin", "bucket_pin"))
    if not table.plane:
        yield from missing(there, ("left", "right"))  # they prove which way y leads
    if "swing_post" in there and not table.plane:
        yield from missing(
            there, ("body_left", "body_right")
        )  # pins alone do not show how far the boom is swung
    groups: list[tuple[str, ...]] = [(f"{joint}_cylinder_foot", f"{joint}_cylinder_eye") for joint in ARM]
    bar = ("idler_pivot", "idler_pin", "link_pin")
    if "idler_pivot" in there or "idler_pin" in there:
        groups.append(bar)
    if "bucket_cylinder_foot" in there:
        groups.append((*bar, "bucket_cylinder_foot"))
    if "receiver" in there or "mast_top" in there:
        groups.append(("receiver", "mast_top"))
    for group in groups:
        absent = [name for name in group if name not in there]
        if 0 < len(absent) < len(group):
            yield Fault(
                "half-described", absent[0], f"no row for {' and '.join(absent)}",
                f"all of {', '.join(group)}, or none", "measure what is missing, or take the others out",
            )  # fmt: skip
    if "fore_boom_pin" not in there and any(f"fore_boom_cylinder_{end}" in there for end in ("foot", "eye")):
        yield from missing(there, ("fore_boom_pin",))


def view_faults(table: PinTable, told: Told) -> Iterator[Fault]:
    if not table.plane:
        if told.boom_foot_left is not None:
            yield Fault("not-both", "boom_foot_left", "a number beside a table in space", "one of the two",
                        "leave it out: the table says it")  # fmt: skip
        return
    if told.boom_foot_left is None:
        yield Fault(
            "missing-field", "boom_foot_left", "nothing",
            "how far the boom foot pin lies to the left of the swing axis, since a side view does not show it",
            "measure it; negative to the right",
        )  # fmt: skip
    if told.attitude.roll != 0.0:
        yield Fault("no-side-view", "roll", f"{math.degrees(told.attitude.roll):g} deg", "0 in a side view",
                    "level the machine across, or measure in space")  # fmt: skip
    for name in ("receiver", "swing_post"):
        if name in table.places:
            yield Fault("no-side-view", name, f"a {name} in a side view", "x, y and z of it",
                        "measure in space, or take the row out and write it by hand")  # fmt: skip


def _joints_of(there: frozenset[str]) -> dict[str, str]:
    """What limits each joint that the pins show: "stroke" or "range"."""
    joints = {"boom": "range", "stick": "range", "bucket": "range"}
    if "fore_boom_pin" in there:
        joints["fore_boom"] = "range"
    if "swing_post" in there:
        joints["swing_boom"] = "range"
    joints |= {joint: "stroke" for joint in ARM if joint in joints and f"{joint}_cylinder_foot" in there}
    if "bucket_cylinder_foot" in there:
        joints["bucket"] = "stroke"
    elif "idler_pivot" in there:
        del joints["bucket"]
        joints["idler"] = "range"
    return joints


def joints_missing(there: frozenset[str], told: Told) -> Iterator[Fault]:
    joints = _joints_of(there)
    given = {"stroke": told.strokes, "range": told.ranges}
    for joint, kind in joints.items():
        if joint not in given[kind]:
            why = (
                "both of its cylinder's pins are there"
                if kind == "stroke"
                else "no cylinder's pins are there"
            )
            yield Fault("missing-joint", joint, f"no {kind}", f"a {kind} of {joint}, since {why}")
    for kind, named in given.items():
        for joint in named:
            if joints.get(joint) != kind:
                expected = ", ".join(f"a {each} of {name}" for name, each in joints.items())
                yield Fault(
                    "no-such-joint", joint, f"a {kind} of {joint}", expected, "by the pins of this table"
                )
    for joint, stroke in told.strokes.items():
        if joint == "bucket" and stroke.extending is not None:
            yield Fault("half-described", joint, "raises or lowers", "neither for the bucket: its pins tell it",
                        "leave it out")  # fmt: skip
        elif joint != "bucket" and stroke.extending is None:
            yield Fault("half-described", joint, "no word on what a longer cylinder does", "raises or lowers",
                        "see which way it moves the link")  # fmt: skip
