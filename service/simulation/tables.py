"""What a described dig may say: closed tables, the unit in each name. Heights are over the slab or a named datum."""

from typing import Annotated, Literal

from pydantic import Field

from machine_profiles.table import Number, Table
from service.bus.reading import SensorName

Name = Annotated[
    str,
    Field(
        min_length=1,
        max_length=60,
        pattern=r"^[^\s\x00-\x1f\x7f](?:[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f])?$",
    ),
]
Positive = Annotated[Number, Field(gt=0)]
Seconds = Annotated[Number, Field(gt=0, le=3600)]
Lean = Annotated[Number, Field(ge=-30, le=30)]
Turn = Annotated[Number, Field(ge=-360, le=360)]
Height = Annotated[Number, Field(ge=-50, le=50)]
Small = Annotated[Number, Field(ge=-45, le=45)]
Rate = Annotated[Number, Field(gt=0, le=200)]
Way = Literal["up", "down"]
EdgePoint = Literal["left", "centre", "right", "tooth_left", "tooth_centre", "tooth_right"]


class Slab(Table):
    """The benchmark that all heights of the description hang on."""

    name: Name = "slab"
    elevation_m: Number


class Pace(Table):
    """How fast the machine moves: no joint faster than this; every movement begins and ends over `ramp_s`."""

    joint_deg_s: Positive = 15.0
    swing_deg_s: Positive = 20.0
    ramp_s: Annotated[Number, Field(gt=0, le=10)] = 0.6


class Laser(Table):
    """A level plane and the receiver: `dead_band_mm` high in all, `tells` a bit or the beam's height over its centre."""

    plane_over_slab_m: Height
    revolutions_per_s: Annotated[Number, Field(gt=0, le=100)] = 10.0
    dead_band_mm: Annotated[Number, Field(gt=0, le=100)] = 6.0
    window_mm: Annotated[Number, Field(gt=0, le=1000)] = 200.0
    tells: Literal["hit", "height"] = "hit"
    latency_ms: Annotated[Number, Field(ge=0, le=1000)] = 0.0

    @property
    def latency_s(self) -> float:
        """How late the receiver is heard, s."""
        return self.latency_ms / 1e3


class Sensing(Table):
    """Every sensor, unless it has a table of its own.

    A profile's noise holds temperature and linearity too, which stand still for minutes: `noise_scale` of it is noise
    of each reading, and `bias_scale` of it the spread of the constant error that the seed draws for each sensor.
    """

    rate_hz: Rate = 50.0
    noise_scale: Annotated[Number, Field(ge=0, le=10)] = 0.2
    bias_scale: Annotated[Number, Field(ge=0, le=10)] = 1.0
    step_deg: Annotated[Number, Field(ge=0, le=1)] = 0.01
    step_mm: Annotated[Number, Field(ge=0, le=10)] = 0.1


class SensorErrors(Table):
    """One sensor's own: what is left out is as for every sensor. Angles for one that reads degrees, else mm."""

    rate_hz: Rate | None = None
    latency_ms: Annotated[Number, Field(ge=0, le=2000)] | None = None
    noise_deg: Annotated[Number, Field(ge=0, le=5)] | None = None
    noise_mm: Annotated[Number, Field(ge=0, le=100)] | None = None
    bias_deg: Small | None = None
    side_bias_deg: Small | None = None
    bias_mm: Annotated[Number, Field(ge=-500, le=500)] | None = None
    step_deg: Annotated[Number, Field(ge=0, le=1)] | None = None
    step_mm: Annotated[Number, Field(ge=0, le=10)] | None = None


class Stand(Table):
    """Where the tracks stand: the body origin over the slab, and how the body leans there before it swings."""

    name: Name
    origin_over_slab_m: Height
    pitch_deg: Lean
    roll_deg: Lean


class Start(Table):
    """Where the machine stands when the description begins."""

    stand: Name
    joints_deg: dict[str, Turn]


class Layer(Table):
    """One layer of a depth."""

    name: Name
    thickness_m: Number


class DigTarget(Table):
    """A target of the depth sheet, below the slab."""

    name: Name
    layers: Annotated[list[Layer], Field(min_length=1, max_length=30)]
    overdig_m: Number = 0.0
    tolerance_m: Positive = 0.03
    floor_limit_below_m: Number | None = None
    along_percent: Annotated[Number, Field(ge=-100, le=100)] = 0.0
    across_percent: Annotated[Number, Field(ge=-100, le=100)] = 0.0


