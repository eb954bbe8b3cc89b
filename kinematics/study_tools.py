"""What a bucket's cylinders and links do in each pose of each variant: tool forces as `forces`, the linkage's ratios as
`linkage_course`, row after row without an object each."""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .assembly_rows import Built, bar_at
from .chain import hitch_from_bucket
from .compiled import compiled
from .errors import Fault
from .forces import MODES
from .hydraulics import RAMS, Hydraulics
from .linkage import DEAD_CENTRE, OK, idler_from_bucket, side_of
from .maps import place
from .parameters import BUCKET_POINTS, CYLINDER_PINS, NAMES
from .rates import triangle_rates

BY_IDLER, TRANSMISSION, BY_CYLINDER = "bucket_by_idler", "transmission_angle", "bucket_by_cylinder"
LINKAGE = (BY_IDLER, TRANSMISSION, BY_CYLINDER)
_FORCE, _LIMIT = "_force_by_", "_limit_by_"
Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Records = np.ndarray[tuple[int], np.dtype[np.void]]
# Foot and eye of each of `RAMS`; the bucket cylinder's eye is the idler's outer pin.
_PINS = np.array([
    [NAMES.index(f"{ram}_cylinder_{pin}") for pin in CYLINDER_PINS[ram]] if ram != "bucket" else
    [NAMES.index("bucket_cylinder_foot_x"), NAMES.index("bucket_cylinder_foot_z"), NAMES.index("idler_length"), -1]
    for ram in RAMS
])  # fmt: skip
_LENGTHS = np.array([NAMES.index(name) for name in ("boom_length", "fore_boom_length", "stick_length")])
_BAR = np.array([
    NAMES.index(name)
    for name in ("idler_pivot_x", "idler_pivot_z", "idler_length", "power_link_length", "stick_length", "pin_spacing")
])  # fmt: skip


def tool_outputs(assembly: Assembly, hydraulics: Hydraulics | None) -> tuple[str, ...]:
    """What can be asked of a pose beside its places: of a machine with a bucket linkage `BY_IDLER` (d bucket / d idler),
    `TRANSMISSION` (rad) and, with a cylinder, `BY_CYLINDER` (d bucket / d cylinder, rad/m; negative where a longer one
    curls the bucket in); of one whose working cylinder's bore is known "centre_force_by_bucket" (N) and
    "centre_limit_by_bucket", which of `RAMS` allows no more; of every point of the bucket and every mode of `forces`."""
    known = tuple(mode for mode in MODES if hydraulics is not None and mode in hydraulics.rams
                  and mode in assembly.cylinders)  # fmt: skip
    points = tuple(name for name in BUCKET_POINTS if not np.isnan(assembly.parameters[f"{name}_x"][0]))
    found = tuple(f"{point}{kind}{mode}" for point in points for mode in known for kind in (_FORCE, _LIMIT))
    if assembly.links is None:
        return found
    return (*found, *(LINKAGE if "bucket" in assembly.cylinders else LINKAGE[:2]))


def is_force(name: str) -> bool:
    """Whether an output is a force (N)."""
    return _FORCE in name


def is_limit(name: str) -> bool:
    """Whether an output says which cylinder limits: an index of `RAMS`, no quantity."""
    return _LIMIT in name


def no_tool(assembly: Assembly, hydraulics: Hydraulics | None, where: str, name: str) -> Fault | None:
    """Why an output is none of `tool_outputs` though its name is; None for any other name."""
    if name in LINKAGE:
        return Fault("no-linkage", where, repr(name), "a machine with a measured bucket linkage and cylinder",
                     "measure them, or choose another output")  # fmt: skip
    point, kind, mode = _parts(name)
    if not kind or mode not in MODES or point not in BUCKET_POINTS:
        return None
    if np.isnan(assembly.parameters[f"{point}_x"][0]):
        return Fault("no-such-point", where, repr(name), "a point that the profile has",
                     "choose another output, or measure it")  # fmt: skip
    if mode not in assembly.cylinders:
        return Fault("no-cylinder", where, repr(name), "the pins of the cylinder that works", "measure them")
    known = hydraulics is not None and mode in hydraulics.rams
    return None if known else Fault("no-bore", where, repr(name), f"[hydraulics.{mode}] in the machine's profile",
                                    "add bore and pressures")  # fmt: skip


