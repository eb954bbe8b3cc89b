"""What checks by staff, of wear and of the laser carry, and certificates. Written once, never migrated; no height hangs
on any of them. Lengths in metres, angles in degrees."""

import math
from typing import Literal

from pydantic import BaseModel, ConfigDict

from .payload_base import Payload, PoseRecord


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Staff(_Closed):
    """Where the staff's elevation came from. `readings_m` as written: backsight and foresight, the elevation, or the
    reading from the laser plane; `standard_m`: standard uncertainty of the elevation, not of the benchmark it hangs
    on."""

    by: Literal["level", "elevation", "plane"]
    elevation_m: float
    standard_m: float
    benchmark: str | None
    readings_m: tuple[float, ...]


class AgainstTarget(_Closed):
    """Tool and staff against one target; positive above it."""

    target: str
    target_elevation_m: float
    tolerance_m: float
    tool_above_m: float
    staff_above_m: float


class Stood(_Closed):
    """What stood on the job: profile revisions, and which stand of the machine it was."""

    machine: str
    machine_hash: str
    attachment: str
    attachment_hash: str
    setup: int


class RodChecked(Payload):
    """`difference_m`: tool minus staff; `own_m`, `common_m`: standards of it, staff included in the former. `x_m`, `y_m`:
    the point in the level frame. `reach_share`: of boom and stick stretched out. `independent`: the staff's elevation
    did not come from the tool itself."""

    edge_point: str
    pose: PoseRecord
    edge_height_m: float
    elevation_m: float
    staff: Staff
    difference_m: float
    own_m: float
    common_m: float
    x_m: float
    y_m: float
    reach_share: float
    swing_deg: float | None
    stood: Stood
    against: AgainstTarget | None
    independent: bool

    @property
    def reach_m(self) -> float:
        """Level distance from the swing axis."""
        return math.hypot(self.x_m, self.y_m)


class WearChecked(Payload):
    """`wear_m`: positive where the point is shorter than the profile has it; `profile_m` its way from the bucket pin.
    By tape `taped_m`; by a touch on `point` the `misclosure_m`, how steeply it pointed `down` (1 straight down), and
    `against` which points of the same bucket: what both have worn does not show."""

    edge_point: str
    profile_m: float
    wear_m: float
    standard_m: float
    taped_m: float | None
    point: str | None
    pose: PoseRecord | None
    misclosure_m: float | None
    down: float | None
    against: tuple[str, ...] = ()
    stood: Stood


class SightRecord(_Closed):
    """One pair of staff readings of a laser test."""

    series: int
    along_m: float
    heading_deg: float
    reading_a_m: float
    reading_b_m: float


class LaserTested(Payload):
    """The readings and what they gave. Angles of the plane in arc seconds, positive where it rises towards the laser's
    mark (`ahead`) or to its left; `reading_spread_m` of one staff reading, None where nothing was left to tell it
    from."""

    procedure: Literal["simplified", "full"]
    laser: str
    apart_m: float
    sights: tuple[SightRecord, ...]
    claimed_m: float | None
    freedom: int
    reading_spread_m: float | None
    height_m: float
    ahead_arcsec: float
    ahead_standard_arcsec: float | None
    left_arcsec: float
    left_standard_arcsec: float | None
    cone_arcsec: float | None
    cone_standard_arcsec: float | None
    spread_as_claimed: bool | None
    variance_ratio: float | None
    same_as_before: bool | None
    before_seq: int | None
    statements: tuple[str, ...]


class CertifiedPoint(_Closed):
    """One staff-checked point of a certificate, by the entry that recorded it."""

    seq: int
    observed_utc: str
    edge_point: str
    distance: Literal["near", "middle", "far"] | None
    side: Literal["left", "centre", "right"]
    swing: int | None
    swing_deg: float | None
    lean_deg: float
    reach_m: float
    tool_m: float
    staff_m: float
    staff_by: Literal["level", "elevation"]
    difference_m: float
    expected_m: float


class LeftOut(_Closed):
    """A rod check of the same stand and revisions that is no point of the certificate, and why."""

    seq: int
    difference_m: float
    because: Literal["withdrawn or void", "not independent"]


class Earlier(_Closed):
    """A certificate of the same stand and revisions that was issued before."""

    seq: int
    tolerance_m: float
    passed: bool


class Agreed(_Closed):
    """What the parties agreed, and who they are, in their own words."""

    tolerance_m: float
    agreed_by: str
    builder: str
    customer: str
    machine_serial: str


class RuleRecord(_Closed):
    """The rule it was judged by; angles in degrees, reaches as shares of boom and stick stretched out
    (`longest_reach_m`)."""

    share: float
    confidence: float
    factor: float
    near_to: float
    far_from: float
    longest_reach_m: float
    least_lean_deg: float
    swings_apart_deg: float


class CertificateIssued(Payload):
    """A certificate, whole: it is printed again from this alone. `head_seq`, `head_hash`: the job's log when it was
    issued. `rule_text`, `verdict_text`: the same in words, so that no later release words it otherwise."""

    job_name: str
    datum: str
    units: str
    stood: Stood
    sensors: dict[str, str]
    agreed: Agreed
    points: tuple[CertifiedPoint, ...]
    left_out: tuple[LeftOut, ...]
    earlier: tuple[Earlier, ...]
    bias_m: float
    spread_m: float
    rms_m: float
    worst_seq: int
    worst_m: float
    reached_m: float
    beyond: tuple[int, ...]
    passed: bool
    rule: RuleRecord
    cautions: tuple[str, ...]
    head_seq: int
    head_hash: str
    issued_utc: str
    release: str
    rule_text: str = ""
    verdict_text: str = ""
