"""Many poses at once: columns of angles in, columns of results out, one set for every machine of a fleet.

A row that cannot be trusted is NaN throughout and says why in the status column; input that is no number at all
refuses the whole call. The work is compiled and releases the interpreter: give `solve_columns` an executor and a
number of parts and it runs on as many threads.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import linkage
from .block import Column, solve_rows
from .block import Columns as Nine
from .chain import BEYOND, EDGE_PLUMB, OUTPUTS, POINTS, STEEP
from .drive_columns import STAND_INS, joint_rows, unmeasured
from .errors import Fault, Refused, refuse
from .fleet import Fleet
from .given import MOST_FAULTS, length_of, scale_fault
from .given import columns as read
from .gradient import JOINT_COLUMNS
from .gradient_block import GRADIENT_COLUMNS, differentiate_rows
from .outputs import acts_on

STATUS: Mapping[int, str] = MappingProxyType({
    linkage.OK: "ok",
    linkage.NO_CLOSURE: "no-closure",
    linkage.DEAD_CENTRE: "dead-centre",
    linkage.OUT_OF_STROKE: "out-of-stroke",
    linkage.OTHER_BRANCH: "other-branch",
    linkage.AMBIGUOUS: "ambiguous",
    BEYOND: "beyond-joint",
    STEEP: "too-steep",
    EDGE_PLUMB: "edge-plumb",
})  # fmt: skip
"""What a number in the status column means: the code under which one pose would have been refused."""


class Executor(Protocol):
    """What `concurrent.futures` executors can do; the caller owns threads, this package none."""

    def map(self, function: Callable[[int], object], items: Sequence[int], /) -> Iterator[object]:
        """The function of every item."""


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Results by name and the status of each row: shape (poses,), or (machines, poses) where several machines each
    take every pose. A row whose status is not 0 is NaN in every column."""

    values: dict[str, NDArray[np.float64]]
    status: NDArray[np.uint8]

    @property
    def ok(self) -> NDArray[np.bool_]:
        """True in rows that were solved. A derivative may still be NaN there: at a kink there is none."""
        found: NDArray[np.bool_] = self.status == linkage.OK
        return found


def solve_columns(
    fleet: Fleet, angles: Mapping[str, ArrayLike], outputs: Sequence[str], *,
    cylinders: Mapping[str, ArrayLike] | None = None, machine_of: ArrayLike | None = None,
    executor: Executor | None = None, parts: int = 1, angle_unit: float = 1.0, length_unit: float = 1.0,
    factors: Mapping[str, float] | None = None,
) -> Columns:  # fmt: skip
    """Outputs (names of `chain.OUTPUTS`) of many poses, m and rad.

    `angles`: pitch, roll and each joint of the fleet, one number for all poses or shape (poses,), rad once multiplied
    by `angle_unit`; "idler" or "power_link" may stand for the bucket. `cylinders`: lengths pin to pin by the joint they
    move, m once multiplied by `length_unit`. `machine_of`: which machine takes each pose, shape (poses,); left out,
    every machine takes every pose. `factors` by output for other units: 57.3 gives degrees. Signs as `arm.Pose`: with
    boom at 0.6, stick at -1.4 and the bucket at 0.9, a further -0.1 of bucket curls the edge in.
    Raises `Refused` with at most `MOST_FAULTS` faults: "missing-joint", "no-such-joint", "joint-given-twice",
    "no-cylinder", "no-linkage", "not-a-number", "not-finite", "ragged", "unknown-output", "no-such-point",
    "unknown-machine".
    """
    faults = list(_output_faults(fleet, outputs))
    for name, factor in (factors or {}).items():
        faults.extend(scale_fault(f"factors.{name}", factor))
        if name not in outputs:
            faults.append(
                Fault("bad-factor", f"factors.{name}", "a factor of no output asked for", "one of `outputs`")
            )
    plan = _Plan(fleet, _given(angles, cylinders, faults), machine_of, angle_unit, length_unit, faults)
    wanted = np.array([OUTPUTS.index(name) for name in outputs], dtype=np.int64)
    given = factors or {}
    scaled = np.array([given.get(name, 1.0) for name in outputs])

    def run(out: NDArray[np.float64], status: NDArray[np.uint8], first: int, last: int) -> None:
        solve_rows(
            fleet.records, fleet.limits, plan.machine_of, plan.columns, plan.scales, plan.poses, wanted, scaled,
            out, status, first, last,
        )  # fmt: skip

    return plan.gathered(run, outputs, executor, parts)


