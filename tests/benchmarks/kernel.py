"""The public call for one pose, warm."""

import statistics
import timeit

from kinematics import pose
from tests.demo_machine import arm_of_demo


def single_pose() -> dict[str, float]:
    """Median microseconds of `kinematics.pose` on the demo's machine (<= 5 wanted, reported)."""
    fitted = arm_of_demo()

    def call() -> None:
        pose(fitted, pitch=0.01, roll=-0.02, boom=0.5, stick=-1.6, bucket=1.0, tilt=0.05)

    call()
    number = 5000
    times = timeit.repeat(call, number=number, repeat=9)
    return {"single_pose_us": statistics.median(times) / number * 1e6}
