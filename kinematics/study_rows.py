"""Variants of a study evaluated: any part of them, alone or with others, to the same bits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from . import linkage
from .assembly import JOINTS, Assembly
from .assembly_rows import DRIVEN, ENDS, Built, built
from .block import solve_rows
from .chain import OUTPUTS
from .drive_columns import draw_rows, follow_rows
from .gradient import JOINT_COLUMNS
from .parameters import NAMES
from .room import Room
from .study import LEAST_TRANSMISSION, Metric, Study
from .study_envelope import envelope_values
from .study_tools import tool_values

Floats = NDArray[np.float64]
Codes = NDArray[np.uint8]
Number = TypeVar("Number", bound=np.generic)
# Poses taken at once: 256 KB a column stay in the cache, and the memory of one stretch serves the next.
STRETCH = 2**15


@dataclass(frozen=True, slots=True, eq=False)
class Evaluated:
    """Variants `first` on, n of them, each through p poses. `parameters` (n, varied); `outputs` by name (n, p), `traits`
    and `metrics` (n,); `status` (n, p) and `variant_status` (n,) of `STATUS`, `solved` (n,) how many poses were.
    `trait_status` (n,): why a machine has not all traits of its envelope, else 0."""

    first: int
    parameters: Floats
    outputs: dict[str, Floats]
    traits: dict[str, Floats]
    metrics: dict[str, Floats]
    status: Codes
    variant_status: Codes
    solved: NDArray[np.int64]
    trait_status: Codes


def evaluate(asked: Study, first: int, last: int, room: Room | None = None) -> Evaluated:
    """Variants `first` to `last` (not included) of a study: the same numbers whatever else is evaluated, and where.

    With a `room`, outputs and status stand in it until it is used again.
    """
    room = Room() if room is None else room
    points = asked.design.points(first, last)
    count, poses = last - first, asked.poses.count
    records = np.repeat(asked.assembly.parameters, count)
    for i, name in enumerate(asked.design.names):
        records[name] = points[:, i]
    made = built(asked.assembly, records, asked.design.names)
    outputs = {name: room.array(name, (count, poses)) for name in asked.outputs}
    metrics = {each.name: np.empty(count) for each in asked.metrics}
    status, solved = room.array("status", (count, poses), np.uint8), np.empty(count, dtype=np.int64)
    step = max(1, STRETCH // poses)
    for start in range(0, count, step):
        rows = slice(start, start + step)
        values, status[rows] = _stretch(asked, records[rows], _of(made, rows), room)
        ok = status[rows] == linkage.OK
        solved[rows] = ok.sum(axis=1)
        for name, column in outputs.items():
            column[rows] = values[name]
        for each in asked.metrics:
            metrics[each.name][rows] = _metric(each, values[each.output], ok, partial=asked.partial)
    told, trait_status = envelope_values(
        asked.assembly, records, made.status == 0, asked.traits, asked.envelope
    )
    traits = {name: told[name] if name in told else _trait(made, name) for name in asked.traits}
    return Evaluated(first, points, outputs, traits, metrics, status, made.status, solved, trait_status)


def _stretch(
    asked: Study, records: NDArray[np.void], made: Built, room: Room
) -> tuple[dict[str, Floats], Codes]:
    """Every output that something hangs on, and status, shape (variants, poses); NaN of variants that are no machines.
    Both stand in `room` until the next stretch."""
    whole = made.status == 0
    wanted = tuple(dict.fromkeys((*asked.outputs, *(each.output for each in asked.metrics))))
    if wanted and whole.all():
        return _solved(asked, records, made, wanted, room)
    values = {name: np.full((len(records), asked.poses.count), np.nan) for name in wanted}
    status = np.repeat(made.status[:, None], asked.poses.count, axis=1)
    if wanted and whole.any():
        good = np.flatnonzero(whole)
        found, status[good] = _solved(asked, records[good], _of(made, good), wanted, room)
        for name in wanted:
            values[name][good] = found[name]
    return values, status


def _of(made: Built, rows: slice | NDArray[np.int64]) -> Built:
    return Built(
        made.status[rows], made.ranges[rows], made.limits[rows], made.idler[rows], made.transmission[rows]
    )


def _solved(
    asked: Study, records: NDArray[np.void], made: Built, wanted: Sequence[str], room: Room
) -> tuple[dict[str, Floats], Codes]:
    """Outputs by name and status, shape (variants, poses), of variants that are all machines."""
    count, poses = len(records), asked.poses.count
    rows = count * poses
    machine_of = room.array("machine_of", (count, poses), np.int64)
    machine_of[:] = np.arange(count)[:, None]
    machine_of = machine_of.reshape(rows)
    columns, driven = _columns(asked, records, made, machine_of)
    shared = all(column.size in (1, poses) for column in columns.values())
    if not shared:
        columns = {
            name: np.tile(column, count) if column.size == poses and poses > 1 else column
            for name, column in columns.items()
        }
    still = np.zeros(1)
    nine = tuple(_read_only(columns.get(name, still)) for name in JOINT_COLUMNS)
    solved = [name for name in wanted if name in OUTPUTS]
    out = room.array("stretch", (len(solved), rows))
    status = room.array("stretch_status", (rows,), np.uint8)
    solve_rows(
        _read_only(records), _read_only(np.ascontiguousarray(made.limits)), machine_of, nine, np.ones(len(JOINT_COLUMNS)),  # type: ignore[arg-type]
        poses if shared else rows, np.array([OUTPUTS.index(name) for name in solved], dtype=np.int64),
        np.ones(len(solved)), out, status, 0, rows,
    )  # fmt: skip
    for codes in driven:
        np.copyto(status, codes, where=codes != linkage.OK)
    values = dict(zip(solved, out, strict=True))
    if len(values) < len(wanted):
        values |= _others(asked, records, made, wanted, machine_of, _by_row(columns, poses, rows), status)
        out[:, status != linkage.OK] = np.nan
    return {name: values[name].reshape(count, poses) for name in wanted}, status.reshape(count, poses)


def _by_row(columns: Mapping[str, Floats], poses: int, rows: int) -> dict[str, Floats]:
    """Columns of one value, or one a row."""
    return {name: np.tile(column, rows // poses) if column.size not in (1, rows) else column
            for name, column in columns.items()}  # fmt: skip


def _others(
    asked: Study, records: NDArray[np.void], made: Built, wanted: Sequence[str], machine_of: NDArray[np.int64],
    columns: Mapping[str, Floats], status: Codes,
) -> dict[str, Floats]:  # fmt: skip
    """Those of `wanted` that are no `chain.OUTPUTS`, shape (rows,); a row without one of them has status dead centre."""
    tools = tool_values(asked.assembly, asked.hydraulics, made, records, machine_of, columns, wanted)
    for values in tools.values():
        status[np.isnan(values) & (status == linkage.OK)] = linkage.DEAD_CENTRE
    angles = {name: columns[name.removesuffix("_angle")] for name in wanted
              if name not in tools and name not in OUTPUTS}  # fmt: skip
    told = {
        name: np.array(np.broadcast_to(values, status.shape)) for name, values in (tools | angles).items()
    }
    for values in told.values():
        values[status != linkage.OK] = np.nan
    return told


def _columns(
    asked: Study, records: NDArray[np.void], made: Built, machine_of: NDArray[np.int64]
) -> tuple[dict[str, Floats], list[Codes]]:
    """Angles (rad) by joint, each for all, by the pose or by the row; and the status of what cylinders made."""
    columns = dict(asked.poses.angles)
    rows = machine_of.size
    for name, shares in asked.poses.travel.items():
        at = 2 * JOINTS.index(name)
        low, high = made.ranges[:, at, None], made.ranges[:, at + 1, None]
        # Beyond the end by a rounding is not beyond the stop, whose slack is a million times as wide.
        columns[name] = np.broadcast_to(
            low + (high - low) * shares[None, :], (len(records), asked.poses.count)
        ).reshape(rows)
    driven: list[Codes] = []
    flat = _read_only(records.view(np.float64).reshape(len(records), len(NAMES)))
    for name, lengths in asked.poses.cylinders.items():
        angles, status = np.empty(rows), np.empty(rows, dtype=np.uint8)
        draw_rows(
            flat,
            ENDS[DRIVEN.index(name)],
            _drawn(asked.assembly, made, name),
            machine_of,
            lengths,
            1.0,
            angles,
            status,
        )
        if name == "bucket":
            idler, codes = angles, np.empty(rows, dtype=np.uint8)
            angles = np.empty(rows)
            follow_rows(flat, _bar(asked.assembly, made), machine_of, idler, 1.0, 0, angles, codes)
            status = np.where(status != linkage.OK, status, codes)
        columns[name] = angles
        driven.append(status)
    return columns, driven


def _drawn(assembly: Assembly, made: Built, joint: str) -> Floats:
    """What `drive_columns.draw_rows` takes of each variant."""
    cylinder, at = assembly.cylinders[joint], 2 * JOINTS.index(joint)
    low, high = (
        (made.idler[:, 2], made.idler[:, 3])
        if joint == "bucket"
        else (made.limits[:, at], made.limits[:, at + 1])
    )
    ends = (
        (made.idler[:, 0], made.idler[:, 1])
        if joint == "bucket"
        else (made.ranges[:, at], made.ranges[:, at + 1])
    )
    fixed = (float(cylinder.extending), cylinder.stroke.low, cylinder.stroke.high)
    return np.column_stack(
        [*(np.full(len(low), each) for each in fixed), 0.5 * (ends[0] + ends[1]), low, high]
    )


def _bar(assembly: Assembly, made: Built) -> Floats:
    """What `drive_columns.follow_rows` takes of each variant."""
    at = 2 * JOINTS.index("bucket")
    branch = np.nan if assembly.links is None else assembly.links[6]
    middle = 0.5 * (made.idler[:, 0] + made.idler[:, 1])
    return np.column_stack([
        np.full(len(middle), branch), middle, made.idler[:, 2], made.idler[:, 3],
        0.5 * (made.ranges[:, at] + made.ranges[:, at + 1]),
    ])  # fmt: skip


def _trait(made: Built, name: str) -> Floats:
    if name == LEAST_TRANSMISSION:
        return made.transmission
    at = 2 * JOINTS.index(name.removesuffix("_travel"))
    travel: Floats = made.ranges[:, at + 1] - made.ranges[:, at]
    return travel


def _metric(metric: Metric, values: Floats, ok: NDArray[np.bool_], *, partial: bool) -> Floats:
    """One number a variant, NaN where a pose it hangs on was not solved."""
    if metric.how == "at":
        chosen: Floats = values[:, metric.at].copy()
        return chosen
    counts = ok.any(axis=1) if partial else ok.all(axis=1)
    out = np.full(len(values), np.nan)
    if counts.any():
        rows = values[counts]
        out[counts] = _of_rows(metric, rows) if ok[counts].all() else np.array(
            [_of_rows(metric, row[None, solved])[0] for row, solved in zip(rows, ok[counts], strict=True)]
        )  # fmt: skip
    return out


def _of_rows(metric: Metric, rows: Floats) -> Floats:
    match metric.how:
        case "least":
            found = rows.min(axis=1)
        case "greatest":
            found = rows.max(axis=1)
        case "span":
            found = rows.max(axis=1) - rows.min(axis=1)
        case "mean":
            found = rows.mean(axis=1)
        case "standard":
            found = rows.std(axis=1)
        case _:
            found = ((rows >= metric.low) & (rows <= metric.high)).mean(axis=1)
    return np.asarray(found, dtype=np.float64)


def _read_only(array: NDArray[Number]) -> NDArray[Number]:
    view = array.view()
    view.flags.writeable = False
    return view
