"""The digging envelope of every variant: its named dimensions as `envelope` finds them, one variant after the other."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .envelope import DIMENSIONS, FLOOR_M, digging_envelope
from .errors import Fault, Refused
from .variant import variant

Floats = NDArray[np.float64]
OF_GROUND = tuple(name for name in DIMENSIONS if name not in ("reach", "swing_radius"))
_CODES = {"digging_depth": 60, "level_floor_depth": 61, "reach_at_ground": 62, "dump_height": 63}
NO_ENVELOPE = 64
ENVELOPE_STATUS: Mapping[int, str] = MappingProxyType(
    {code: f"no-{name.replace('_', '-')}" for name, code in _CODES.items()} | {NO_ENVELOPE: "no-envelope"}
)
"""Why a variant has no number: it stays above ground there, no level line is reached that far, it does not get to the
height of the ground, no posture has the point plumb below the pin; or it has no envelope at all."""


@dataclass(frozen=True, slots=True)
class EnvelopeAsked:
    """What `digging_envelope` is asked with: `point` of the bucket, `ground` (m over the body origin), `floor` (m), and
    joints that stand (rad)."""

    point: str | None = None
    ground: float | None = None
    floor: float = FLOOR_M
    fore_boom: float | None = None
    tilt: float | None = None
    rotate: float | None = None


def envelope_faults(assembly: Assembly, traits: Sequence[str], asked: EnvelopeAsked) -> Iterator[Fault]:
    """What can be told before: as `digging_envelope` of the machine as measured, and "no-ground" for a dimension of
    `OF_GROUND` where nobody says where the ground is."""
    if not any(name in DIMENSIONS for name in traits):
        return
    try:
        digging_envelope(assembly, **_given(asked))  # type: ignore[arg-type]
    except Refused as refused:
        yield from (fault.at("envelope") for fault in refused.faults)
    if asked.ground is None and assembly.machine.boom_foot_height is None:
        named = [name for name in traits if name in OF_GROUND]
        if named:
            yield Fault("no-ground", "envelope.ground", f"{', '.join(named)} over a ground that nobody gave",
                        "ground, or boom_foot_height in the machine's profile", "add one of them")  # fmt: skip


def _given(asked: EnvelopeAsked) -> dict[str, object]:
    return {name: getattr(asked, name) for name in EnvelopeAsked.__slots__}


def envelope_values(
    assembly: Assembly, records: NDArray[np.void], whole: NDArray[np.bool_], names: Sequence[str], asked: EnvelopeAsked
) -> tuple[dict[str, Floats], NDArray[np.uint8]]:  # fmt: skip
    """Those of `names` that are of `envelope.DIMENSIONS` (m) and a status of `ENVELOPE_STATUS`, shape (variants,): NaN,
    and the first reason, where there is none; of variants that are no machines (not `whole`) NaN and 0."""
    wanted = [name for name in names if name in DIMENSIONS]
    values = {name: np.full(len(records), np.nan) for name in wanted}
    status = np.zeros(len(records), dtype=np.uint8)
    if not wanted:
        return values, status
    for i in np.flatnonzero(whole).tolist():
        try:
            one = variant(assembly, records[i : i + 1])
            found = digging_envelope(one, **_given(asked), swing_radius="swing_radius" in wanted)  # type: ignore[arg-type]
        except Refused:
            status[i] = NO_ENVELOPE
            continue
        for name in wanted:
            if name in found.dimensions:
                values[name][i] = found.dimensions[name].value
            elif status[i] == 0:
                status[i] = _CODES[name]
    return values, status