def _parts(name: str) -> tuple[str, str, str]:
    for kind in (_FORCE, _LIMIT):
        point, found, mode = name.partition(kind)
        if found:
            return point, found, mode
    return "", "", ""


def tool_values(
    assembly: Assembly, hydraulics: Hydraulics | None, made: Built, records: Records, machine_of: Whole,
    columns: Mapping[str, Floats], wanted: Sequence[str],
) -> dict[str, Floats]:  # fmt: skip
    """Those of `wanted` that are `tool_outputs`, shape (rows,); NaN with the bucket linkage at dead centre. `columns` of
    joints by name: one value, or one a row."""
    rows = machine_of.size
    flat = records.view(np.float64).reshape(len(records), len(NAMES))
    branch = 0.0 if assembly.links is None else assembly.links[6]
    sides = np.zeros(len(records))
    write_sides(flat, 0.5 * (made.idler[:, 0] + made.idler[:, 1]), branch, sides)
    joints = np.zeros((4, rows))
    for k, name in enumerate(RAMS):
        if name in columns:
            joints[k] = columns[name]
    found: dict[str, Floats] = {}
    if any(name in LINKAGE for name in wanted):
        ratios = np.empty((3, rows))
        write_linkage(flat, machine_of, joints[3], branch, sides, ratios)
        found |= {name: ratios[k] for k, name in enumerate(LINKAGE) if name in wanted}
    still = np.zeros(1)
    tips = np.empty((2, rows))
    for name in wanted:
        point, kind, mode = _parts(name)
        if not kind or name in found or hydraulics is None:
            continue
        at = np.array([NAMES.index(f"{point}_{axis}") for axis in "xyz"])
        write_tips(
            records, flat, machine_of, columns.get("tilt", still), columns.get("rotate", still), at, tips
        )
        force = np.empty((2, rows))
        write_forces(
            flat,
            machine_of,
            joints,
            tips,
            branch,
            sides,
            _rams(assembly, hydraulics, mode),
            RAMS.index(mode),
            force,
        )
        pair = {f"{point}{_FORCE}{mode}": force[0], f"{point}{_LIMIT}{mode}": force[1]}
        found |= {each: values for each, values in pair.items() if each in wanted}
    return found


def _rams(assembly: Assembly, hydraulics: Hydraulics, mode: str) -> Floats:
    """Of each of `RAMS` the thrust (N) that it allows pushing and pulling, NaN where nobody knows it."""
    found = np.full((len(RAMS), 2), np.nan)
    for k, name in enumerate(RAMS):
        if name in assembly.cylinders and name in hydraulics.rams:
            ram = hydraulics.rams[name]
            allowed = ram.working_pressure if name == mode else ram.holding_pressure
            found[k] = allowed * ram.area(pushing=True), allowed * ram.area(pushing=False)
    return found


@compiled
def write_sides(flat: Floats, idlers: Floats, branch: float, out: Floats) -> None:
    """On which side of the way from its pivot to the link pin each variant's idler pin lies, as `Assembly.idler_side`."""
    for row in range(flat.shape[0]):
        if branch == 0.0:
            continue
        m = flat[row]
        bucket, _, _, _ = bar_at(m, idlers[row], branch)
        px = m[_BAR[0]]
        pz = m[_BAR[1]]
        kx = m[_BAR[4]] + m[_BAR[5]] * math.cos(bucket)
        kz = m[_BAR[5]] * math.sin(bucket)
        hx = px + m[_BAR[2]] * math.cos(idlers[row])
        hz = pz + m[_BAR[2]] * math.sin(idlers[row])
        out[row] = math.copysign(1.0, side_of(px, pz, kx, kz, hx, hz))


@compiled
def write_tips(
    records: Records, flat: Floats, machine_of: Whole, tilt: Floats, rotate: Floats, at: Whole, out: Floats
) -> None:
    """A point of the bucket in the hitch's plane (m), as `forces` has it, into `out` (2, rows)."""
    for row in range(machine_of.size):
        machine = machine_of[row]
        m = flat[machine]
        carried = hitch_from_bucket(
            records[machine], tilt[row if tilt.size > 1 else 0], rotate[row if rotate.size > 1 else 0]
        )
        x, _, z = place(carried, m[at[0]], m[at[1]], m[at[2]])
        out[0, row], out[1, row] = x, z