class Edge(Table):
    """A point of the edge over a datum, with the floor angle; a tilt left out stays as it is."""

    over: Name = "slab"
    height_m: Height
    floor_deg: Annotated[Number, Field(ge=-180, le=180)] = 0.0
    tilt_deg: Turn | None = None
    point: EdgePoint = "centre"


class Travel(Table):
    """The tracks move to another stand. `recorded` false: nobody tells the job, which then believes a void height."""

    do: Literal["travel"]
    stand: Name
    seconds: Seconds = 15.0
    recorded: bool = True


class Place(Edge):
    """All joints move at once until the edge is there."""

    do: Literal["place"]
    reach_m: Number


class Strike(Table):
    """The receiver passes the laser plane, `beyond_mm` to either side, its mast leaning forward by `lean_deg`."""

    do: Literal["strike"]
    ways: list[Way] = Field(default_factory=lambda: list[Way](("up", "down")), min_length=1, max_length=6)
    speed_mm_s: Annotated[Number, Field(gt=0, le=2000)] = 18.0
    lean_deg: Small = 0.0
    beyond_mm: Annotated[Number, Field(gt=0, le=1000)] = 20.0


class Touch(Edge):
    """The edge comes down and rests, still for `still_s`; then what `record` says is put on the job's record.

    `height_m`: how far off it really rests, as no bucket rests on a point exactly. `name`: of the turning point, or of
    the target whose station it is; a touch on the slab or on a datum is recorded on that name.
    """

    do: Literal["touch"]
    reach_m: Number
    height_m: Height = 0.0
    still_s: Annotated[Number, Field(ge=1.5, le=600)] = 3.0
    record: Literal["reference", "check", "turning-point", "station"] | None = None
    name: Name | None = None
    station_m: Number | None = None


class Pass(Edge):
    """The edge along a line: `height_m` at `from_reach_m`, rising away from the machine by `slope_percent`.

    The floor angle goes evenly from `floor_deg` to `floor_to_deg`, else it is kept.
    """

    do: Literal["pass"]
    from_reach_m: Number
    to_reach_m: Number
    slope_percent: Annotated[Number, Field(ge=-200, le=200)] = 0.0
    floor_to_deg: Annotated[Number, Field(ge=-180, le=180)] | None = None
    speed_m_s: Annotated[Number, Field(gt=0, le=5)] = 0.25


class TurnJoint(Table):
    """One joint turns, everything else still; of the bucket negative curls it in."""

    do: Literal["turn"]
    joint: Literal["swing_boom", "boom", "fore_boom", "stick", "bucket", "tilt", "rotate"]
    by_deg: Turn


class Swing(Table):
    """The body turns on its undercarriage, anticlockwise from above."""

    do: Literal["swing"]
    by_deg: Turn
    recorded: bool = True


class Knock(Table):
    """A sensor sits otherwise from now on, and nobody knows: its case on its link, or what an encoder or wire adds."""

    do: Literal["knock"]
    sensor: SensorName
    nose_up_deg: Small | None = None
    left_up_deg: Small | None = None
    more_deg: Small | None = None
    more_mm: Annotated[Number, Field(ge=-500, le=500)] | None = None


class Quiet(Table):
    """A sensor says nothing for a while; the description goes on."""

    do: Literal["quiet"]
    sensor: SensorName
    seconds: Seconds


class Wait(Table):
    """Everything still."""

    do: Literal["wait"]
    seconds: Seconds


Step = Annotated[
    Travel | Place | Strike | Touch | Pass | TurnJoint | Swing | Knock | Quiet | Wait,
    Field(discriminator="do"),
]


class DigDocument(Table):
    """A dig as a file has it."""

    dig: Literal[1]
    name: Name
    machine: Name
    attachment: Name
    seed: Annotated[int, Field(ge=0, le=2**53)]
    job_name: Name | None = None
    slab: Slab
    pace: Pace = Pace()
    laser: Laser | None = None
    sensing: Sensing = Sensing()
    sensors: dict[SensorName, SensorErrors] = Field(default_factory=dict)
    datums: dict[Name, Height] = Field(default_factory=dict)
    stands: Annotated[list[Stand], Field(min_length=1, max_length=100)]
    start: Start
    targets: list[DigTarget] = Field(default_factory=list, max_length=100)
    steps: Annotated[list[Step], Field(min_length=1, max_length=1000)]


STEPS: dict[str, type[Table]] = {
    "travel": Travel, "place": Place, "strike": Strike, "touch": Touch, "pass": Pass, "turn": TurnJoint,
    "swing": Swing, "knock": Knock, "quiet": Quiet, "wait": Wait,
}  # fmt: skip
