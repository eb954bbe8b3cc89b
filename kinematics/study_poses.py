"""The poses of a study: angles, cylinder lengths or shares of each variant's own travel, checked once."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .assembly import Assembly
from .columns import solve_columns
from .errors import Fault, Refused, refuse
from .fleet import fleet
from .given import columns as read
from .given import length_of

MOST_POSES = 250_000
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """What every variant is put through; made by `poses_for`. Each shape (count,), or (1,) for all.

    `angles` of pitch, roll and joints, rad; `cylinders` by joint, pin to pin, m; `travel` by joint, the share of the way
    from the low to the high end of the variant's own range.
    """

    angles: Mapping[str, Floats]
    cylinders: Mapping[str, Floats]
    travel: Mapping[str, Floats]
    count: int


def poses_for(
    assembly: Assembly, angles: Mapping[str, ArrayLike], *, cylinders: Mapping[str, ArrayLike] | None = None,
    travel: Mapping[str, ArrayLike] | None = None,
) -> Poses:  # fmt: skip
    """Poses of all variants: pitch, roll and every joint once, by angle (rad), cylinder (m) or share of its travel
    (0 to 1), each one number or shape (poses,).

    A boom at travel 0.5 stands halfway between the ends of its own variant's range. Raises `Refused`, each fault in its
    table ("angles.boom.3"): those of `solve_columns` with the machine as measured, "out-of-range", "too-many-poses".
    """
    faults: list[Fault] = []
    given = {"angles": dict(angles), "cylinders": dict(cylinders or {}), "travel": dict(travel or {})}
    count = length_of([values for table in given.values() for values in table.values()])
    if count > MOST_POSES:
        faults.append(Fault("too-many-poses", "", f"{count} poses", f"at most {MOST_POSES} of every variant",
                            "take fewer, or several studies"))  # fmt: skip
    tables: dict[str, dict[str, Floats]] = {}
    for table, values in given.items():
        found: list[Fault] = []
        tables[table] = read(values, found, count)
        faults += [each.at(table) for each in found]
    for name, shares in tables["travel"].items():
        if name not in assembly.ranges:
            faults.append(Fault("no-such-joint", f"travel.{name}", f"a share of {name!r}",
                                "shares of " + ", ".join(assembly.ranges)))  # fmt: skip
        for i in np.flatnonzero(~((shares >= 0.0) & (shares <= 1.0)))[:1].tolist():
            faults.append(
                Fault("out-of-range", f"travel.{name}.{i}", f"{shares[i]:g}", "a share from 0 to 1")
            )
    refuse(faults)
    _try(assembly, tables)
    return Poses(tables["angles"], tables["cylinders"], tables["travel"], count)


def _try(assembly: Assembly, tables: Mapping[str, Mapping[str, Floats]]) -> None:
    """Names, as `solve_columns` has them, of one pose of the machine as measured."""
    spans = assembly.ranges
    shares = {name: spans[name].low + (spans[name].high - spans[name].low) * values[0]
              for name, values in tables["travel"].items()}  # fmt: skip
    twice = [name for name in shares if name in tables["angles"]]
    refuse(Fault("joint-given-twice", f"travel.{name}", f"{name} a second time, after its angle", "each joint once",
                 "keep one of the two") for name in twice)  # fmt: skip
    try:
        solve_columns(
            fleet([assembly]), {**{name: values[0] for name, values in tables["angles"].items()}, **shares}, (),
            cylinders={name: values[0] for name, values in tables["cylinders"].items()},
        )  # fmt: skip
    except Refused as refused:
        raise Refused(_placed(fault, tables) for fault in refused.faults) from None


def _placed(fault: Fault, tables: Mapping[str, Mapping[str, Floats]]) -> Fault:
    name = fault.where.partition(".")[0]
    drawn = name.removesuffix("_cylinder")
    if name != drawn and drawn in tables["cylinders"]:
        where = f"cylinders.{drawn}"
    else:
        where = f"travel.{name}" if name in tables["travel"] else f"angles.{name}"
    return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)