def differentiate_columns(
    fleet: Fleet, angles: Mapping[str, ArrayLike], output: str, with_respect_to: Sequence[str] | None = None, *,
    cylinders: Mapping[str, ArrayLike] | None = None, machine_of: ArrayLike | None = None,
    executor: Executor | None = None, parts: int = 1, angle_unit: float = 1.0, length_unit: float = 1.0,
) -> Columns:  # fmt: skip
    """d output / d joint or parameter for many poses, per m and rad: exact, at constant joint angles.

    `output` one of `chain.OUTPUTS` but "square"; `with_respect_to` names of joints and parameters, where left out all
    that the fleet has and the output hangs on. At 8 m reach d centre_height / d boom is 8 m/rad: 14 mm for 0.1 deg.
    Errors as `solve_columns`, and "no-such-parameter".
    """
    faults = list(_output_faults(fleet, (output,), OUTPUTS[:-1]))
    refuse(faults)
    known = differentiable(fleet)
    names = [name for name in known if acts_on(output, name)] if with_respect_to is None else with_respect_to
    faults = [
        Fault("no-such-parameter", f"with_respect_to.{i}", repr(name), "one of " + ", ".join(known))
        for i, name in enumerate(names) if name not in known
    ]  # fmt: skip
    plan = _Plan(fleet, _given(angles, cylinders, faults), machine_of, angle_unit, length_unit, faults)
    wanted = np.array([GRADIENT_COLUMNS.index(name) for name in names], dtype=np.int64)
    kind = OUTPUTS.index(output)
    factors = np.ones(len(names))

    def run(out: NDArray[np.float64], status: NDArray[np.uint8], first: int, last: int) -> None:
        differentiate_rows(
            fleet.records, fleet.flat, fleet.limits, plan.machine_of, plan.columns, plan.scales, plan.poses, kind,
            wanted, factors, out, status, first, last,
        )  # fmt: skip

    return plan.gathered(run, names, executor, parts)


def differentiable(fleet: Fleet) -> tuple[str, ...]:
    """Joints and parameters of this fleet that the outputs of a pose can hang on."""
    joints = ("pitch", "roll", *fleet.joints)
    return tuple(
        name for name in GRADIENT_COLUMNS if (name in joints if name in JOINT_COLUMNS else fleet.has(name))
    )


def _output_faults(fleet: Fleet, outputs: Sequence[str], known: Sequence[str] = OUTPUTS) -> Iterator[Fault]:
    for i, name in enumerate(outputs):
        if name not in known:
            yield Fault("unknown-output", f"outputs.{i}", repr(name), "one of " + ", ".join(known))
            continue
        point = name.rpartition("_")[0]
        needs = "mast_x" if name == "mast_angle" else f"{point}_x" if point in POINTS else "left_x"
        if not fleet.has(needs):
            yield Fault("no-such-point", f"outputs.{i}", repr(name), "a point that every profile here has",
                        "choose another output, or measure it")  # fmt: skip


def _given(
    angles: Mapping[str, ArrayLike], cylinders: Mapping[str, ArrayLike] | None, faults: list[Fault]
) -> dict[str, ArrayLike]:
    faults.extend(
        Fault("no-such-joint", name, f"a column {name!r}", "angles; a cylinder's length goes into `cylinders`")
        for name in angles if name.endswith("_cylinder")
    )  # fmt: skip
    plain = {name: values for name, values in angles.items() if not name.endswith("_cylinder")}
    return {**plain, **{f"{name}_cylinder": values for name, values in (cylinders or {}).items()}}


