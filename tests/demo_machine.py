"""The machine of the demo and poses of it, for tests and benchmarks; placed by a root finder, not by our inverse."""

import math

from scipy.optimize import brentq

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.machine import Attachment, Machine
from machine_profiles import shipped

MACHINE = "crawler-14t"
ATTACHMENT = "tilting-1800"
PITCH_DEG, ROLL_DEG = 0.6, -0.4


def arm_of_demo() -> Assembly:
    """The two assembled."""
    profiles = shipped()
    machine = profiles["machine", MACHINE].geometry
    attachment = profiles["attachment", ATTACHMENT].geometry
    if not (isinstance(machine, Machine) and isinstance(attachment, Attachment)):
        raise TypeError("the shipped profiles are swapped")
    return assemble(machine, attachment)


def place_edge(fitted: Assembly, height: float, stick_deg: float, tilt_deg: float = 0.0) -> Pose:
    """A pose with the floor flat and the edge centre `height` (m) over the origin, the stick as given.

    The floor hangs on the sum of boom, stick and bucket alone: one pose tells the sum at which it is flat, then the boom
    is turned until the height is right.
    """
    stick = math.radians(stick_deg)

    def at(boom: float, bucket: float) -> Pose:
        return pose(
            fitted, pitch=math.radians(PITCH_DEG), roll=math.radians(ROLL_DEG), boom=boom, stick=stick, bucket=bucket,
            tilt=math.radians(tilt_deg),
        )  # fmt: skip

    boom, curl = fitted.ranges["boom"], fitted.ranges["bucket"]
    flat = brentq(
        lambda b: math.sin(0.5 * at(0.0, b).floor_angle), curl.low + 1e-6, curl.high - 1e-6, xtol=1e-13
    )
    low, high = max(boom.low, flat - curl.high) + 1e-6, min(boom.high, flat - curl.low) - 1e-6
    found = brentq(lambda b: at(b, flat - b).height("centre") - height, low, high, xtol=1e-13)
    return at(found, flat - found)


def place_receiver(fitted: Assembly, height: float, stick_inclination_deg: float) -> Pose:
    """A pose with the receiver `height` (m) over the origin and the stick inclined as given."""

    def at(boom: float) -> Pose:
        stick = math.radians(stick_inclination_deg - PITCH_DEG) - boom
        bucket = fitted.ranges["bucket"]
        return pose(
            fitted, pitch=math.radians(PITCH_DEG), roll=math.radians(ROLL_DEG), boom=boom, stick=stick,
            bucket=0.5 * (bucket.low + bucket.high), tilt=0.0,
        )  # fmt: skip

    boom, stick = fitted.ranges["boom"], fitted.ranges["stick"]
    inclined = math.radians(stick_inclination_deg - PITCH_DEG)
    low = max(boom.low, inclined - stick.high) + 1e-6
    high = min(boom.high, inclined - stick.low) - 1e-6
    return at(brentq(lambda b: at(b).height("receiver") - height, low, high, xtol=1e-13))
