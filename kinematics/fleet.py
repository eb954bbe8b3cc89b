"""One or many machines as the compiled loops read them: records one below the other."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .assembly import JOINTS, Assembly
from .errors import Fault, Refused, refuse
from .given import columns as read
from .given import length_of
from .machine import SHORTEST_LINK_M, UNIT_WITHIN
from .parameters import NAMES

# Metres of a machine's dimension; what comes near is a wrong unit or a slipped exponent.
MOST = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class Fleet:
    """Machines with their attachments, alike in their joints.

    `records`: one of `parameters.RECORD` a machine; `flat` the same, shape (machines, parameters); `limits` shape
    (machines, 14), rad; `joints`: the joints that each of them has; `assemblies`: what they were made of (of a varied
    machine, the one it was).
    """

    records: NDArray[np.void]
    flat: NDArray[np.float64]
    limits: NDArray[np.float64]
    joints: tuple[str, ...]
    assemblies: tuple[Assembly, ...]

    def __len__(self) -> int:
        return len(self.records)

    def has(self, parameter: str) -> bool:
        """True where every machine has the part that a parameter of `NAMES` is measured of."""
        if any(parameter in each.lacks for each in self.assemblies):
            return False
        return not bool(np.isnan(self.flat[:, NAMES.index(parameter)]).any())


def fleet(assemblies: Sequence[Assembly]) -> Fleet:
    """One fleet of assembled machines. Raises `Refused`: "no-machine"; "joints-differ" where one has other joints."""
    if not assemblies:
        raise Refused(
            [Fault("no-machine", "machines", "an empty list", "at least one machine with an attachment")]
        )
    first = _joints(assemblies[0])
    refuse(
        Fault("joints-differ", f"machines.{i}", "joints " + ", ".join(_joints(each)),
              "the joints of the first: " + ", ".join(first), "ask for machines with other joints apart")
        for i, each in enumerate(assemblies) if _joints(each) != first
    )  # fmt: skip
    records = np.concatenate([each.parameters for each in assemblies])
    return _fleet(records, np.stack([each.limits for each in assemblies]), tuple(assemblies))


def varied(assembly: Assembly, parameters: Mapping[str, ArrayLike]) -> Fleet:
    """One machine many times over, with some parameters varied: each one number or an array of shape (machines,).

    Joint ranges stay those of the machine as measured. A boom 10 mm longer at 30 deg lifts all that hangs on it 5 mm.
    Raises `Refused`: "unknown-parameter", "no-such-parameter" for one the profile lacks, "not-a-number",
    "not-finite", "ragged", "no-machine"; "zero-length-link", "not-a-direction", "centre-outside",
    "length-absurd" for what no machine is.
    """
    faults: list[Fault] = []
    rows = length_of(parameters.values())
    columns = read(parameters, faults, rows)
    if not rows:
        faults.append(Fault("no-machine", "", "a list of no values", "at least one value"))
    for name in parameters:
        if name not in NAMES:
            faults.append(Fault("unknown-parameter", name, repr(name), "one of " + ", ".join(NAMES)))
        elif name in assembly.lacks or np.isnan(assembly.parameters[name][0]):
            faults.append(
                Fault("no-such-parameter", name, "a profile without it", "a parameter that the profile has")
            )
    refuse(faults)
    records = np.repeat(assembly.parameters, rows)
    for name, column in columns.items():
        records[name] = column
    refuse(_impossible(records, columns))
    return _fleet(records, np.repeat(assembly.limits[None, :], rows, axis=0), (assembly,))


def _impossible(records: NDArray[np.void], varied: Iterable[str]) -> Iterator[Fault]:
    """What no machine can be, as `machine` has it: the first of each kind."""
    for name in varied:
        for i in np.flatnonzero(np.abs(records[name]) > MOST)[:1].tolist():
            yield Fault("length-absurd", f"{name}.{i}", f"{records[name][i]:g}", f"at most {MOST:g} m or rad",
                        "check the unit and the decimal point")  # fmt: skip
        if name.endswith("_length") or name == "pin_spacing":
            for i in np.flatnonzero(records[name] < SHORTEST_LINK_M)[:1].tolist():
                yield Fault("zero-length-link", f"{name}.{i}", f"{records[name][i]:g} m",
                            f"a length of at least {SHORTEST_LINK_M} m")  # fmt: skip
    for name in ("tilt_axis", "rotate_axis", "mast"):
        lengths = np.sqrt(sum(records[f"{name}_{axis}"] ** 2 for axis in "xyz"))
        for i in np.flatnonzero(np.abs(lengths - 1.0) > UNIT_WITHIN)[:1].tolist():
            yield Fault("not-a-direction", f"{name}.{i}", f"length {lengths[i]:g}", "a direction of length 1",
                        "vary all three of its numbers together")  # fmt: skip
    for i in np.flatnonzero(
        ~((records["right_y"] < records["centre_y"]) & (records["centre_y"] < records["left_y"]))
    )[:1].tolist():
        yield Fault("centre-outside", f"centre_y.{i}", "an edge whose y does not fall from left over centre to right",
                    "left, centre and right in this order")  # fmt: skip


def _joints(assembly: Assembly) -> tuple[str, ...]:
    return tuple(name for name in JOINTS if name in assembly.ranges)


def _fleet(records: NDArray[np.void], limits: NDArray[np.float64], assemblies: tuple[Assembly, ...]) -> Fleet:
    flat = records.view(np.float64).reshape(len(records), len(NAMES))
    for array in (records, flat, limits):
        array.flags.writeable = False
    return Fleet(records, flat, limits, _joints(assemblies[0]), assemblies)
