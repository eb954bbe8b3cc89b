"""Columns of poses solved: profiles to a fleet, every fault at its place, the work on a thread a core."""

import math
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from anyio import CapacityLimiter
from numpy.typing import NDArray

from kinematics.assembly import Assembly
from kinematics.columns import STATUS, Columns, solve_columns
from kinematics.errors import Fault, Refused
from kinematics.fleet import Fleet, fleet
from service.book.profiles import Profiles
from service.book.state import Named
from service.problems import Problem

from .column_request import MOST_VALUES, OUTPUTS, Asked, Head, refuse, too_many

# Fewer rows than this are solved sooner than other threads are woken.
_WORTH_PARTING = 10_000
Pairs = list[tuple[Named, Named]]


@dataclass(frozen=True, slots=True)
class Workers:
    """Threads for the rows of one request; `seats` for requests, so that bulk leaves room for the rest."""

    pool: ThreadPoolExecutor
    count: int
    seats: CapacityLimiter


@contextmanager
def workers() -> Iterator[Workers]:
    """As many threads as the machine has cores, until the service stops."""
    count = os.cpu_count() or 1
    with ThreadPoolExecutor(count, thread_name_prefix="columns") as pool:
        yield Workers(pool, count, CapacityLimiter(count))


@dataclass(frozen=True, slots=True)
class Solved:
    """Columns by their names at the door, in the units of the names; NaN in a row that is not `ok`.

    `status` counts `statuses`; `machine_of` is there where there are several machines.
    """

    pairs: Pairs
    columns: dict[str, NDArray[np.float64]]
    status: NDArray[np.int8]
    ok: NDArray[np.bool_]
    machine_of: NDArray[np.int32] | None
    statuses: tuple[str, ...] = tuple(STATUS.values())

    @property
    def rows(self) -> int:
        """How many rows every column has."""
        return self.status.size

    @property
    def failed(self) -> int:
        """How many rows have no number."""
        return self.rows - int(np.count_nonzero(self.ok))


_PLACE_OF_STATUS = np.zeros(256, dtype=np.int8)
_PLACE_OF_STATUS[list(STATUS)] = np.arange(len(STATUS))


def solve(asked: Asked, profiles: Profiles, crew: Workers) -> Solved:
    """The answer to a request. Raises `Refused` or `Problem` with every fault of form and of the columns."""
    found: list[Fault] = []
    ready = None if asked.head is None else _fleet(asked.head, profiles, found)
    if asked.head is None or ready is None:
        refuse(asked.faults, map(asked.placed, found))
    pairs, machines = ready
    if asked.faults:
        refuse(asked.faults, map(asked.placed, _faults_of_names(asked, asked.head, machines)))
    every = asked.poses * (len(machines) if asked.machine_of is None else 1)
    if every * len(asked.head.outputs) > MOST_VALUES:
        what = f"values in the answer, {every} rows of {len(asked.head.outputs)}"
        raise Problem("too-many-values", [too_many(what, every * len(asked.head.outputs))])
    try:
        told = _columns(asked, asked.head, machines, crew if every > _WORTH_PARTING else None)
    except Refused as refused:
        raise Refused(map(asked.placed, refused.faults)) from None
    return Solved(
        pairs,
        {name: told.values[OUTPUTS[name][0]].reshape(-1) for name in asked.head.outputs},
        _PLACE_OF_STATUS[told.status.reshape(-1)],
        told.ok.reshape(-1),
        _machine_of(asked, len(machines)),
    )


def _fleet(head: Head, profiles: Profiles, found: list[Fault]) -> tuple[Pairs, Fleet] | None:
    """Revisions and their assemblies; None where `found` says what is wrong with one."""
    known: dict[tuple[str, str], tuple[Named, Named, Assembly]] = {}
    for i, pair in enumerate(head.machines):
        key = (pair.machine, pair.attachment)
        if key in known:
            continue
        try:
            known[key] = profiles.pair(*key)
        except Refused as refused:
            found += [each.at(f"machines.{i}") for each in refused.faults]
    if found:
        return None
    every = [known[pair.machine, pair.attachment] for pair in head.machines]
    try:
        return [(machine, attachment) for machine, attachment, _ in every], fleet(
            [each for *_, each in every]
        )
    except Refused as refused:
        found += refused.faults
        return None


def _columns(asked: Asked, head: Head, machines: Fleet, crew: Workers | None) -> Columns:
    drawn = {name.removesuffix("_cylinder"): column for name, column in asked.columns.items()
             if name.endswith("_cylinder")}  # fmt: skip
    turned = {name: column for name, column in asked.columns.items() if not name.endswith("_cylinder")}
    return solve_columns(
        machines, turned, [OUTPUTS[name][0] for name in head.outputs], cylinders=drawn, machine_of=asked.machine_of,
        executor=crew.pool if crew else None, parts=crew.count if crew else 1,
        angle_unit=math.radians(1.0), length_unit=1e-3, factors=dict(OUTPUTS[name] for name in head.outputs),
    )  # fmt: skip


def _faults_of_names(asked: Asked, head: Head, machines: Fleet) -> tuple[Fault, ...]:
    """What the chain says of the columns' names, whatever is wrong with their values."""
    still = {name: np.zeros(()) for name in asked.columns}
    try:
        _columns(Asked(head, asked.place, still), head, machines, None)
    except Refused as refused:
        return refused.faults
    return ()


def _machine_of(asked: Asked, machines: int) -> NDArray[np.int32] | None:
    if machines == 1:
        return None
    if asked.machine_of is not None:
        return asked.machine_of.astype(np.int32)
    return np.repeat(np.arange(machines, dtype=np.int32), asked.poses)
