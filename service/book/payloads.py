"""What each type of event carries. Written once, never migrated; an older version is upcast on reading.

Lengths in metres, angles in degrees as they were given. An event keeps both what was measured (angles) and
the heights computed from it at the time, as a level book keeps its readings: replaying needs no profile.
"""

import math
from collections.abc import Callable
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from kinematics.estimates import MOST
from kinematics.estimates import Estimates as Surroundings
from kinematics.units import LengthUnit, from_metres

from .dug_payloads import CheckTaken
from .payload_base import Json as Json  # noqa: PLC0414  # also named as of here
from .payload_base import Payload as Payload  # noqa: PLC0414  # also named as of here
from .payload_base import PoseRecord as PoseRecord  # noqa: PLC0414  # also named as of here
from .staff_payloads import CertificateIssued, LaserTested, RodChecked, WearChecked


class Rules(BaseModel):
    """What makes a strike believable and a reading fresh, in the units of the door."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)
    speed_mm_per_revolution: float = Field(
        3.0,
        ge=0.01,
        le=100,
        description="Vertical travel of the receiver per turn of the laser head, at most.",
    )
    mast_deg: float = Field(10.0, ge=0.01, le=45, description="Receiver mast from plumb, at most.")
    steady_deg: float = Field(
        0.05, ge=0.001, le=10, description="Spread of the body's tilt over `steady_s`, at most."
    )
    steady_s: float = Field(1.0, ge=0.01, le=600, description="How long the body must have rested.")
    surprise_mm: float = Field(
        50.0,
        ge=0.01,
        le=10_000,
        description="Distance from the predicted plane, at most, if the tracks did not move.",
    )
    up_down_mm: float = Field(
        10.0,
        ge=0.01,
        le=1000,
        description="Half the difference between crossing upwards and downwards, at most.",
    )
    age_limit_s: float = Field(2.0, gt=0, le=60, description="Older readings give no number.")


_USUAL = Surroundings()


def _mm(metres: float) -> float:
    return from_metres(metres, LengthUnit.MM)


def _arcsec(angle: float) -> float:
    """Arc seconds of an angle (rad), without the noise of the last bits: 10, not 10.000000000000002."""
    return round(math.degrees(angle) * 3600.0, 9)


class Estimates(BaseModel):
    """What the job's surroundings add to the uncertainty of a readout, in the units of the door.

    All are sizes, 0 or more. The defaults are common practice, no source.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)
    contact_mm: float = Field(
        _mm(_USUAL.contact), ge=0, le=_mm(MOST["contact"]),
        description="Standard uncertainty of how the edge rests on a benchmark or turning point.",
    )  # fmt: skip
    benchmark_mm: float = Field(
        _mm(_USUAL.benchmark), ge=0, le=_mm(MOST["benchmark"]),
        description="Standard uncertainty of benchmarks that were given none of their own, against the job's datum.",
    )  # fmt: skip
    receiver_mm: float = Field(
        _mm(_USUAL.receiver), ge=0, le=_mm(MOST["receiver"]),
        description="Standard uncertainty of one crossing of the laser plane by the receiver.",
    )  # fmt: skip
    laser_level_arcsec: float = Field(
        _arcsec(_USUAL.laser_level), ge=0, le=_arcsec(MOST["laser_level"]),
        description="Standard uncertainty of the laser plane's tilt, in arc seconds: 10 are 1.5 mm at 30 m.",
    )  # fmt: skip
    places_apart_m: float = Field(
        _USUAL.places_apart, ge=0, le=MOST["places_apart"],
        description="How far apart the receiver's places before and after a move typically are.",
    )  # fmt: skip
    laser_distance_m: float = Field(
        _USUAL.laser_distance, ge=0, le=MOST["laser_distance"],
        description="The farthest that the receiver is from the laser, for the curvature of the earth.",
    )  # fmt: skip
    temperature_k: float = Field(
        _USUAL.temperature, ge=0, le=MOST["temperature"],
        description="Standard uncertainty of how far the temperature has gone since the height was set, in kelvins.",
    )  # fmt: skip
    distance_mm: float = Field(
        _mm(_USUAL.distance), ge=0, le=_mm(MOST["distance"]),
        description="Standard uncertainty of a taped distance or a touched station.",
    )  # fmt: skip


class JobOpened(Payload):
    name: str
    units: str
    datum: str
    rules: Rules
    estimates: Estimates = Field(default_factory=Estimates)


class RulesSet(Payload):
    rules: Rules


class EstimatesSet(Payload):
    estimates: Estimates


class BenchmarkDeclared(Payload):
    name: str
    elevation_m: float
    uncertainty_m: float | None = None
    entered: str


class SetupBegun(Payload):
    machine: str
    machine_hash: str
    attachment: str
    attachment_hash: str


class AttachmentChanged(Payload):
    attachment: str
    attachment_hash: str


class Moved(Payload):
    pass


class Swung(Payload):
    pass


class LaserSetUp(Payload):
    revolutions_per_s: float
    fall_percent: float


class ReceiverClamped(Payload):
    place_m: tuple[float, float, float] | None