class _Plan:
    """Angles checked and laid out as the compiled loops take them."""

    def __init__(
        self, fleet: Fleet, given: Mapping[str, ArrayLike], machine_of: ArrayLike | None,
        angle_unit: float, length_unit: float, faults: list[Fault],
    ) -> None:  # fmt: skip
        faults.extend(scale_fault("angle_unit", angle_unit))
        faults.extend(scale_fault("length_unit", length_unit))
        which = None if machine_of is None else _whole(machine_of, faults)
        poses = length_of((*given.values(), which))
        faults.extend(_name_faults(given, ("pitch", "roll", *fleet.joints)))
        for name in given:
            if name in STAND_INS or (
                name.removesuffix("_cylinder") in fleet.joints and name not in JOINT_COLUMNS
            ):
                faults.extend(unmeasured(fleet, name))
        columns = read(given, faults, poses)
        if which is not None:
            faults.extend(_machine_faults(which, poses, len(fleet)))
        refuse(faults[:MOST_FAULTS])
        each_takes_all = len(fleet) > 1 and which is None
        self.shape = (len(fleet), poses) if each_takes_all else (poses,)
        self.rows = poses * (len(fleet) if each_takes_all else 1)
        self.poses = poses
        if which is not None:
            self.machine_of = np.ascontiguousarray(which, dtype=np.int64)
        elif each_takes_all:
            self.machine_of = np.repeat(np.arange(len(fleet)), poses)
        else:
            self.machine_of = np.zeros(1, dtype=np.int64)
        scales = dict.fromkeys(JOINT_COLUMNS, angle_unit)
        self.driven: list[NDArray[np.uint8]] = []
        indirect = [name for name in columns if name not in JOINT_COLUMNS]
        if indirect and each_takes_all:  # each machine makes its own angles of one and the same length
            columns = {name: _tiled(column, len(fleet)) for name, column in columns.items()}
            self.poses = self.rows
        for name in indirect:
            unit = length_unit if name.endswith("_cylinder") else angle_unit
            joint, columns[joint], status = joint_rows(
                fleet, name, columns[name], unit, self.machine_of, self.rows
            )  # fmt: skip
            scales[joint] = 1.0
            self.driven.append(status)
        still = np.zeros(1)
        self.columns: Nine = tuple(  # type: ignore[assignment]
            _frozen(columns.get(name, still)) for name in JOINT_COLUMNS
        )
        self.scales = np.array([scales[name] for name in JOINT_COLUMNS])

    def gathered(
        self, run: Callable[[NDArray[np.float64], NDArray[np.uint8], int, int], None], names: Sequence[str],
        executor: Executor | None, parts: int,
    ) -> Columns:  # fmt: skip
        """The rows, in one go or in parts on the caller's threads."""
        if not (isinstance(parts, int) and parts >= 1):
            raise Refused([Fault("bad-parts", "parts", repr(parts), "a whole number of at least 1")])
        out = np.empty((len(names), self.rows))
        status = np.empty(self.rows, dtype=np.uint8)
        cuts = [self.rows * i // parts for i in range(parts + 1)]

        def part(i: int) -> None:
            run(out, status, cuts[i], cuts[i + 1])

        if executor is None:
            run(out, status, 0, self.rows)
        else:
            list(executor.map(part, range(parts)))
        for driven in self.driven:
            np.copyto(status, driven, where=driven != linkage.OK)
        values = {name: out[k].reshape(self.shape) for k, name in enumerate(names)}
        return Columns(values, status.reshape(self.shape))


def _tiled(column: Column, machines: int) -> Column:
    return column if column.size == 1 else np.tile(column, machines)


def _frozen(column: Column) -> Column:
    """A view that may not be written to: one type for the compiler, whoever owns the memory."""
    view = column.view()
    view.flags.writeable = False
    return view


def _name_faults(given: Mapping[str, ArrayLike], expected: Sequence[str]) -> Iterator[Fault]:
    """What is missing, what nobody asked for, and what was given twice."""
    standing: dict[str, str] = {}
    for name in given:
        joint = "bucket" if name in STAND_INS else name.removesuffix("_cylinder")
        if joint not in expected or name in {"pitch_cylinder", "roll_cylinder"}:
            yield Fault("no-such-joint", name, f"a column {name!r}", "columns for " + ", ".join(expected),
                        "leave it out: these machines do not have it")  # fmt: skip
        elif joint in standing:
            yield Fault("joint-given-twice", name, f"{joint} a second time, after {standing[joint]!r}",
                        "each joint once", "keep one of the two")  # fmt: skip
        else:
            standing[joint] = name
    for name in expected:
        if name not in standing:
            yield Fault("missing-joint", name, "no column", "a column for each of " + ", ".join(expected))


def _whole(machine_of: ArrayLike, faults: list[Fault]) -> NDArray[Any] | None:
    try:
        return np.asarray(machine_of)
    except (ValueError, TypeError):  # lists of lists that are not alike
        faults.append(Fault("ragged", "machine_of", "values of different shapes", "one whole number a pose"))
        return None


def _machine_faults(which: NDArray[Any], poses: int, machines: int) -> Iterator[Fault]:
    if which.dtype.kind not in "iu":
        yield Fault(
            "not-a-number", "machine_of", f"values of type {which.dtype}", "whole numbers, counted from 0"
        )
    elif which.ndim != 1 or which.size != poses:
        yield Fault("ragged", "machine_of", f"shape {which.shape}", f"one number a pose, {poses}")
    else:
        for i in np.flatnonzero((which < 0) | (which >= machines))[:MOST_FAULTS].tolist():
            yield Fault("unknown-machine", f"machine_of.{i}", str(which[i]), f"0 to {machines - 1}")
