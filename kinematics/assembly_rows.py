"""Many variants of one machine assembled: which of them close over their stroke, and how far their joints then go.

The rules of `assembly`, row after row without an object each. Where `assembly` samples the bucket's linkage, this
looks at the few positions where something can happen: the distance from idler pin to bucket pin is extreme at the ends
of the stroke and where the idler points at or away from the bucket pin; the bucket turns round only where idler and
power link lie in one line.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from . import linkage
from .assembly import JOINTS, STOP_SLACK_RAD, Assembly
from .compiled import compiled
from .fleet import MOST
from .linkage import bucket_from_idler, joint_from_cylinder, meet, side_of, wrapped
from .machine import SHORTEST_LINK_M, UNIT_WITHIN, Cylinder
from .parameters import CYLINDER_PINS, NAMES

Floats = NDArray[np.float64]
DRIVEN = ("boom", "fore_boom", "stick", "bucket")
LENGTH_ABSURD, ZERO_LENGTH, NOT_A_DIRECTION, CENTRE_OUTSIDE = 32, 33, 34, 35
_FAULTS = ("no-closure", "dead-centre")
_DRIVE = 40
_BAR = 50
PASSES_TOGGLE = _BAR + 3

VARIANT_STATUS: Mapping[int, str] = MappingProxyType(
    {
        LENGTH_ABSURD: "length-absurd",
        ZERO_LENGTH: "zero-length-link",
        NOT_A_DIRECTION: "not-a-direction",
        CENTRE_OUTSIDE: "centre-outside",
    }
    | {_DRIVE + 2 * k + i: f"{part}-cylinder-{code}" for k, part in enumerate(DRIVEN) for i, code in enumerate(_FAULTS)}
    | {_BAR + 1: "bucket-no-closure", _BAR + 2: "bucket-dead-centre", PASSES_TOGGLE: "bucket-passes-toggle"}
)  # fmt: skip
"""Why a variant is no machine: the code under which `assemble` or `varied` would have refused it, with the part."""

_NOWHERE = -1
_LINKS = np.array([
    NAMES.index(name)
    for name in ("idler_pivot_x", "idler_pivot_z", "idler_length", "power_link_length", "stick_length", "pin_spacing")
])  # fmt: skip
# Foot x, foot z, eye x, eye z of each of `DRIVEN`; the bucket cylinder's eye is the idler's outer pin.
ENDS = np.array([
    [NAMES.index(f"{part}_cylinder_{pin}") for pin in CYLINDER_PINS[part]] if part != "bucket" else
    [NAMES.index("bucket_cylinder_foot_x"), NAMES.index("bucket_cylinder_foot_z"), NAMES.index("idler_length"), _NOWHERE]
    for part in DRIVEN
])  # fmt: skip
_AT = np.array([2 * JOINTS.index(part) for part in DRIVEN])


@dataclass(frozen=True, slots=True, eq=False)
class Built:
    """Variants of a machine. Shapes: `status` (n,), 0 or a number of `VARIANT_STATUS`; `ranges` and `limits` (n, 14),
    rad, low and high of each of `assembly.JOINTS`, without and with the slack of their stops; `idler` (n, 4), range and
    limits of the idler; `transmission` (n,), rad, the least angle between power link and pin line from a dead centre,
    over the stroke. NaN in rows that are no machine and where there is no linkage."""

    status: NDArray[np.uint8]
    ranges: Floats
    limits: Floats
    idler: Floats
    transmission: Floats


def built(assembly: Assembly, records: NDArray[np.void], names: Sequence[str]) -> Built:
    """Assemble variants of `assembly`: `records` (n,) of `parameters.RECORD`, of which `names` differ from it.

    Strokes and measured joint ranges stay those of the machine. With a power link 20 mm longer the bucket of a mini
    excavator begins and ends its turn some degrees later; 300 mm longer it no longer closes.
    """
    flat = np.ascontiguousarray(records).view(np.float64).reshape(len(records), len(NAMES))
    flat.flags.writeable = False  # of one type, whoever owns the records: else it would be compiled for both
    count = len(records)
    ranges = np.zeros((count, 2 * len(JOINTS)))
    for i, joint in enumerate(JOINTS):
        span = assembly.ranges.get(joint)
        if span is not None:
            ranges[:, 2 * i], ranges[:, 2 * i + 1] = span.low, span.high
    limits = np.repeat(assembly.limits[None, :], count, axis=0)
    idler = np.full((count, 4), np.nan)
    if assembly.idler is not None and assembly.idler_limits is not None:
        idler[:] = (
            assembly.idler.low,
            assembly.idler.high,
            assembly.idler_limits.low,
            assembly.idler_limits.high,
        )
    drives = np.full((len(DRIVEN), 3), np.nan)
    for k, part in enumerate(DRIVEN):
        cylinder = assembly.cylinders.get(part)
        if isinstance(cylinder, Cylinder):
            drives[k] = cylinder.stroke.low, cylinder.stroke.high, float(cylinder.extending)
    status = impossible(flat, names)
    transmission = np.full(count, np.nan)
    branch = 0.0 if assembly.links is None else assembly.links[6]
    build_rows(flat, drives, branch, ranges, limits, idler, transmission, status)
    return Built(status, ranges, limits, idler, transmission)


def impossible(flat: Floats, names: Sequence[str]) -> NDArray[np.uint8]:
    """What no machine can be, as `fleet.varied` has it: 0 or the first of `VARIANT_STATUS`, shape (n,)."""
    status = np.zeros(len(flat), dtype=np.uint8)

    def column(name: str) -> Floats:
        found: Floats = flat[:, NAMES.index(name)]
        return found

    def say(code: int, bad: NDArray[np.bool_]) -> None:
        status[bad & (status == 0)] = code

    for name in names:
        values = column(name)
        say(LENGTH_ABSURD, ~(np.abs(values) <= MOST))
        if name.endswith("_length") or name == "pin_spacing":
            say(ZERO_LENGTH, values < SHORTEST_LINK_M)
    for name in ("tilt_axis", "rotate_axis", "mast"):
        size = np.sqrt(sum(column(f"{name}_{axis}") ** 2 for axis in "xyz"))
        say(NOT_A_DIRECTION, np.abs(size - 1.0) > UNIT_WITHIN)
    left, centre, right = (column(f"{point}_y") for point in ("left", "centre", "right"))
    say(CENTRE_OUTSIDE, ~((right < centre) & (centre < left)))
    return status


@compiled
def build_rows(
    flat: Floats, drives: Floats, branch: float, ranges: Floats, limits: Floats, idler: Floats, transmission: Floats,
    status: NDArray[np.uint8],
) -> None:  # fmt: skip
    """`built` for rows whose status is 0: `drives` shape (4, 3), shortest and longest length (m) and direction of each
    of `DRIVEN`, NaN for one held otherwise; `branch` 0 where there is no linkage."""
    for row in range(flat.shape[0]):
        m = flat[row]
        found = int(status[row])
        for k in range(4):
            if found != 0 or not math.isfinite(drives[k, 0]):
                continue
            low, high, code = drive_range(m, ENDS[k], drives[k, 0], drives[k, 1], drives[k, 2])
            if code != linkage.OK:
                found = _DRIVE + 2 * k + code - 1
            elif k < 3:
                at = _AT[k]
                ranges[row, at], ranges[row, at + 1] = low, high
                limits[row, at], limits[row, at + 1] = low - STOP_SLACK_RAD, high + STOP_SLACK_RAD
            else:
                idler[row, 0], idler[row, 1] = low, high
        if found == 0 and branch != 0.0:
            low, high, worst, code = bar_range(m, idler[row, 0], idler[row, 1], branch)
            if code != 0:
                found = _BAR + code
            else:
                at = _AT[3]
                ranges[row, at], ranges[row, at + 1] = low, high
                transmission[row] = worst
                a, b, c, d = bar_slack(m, idler[row, 0], idler[row, 1], low, high, branch)
                idler[row, 2], idler[row, 3] = a, b
                limits[row, at], limits[row, at + 1] = c, d
        status[row] = found
        if found != 0:
            ranges[row, :] = math.nan
            limits[row, :] = math.nan
            idler[row, :] = math.nan


@compiled
def drive_range(
    m: Floats, ends: NDArray[np.int64], shortest: float, longest: float, extending: float
) -> tuple[float, float, int]:
    """(low, high, status) of what a cylinder turns over its stroke, rad, its middle within half a turn of 0."""
    eye_z = m[ends[3]] if ends[3] != _NOWHERE else 0.0
    one, first, _ = joint_from_cylinder(shortest, m[ends[0]], m[ends[1]], m[ends[2]], eye_z, extending)
    other, second, _ = joint_from_cylinder(longest, m[ends[0]], m[ends[1]], m[ends[2]], eye_z, extending)
    if linkage.NO_CLOSURE in (first, second):
        return math.nan, math.nan, linkage.NO_CLOSURE
    if first != linkage.OK or second != linkage.OK:
        return math.nan, math.nan, linkage.DEAD_CENTRE
    low = one if extending > 0.0 else other
    high = other if extending > 0.0 else one
    while high < low:
        high += 2.0 * math.pi
    turns = 2.0 * math.pi * math.floor((0.5 * (low + high) + math.pi) / (2.0 * math.pi))
    return low - turns, high - turns, linkage.OK


@compiled
def bar_at(m: Floats, idler: float, branch: float) -> tuple[float, float, float, int]:
    """(bucket, transmission, d bucket / d idler, status) of the four-bar of a record at an idler angle (rad)."""
    bucket, _, angle, ratio, status, _ = bucket_from_idler(
        idler, m[_LINKS[0]], m[_LINKS[1]], m[_LINKS[2]], m[_LINKS[3]], m[_LINKS[4]], m[_LINKS[5]], branch
    )
    return bucket, angle, ratio, status


@compiled
def bar_range(m: Floats, low: float, high: float, branch: float) -> tuple[float, float, float, int]:
    """(least, greatest bucket angle, worst transmission, status) over the idler's range, rad: 0, or 1 no closure, 2 dead
    centre, 3 a toggle on the way."""
    towards = math.atan2(-m[_LINKS[1]], m[_LINKS[4]] - m[_LINKS[0]])
    middle = 0.5 * (low + high)
    first, _, ratio, _ = bar_at(m, low, branch)
    last = first
    worst = math.pi
    missed = False
    dead = False
    for k in range(4):
        idler = low if k == 0 else high
        if k >= 2:
            idler = wrapped(towards + (k - 2) * math.pi, middle)
        if not low <= idler <= high:
            continue
        bucket, angle, _, status = bar_at(m, idler, branch)
        missed = missed or status == linkage.NO_CLOSURE
        dead = dead or status == linkage.DEAD_CENTRE
        worst = min(worst, angle, math.pi - angle)
        last = bucket if k == 1 else last
    if missed:
        return math.nan, math.nan, math.nan, 1
    if dead:
        return math.nan, math.nan, math.nan, 2
    if toggles(m, low, high, branch):
        return math.nan, math.nan, math.nan, 3
    turned = wrapped(last - first, math.pi) if ratio > 0.0 else wrapped(last - first, -math.pi)
    least, greatest = min(first, first + turned), max(first, first + turned)
    turns = 2.0 * math.pi * math.floor((0.5 * (least + greatest) + math.pi) / (2.0 * math.pi))
    return least - turns, greatest - turns, worst, 0


@compiled
def toggles(m: Floats, low: float, high: float, branch: float) -> bool:
    """Whether idler and power link come into one line, stretched or folded, within the idler's range (rad)."""
    px, pz, idler_length, power_link, pin_x, spacing = (
        m[_LINKS[0]], m[_LINKS[1]], m[_LINKS[2]], m[_LINKS[3]], m[_LINKS[4]], m[_LINKS[5]],
    )  # fmt: skip
    middle = 0.5 * (low + high)
    for k in range(4):
        stretched = k < 2
        reach = idler_length + power_link if stretched else abs(idler_length - power_link)
        side = 1.0 - 2.0 * (k % 2)
        kx, kz, _, status, _ = meet(px, pz, reach, pin_x, 0.0, spacing, side)
        if status == linkage.NO_CLOSURE or not reach > 0.0:
            continue
        way = 1.0 if stretched or idler_length >= power_link else -1.0
        hx = px + way * idler_length * (kx - px) / reach
        hz = pz + way * idler_length * (kz - pz) / reach
        idler = wrapped(math.atan2(hz - pz, hx - px), middle)
        if low <= idler <= high and branch * side_of(hx, hz, pin_x, 0.0, kx, kz) > 0.0:
            return True
    return False


@compiled
def bar_slack(
    m: Floats, low: float, high: float, least: float, greatest: float, branch: float
) -> tuple[float, float, float, float]:
    """(low, high of the idler, of the bucket) with the slack of an end stop, rad, as `assembly` has it."""
    middle = 0.5 * (least + greatest)
    ends_low, ends_high = low, high
    reached_low, reached_high = least, greatest
    bucket, _, _, status = bar_at(m, low - STOP_SLACK_RAD, branch)
    if status == linkage.OK:
        ends_low = low - STOP_SLACK_RAD
        reached_low = min(reached_low, wrapped(bucket, middle))
        reached_high = max(reached_high, wrapped(bucket, middle))
    bucket, _, _, status = bar_at(m, high + STOP_SLACK_RAD, branch)
    if status == linkage.OK:
        ends_high = high + STOP_SLACK_RAD
        reached_low = min(reached_low, wrapped(bucket, middle))
        reached_high = max(reached_high, wrapped(bucket, middle))
    return ends_low, ends_high, reached_low - 1e-12, reached_high + 1e-12