class Touched(Payload):
    point: str
    purpose: Literal["reference", "check"]
    edge_point: str
    pose: PoseRecord
    edge_height_m: float
    role: str
    elevation_m: float | None
    misclosure_m: float | None
    gives_plane: bool


class TurningPointTaken(Payload):
    name: str
    edge_point: str
    pose: PoseRecord
    edge_height_m: float
    elevation_m: float


class Reason(BaseModel):
    """One reason why a strike was turned down."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    code: str
    found: str
    expected: str
    advice: str
    numbers: dict[str, float]


class Struck(Payload):
    poses: tuple[PoseRecord, ...]
    receiver_height_m: float
    half_difference_m: float | None
    vertical_speed_mm_s: float
    mast_deg: float
    tilt_spread_deg: float
    steady_s: float
    along_fall_m: float | None
    taken: bool
    because: tuple[Reason, ...]
    role: str
    elevation_m: float | None
    misclosure_m: float | None


class LayerRecord(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    name: str
    thickness_m: float


class TargetSet(Payload):
    name: str
    benchmark: str
    layers: tuple[LayerRecord, ...]
    overdig_m: float
    tolerance_m: float
    floor_limit_below_m: float | None
    along_percent: float
    across_percent: float


class StationTouched(Payload):
    target: str
    station_m: float
    edge_point: str
    pose: PoseRecord
    x_m: float
    y_m: float
    direction_rad: float
    plumb: tuple[float, float, float]
    setup: int


class Withdrawn(Payload):
    seq: int
    reason: str


class SeatTaken(Payload):
    """The actor of the event sits at the machine now."""


class Acknowledged(Payload):
    """Entries that waited take effect here, in this order."""

    seqs: tuple[int, ...]


TYPES: dict[str, type[Payload]] = {
    "job-opened": JobOpened,
    "rules-set": RulesSet,
    "estimates-set": EstimatesSet,
    "benchmark-declared": BenchmarkDeclared,
    "setup-begun": SetupBegun,
    "attachment-changed": AttachmentChanged,
    "moved": Moved,
    "swung": Swung,
    "laser-set-up": LaserSetUp,
    "receiver-clamped": ReceiverClamped,
    "touched": Touched,
    "turning-point-taken": TurningPointTaken,
    "struck": Struck,
    "target-set": TargetSet,
    "station-touched": StationTouched,
    "withdrawn": Withdrawn,
    "seat-taken": SeatTaken,
    "acknowledged": Acknowledged,
    "check-taken": CheckTaken,
    "rod-checked": RodChecked,
    "wear-checked": WearChecked,
    "laser-tested": LaserTested,
    "certificate-issued": CertificateIssued,
}
NAMES: dict[type[Payload], str] = {model: name for name, model in TYPES.items()}
VERSION = 4
_READINGS = frozenset(
    {"touched", "turning-point-taken", "struck", "station-touched", "check-taken", "rod-checked"}
)
_VOIDING = frozenset({
    "setup-begun", "moved", "swung", "laser-set-up", "receiver-clamped", "attachment-changed", "rules-set", "withdrawn"
})  # fmt: skip
_OF_A_MACHINE = frozenset({"moved", "swung", "receiver-clamped", "attachment-changed"})
# An entry that voids or restores can be withdrawn only while none of these after it counts: they rest on it, and
# without it would be read anew. A withdrawal goes before every later change of what was before it.
# What a reading must not be older than: it says how machine, laser and receiver stand.
STAND = frozenset({
    "setup-begun", "moved", "swung", "laser-set-up", "receiver-clamped", "attachment-changed",
})  # fmt: skip
RESTS: dict[str, frozenset[str]] = {
    **dict.fromkeys(_VOIDING, _READINGS), "setup-begun": _READINGS | _OF_A_MACHINE, "withdrawn": _READINGS | _VOIDING,
}  # fmt: skip


def name_of(payload: Payload) -> tuple[str, str] | None:
    """(kind, name) of a point or target that an entry brings in; each name is taken once."""
    match payload:
        case BenchmarkDeclared(name=name) | TurningPointTaken(name=name):
            return "point", name
        case TargetSet(name=name):
            return "target", name
        case _:
            return None


Upcast = Callable[[Json], Json]
# (type, version it was written in) -> the payload of the next version.
UPCASTS: dict[tuple[str, int], Upcast] = {
    # 1 -> 2: `waits` came; what was written before took effect where it stands, as the default says.
    # 2 -> 3: `estimates` of a job and `uncertainty_m` of a benchmark came; what was written before gave none.
    # 3 -> 4: checks of what was dug, by staff, of wear and of the laser came, and certificates; nothing changed shape.
    **{(name, version): lambda payload: payload for name in TYPES for version in (1, 2, 3)},
}


class EventFromTheFutureError(RuntimeError):
    """An event of a type or version that this release does not know."""


def read_payload(event_type: str, version: int, payload: Json) -> Payload:
    """The payload of a stored event in today's shape."""
    if event_type not in TYPES or version > VERSION:
        raise EventFromTheFutureError(f"event type {event_type!r} version {version} is not known here")
    for old in range(version, VERSION):
        payload = UPCASTS[event_type, old](payload)
    return TYPES[event_type].model_validate(payload)