@compiled
def bucket_bar(m: Floats, bucket: float, branch: float, side: float) -> tuple[float, float, float, int]:
    """(idler rad, d bucket / d idler, transmission rad, status) at a bucket angle (rad)."""
    idler, status, _ = idler_from_bucket(
        bucket, m[_BAR[0]], m[_BAR[1]], m[_BAR[2]], m[_BAR[3]], m[_BAR[4]], m[_BAR[5]], branch, side
    )
    if status not in (OK, DEAD_CENTRE):
        return math.nan, math.nan, math.nan, status
    _, transmission, ratio, _ = bar_at(m, idler, branch)
    return idler, ratio, transmission, status


@compiled
def stretch_of(m: Floats, ram: int, angle: float, branch: float, side: float) -> float:
    """d cylinder / d joint (m/rad) of one of `RAMS` at its joint's angle (rad), as `forces.stretches`."""
    pins = _PINS[ram]
    if ram == 3 and branch != 0.0:
        idler, ratio, _, status = bucket_bar(m, angle, branch, side)
        if status != OK:
            return math.nan
        by_idler, _, _, _, _ = triangle_rates(idler, m[pins[0]], m[pins[1]], m[pins[2]], 0.0)
        return by_idler / ratio
    by_angle, _, _, _, _ = triangle_rates(angle, m[pins[0]], m[pins[1]], m[pins[2]], m[pins[3]])
    return by_angle


@compiled
def write_linkage(
    flat: Floats, machine_of: Whole, buckets: Floats, branch: float, sides: Floats, out: Floats
) -> None:
    """The three of `LINKAGE` into `out` (3, rows); the last NaN where no cylinder was measured."""
    for row in range(machine_of.size):
        m = flat[machine_of[row]]
        idler, ratio, transmission, _ = bucket_bar(m, buckets[row], branch, sides[machine_of[row]])
        pins = _PINS[3]
        by_idler, _, _, _, _ = triangle_rates(idler, m[pins[0]], m[pins[1]], m[pins[2]], 0.0)
        out[0, row], out[1, row], out[2, row] = ratio, transmission, ratio / by_idler


@compiled
def write_forces(
    flat: Floats, machine_of: Whole, joints: Floats, tips: Floats, branch: float, sides: Floats, rams: Floats, mode: int,
    out: Floats,
) -> None:  # fmt: skip
    """The greatest force (N) and which of `RAMS` allows no more into `out` (2, rows), NaN both at dead centre; `rams` as
    `_rams`, `mode` the one that works."""
    moves = np.empty((4, 2))
    for row in range(machine_of.size):
        m = flat[machine_of[row]]
        along = joints[0, row] + joints[1, row] + joints[2, row] + joints[3, row]
        c = math.cos(along)
        s = math.sin(along)
        x = tips[0, row] * c - tips[1, row] * s
        z = tips[0, row] * s + tips[1, row] * c
        for back in range(4):
            ram = 3 - back
            moves[ram, 0], moves[ram, 1] = -z, x
            along -= joints[ram, row]
            if ram > 0:
                length = m[_LENGTHS[ram - 1]]
                x += length * math.cos(along)
                z += length * math.sin(along)
        size = math.hypot(moves[mode, 0], moves[mode, 1])
        ahead = -moves[mode, 0] / size
        up = -moves[mode, 1] / size
        best = math.inf
        limit = math.nan
        for ram in range(4):
            if not math.isfinite(rams[ram, 0]):
                continue
            stretch = stretch_of(m, ram, joints[ram, row], branch, sides[machine_of[row]])
            thrust = (ahead * moves[ram, 0] + up * moves[ram, 1]) / stretch
            if math.isnan(thrust):
                best = math.nan
            most = math.inf
            if thrust != 0.0:
                most = rams[ram, 0 if thrust > 0.0 else 1] / abs(thrust)
            if most < best:
                best = most
                limit = float(ram)
        out[0, row] = best
        out[1, row] = limit if math.isfinite(best) else math.nan
        if not math.isfinite(best):
            out[0, row] = math.nan
