"""Derivatives behind a reading: idler, power link, cylinders, against machines measured anew; signs; refusals."""

import math
from collections.abc import Mapping

import numpy as np
import pytest

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.drive_rates import DRIVE_OUTPUTS
from kinematics.drives import four_bar_from_idler, four_bar_from_power_link, joint_angle
from kinematics.machine import Range, Receiver
from kinematics.sensitivity import DIFFERENTIABLE, Sensitivity, sensitivity

from .machines import DIGGING, LEVEL, mini_bucket, mini_machine, plain_bucket, plain_machine, seeded
from .rebuilt import dimensions, rebuilt
from .rows import outputs_of, refusal, tried

# Five points a tenth of a millimetre or milliradian apart: h^4 of a fifth derivative, and 1e-14 m over h of rounding.
STEP = 1e-4
DIFFERENCE = 3e-9
EXACT = 1e-11
# Machines whose power link tells one position over some of their stroke; branches, sides and parts of both kinds.
SEEDS = (0, 1, 4, 12, 14)
BY_BUCKET = ("idler", "power_link", "cylinder")

Readings = dict[str, float]


def driven(seed: int) -> Assembly:
    return seeded(seed, linkage=True, driven=True)


def posed(assembly: Assembly, seed: int) -> Pose:
    """A pose in the middle half of every stroke, its edge not too steep, its power link telling one position."""
    rng = np.random.default_rng([90, seed])
    for _ in range(200):
        angles = {"pitch": rng.uniform(-0.2, 0.2), "roll": rng.uniform(-0.2, 0.2)}
        for name, span in assembly.ranges.items():
            angles[name] = span.low + rng.uniform(0.25, 0.75) * (span.high - span.low)
        found = pose(assembly, **angles)
        bar = found.four_bar()
        assert bar is not None
        told, _ = tried(lambda at: four_bar_from_power_link(assembly, at), bar.power_link)
        if told is not None and abs(told.bucket - bar.bucket) < 1e-9 and abs(found.cross_slope) < 0.7:
            return found
    raise AssertionError(f"no such pose of machine {seed}")


def reading_of(found: Pose, joint: str, by: str) -> float:
    bar = found.four_bar()
    if by == "cylinder":
        return found.cylinders()[joint]
    assert bar is not None
    return bar.idler if by == "idler" else bar.power_link


def read(assembly: Assembly, still: Readings, readings: Readings, sensed: Mapping[str, str]) -> Pose:
    """The pose of a machine by what is sensed on it, through the one-pose doors."""
    angles = dict(still)
    for joint, by in sensed.items():
        at = readings[joint]
        if by == "cylinder":
            angles[joint] = joint_angle(assembly, joint, at)
        else:
            angles[joint] = (four_bar_from_idler if by == "idler" else four_bar_from_power_link)(
                assembly, at
            ).bucket
    return pose(assembly, **angles)


def value(found: Pose, output: str) -> float:
    bar = found.four_bar()
    if output.endswith("_cylinder"):
        return found.cylinders()[output.removesuffix("_cylinder")]
    if output in DRIVE_OUTPUTS:
        assert bar is not None
        return {"idler_angle": bar.idler, "power_link_angle": bar.power_link}.get(output, bar.transmission)
    return found.output(output)


def assert_differences(found: Pose, output: str, sensed: Mapping[str, str]) -> Sensitivity:
    """Every rate by a joint, a reading and a dimension of linkage or cylinder is the slope through five machines."""
    assembly = found.assembly
    ours = sensitivity(found, output, sensed)
    assert abs(ours.value - value(found, output)) <= 1e-12
    joints = ("pitch", "roll", *assembly.ranges)
    still = {name: float(found.q[0 if name == "pitch" else 1]) for name in ("pitch", "roll")}
    still |= {name: found.joint(name) for name in assembly.ranges}
    readings = {joint: reading_of(found, joint, by) for joint, by in sensed.items()}
    named = {joint: f"{joint}_cylinder" if by == "cylinder" else by for joint, by in sensed.items()}
    assert set(ours.joints) == {named.get(joint, joint) for joint in joints}

    def slope(f: list[float]) -> float:
        return (f[0] - f[3] + 8.0 * (f[2] - f[1])) / (12.0 * STEP)

    def check(name: str, rate: float, f: list[float]) -> None:
        expected = slope(f)
        assert math.isfinite(rate), (output, sensed, name)
        assert math.isfinite(expected), (output, sensed, name)
        assert abs(rate - expected) <= DIFFERENCE * (1.0 + abs(expected)), (
            output,
            dict(sensed),
            name,
            rate,
            expected,
        )

    offsets = (-2.0 * STEP, -STEP, STEP, 2.0 * STEP)
    for joint in joints:
        varied = readings if joint in sensed else still
        steps = []
        for by in offsets:
            moved = {**varied, joint: varied[joint] + by}
            args = (still, moved) if joint in sensed else (moved, readings)
            steps.append(value(read(assembly, *args, sensed), output))
        check(named.get(joint, joint), ours.joints[named.get(joint, joint)], steps)
    for name in dimensions(assembly):
        steps = [value(read(rebuilt(assembly, name, by), still, readings, sensed), output) for by in offsets]
        check(name, ours.parameters[name], steps)
    return ours


@pytest.mark.parametrize("by", BY_BUCKET)
def test_bucket_sensed_elsewhere(by: str) -> None:
    """Every dimension of linkage and cylinder; the stick's length is the four-bar's too, the idler's the rod pin's."""
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        ours = assert_differences(found, "left_height", {"bucket": by})
        assert_differences(found, "centre_reach", {"bucket": by})
        assert ours.parameters["pin_spacing"] != 0.0
        assert (ours.parameters["bucket_cylinder_foot_x"] != 0.0) == (by == "cylinder")
        plain = sensitivity(found, "left_height").parameters
        assert ours.parameters["stick_length"] != plain["stick_length"]
        assert plain["idler_length"] == plain["pin_spacing"] == 0.0


def test_every_joint_by_its_cylinder() -> None:
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        for joint in found.assembly.cylinders:
            assert_differences(found, "right_height", {joint: "cylinder"})


def test_several_sensed_at_once() -> None:
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        every = dict.fromkeys(found.assembly.cylinders, "cylinder")
        assert_differences(found, "centre_height", every)
        assert_differences(found, "cross_slope", every | {"bucket": "power_link"})
        assert_differences(found, "heel_left_lateral", {"boom": "cylinder", "bucket": "idler"})


@pytest.mark.parametrize("output", DRIVE_OUTPUTS)
def test_drive_outputs(output: str) -> None:
    """Cylinder lengths and linkage angles themselves: at constant joints, and behind another reading."""
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        joint = output.removesuffix("_cylinder")
        if joint != output and joint not in found.assembly.cylinders:
            assert refusal(lambda found=found: sensitivity(found, output)).code == "no-cylinder"  # type: ignore[misc]
            continue
        ours = assert_differences(found, output, {})
        turns = "bucket" if joint == output else joint
        assert ours.joints[turns] != 0.0
        assert all(rate == 0.0 for name, rate in ours.joints.items() if name != turns)
        assert_differences(found, output, {"bucket": BY_BUCKET[seed % 3]})


def test_a_reading_by_itself() -> None:
    """What is read changes with its reading one to one and with no dimension at all."""
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        pairs = [("idler_angle", "bucket", "idler"), ("power_link_angle", "bucket", "power_link")]
        pairs += [(f"{joint}_cylinder", joint, "cylinder") for joint in found.assembly.cylinders]
        for output, joint, by in pairs:
            ours = sensitivity(found, output, {joint: by})
            name = f"{joint}_cylinder" if by == "cylinder" else by
            assert abs(ours.joints[name] - 1.0) <= EXACT
            assert all(abs(rate) <= EXACT for other, rate in ours.joints.items() if other != name)
            assert all(abs(rate) <= EXACT for rate in ours.parameters.values()), (seed, output)


def test_readings_multiply_by_the_velocity_ratio() -> None:
    """d/d idler = d/d bucket times the linkage's ratio, which the four-bar itself tells."""
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        bar = found.four_bar()
        assert bar is not None
        by_bucket = sensitivity(found, "centre_height").joints["bucket"]
        by_idler = sensitivity(found, "centre_height", {"bucket": "idler"}).joints["idler"]
        assert abs(by_idler - by_bucket * bar.ratio) <= EXACT * (1.0 + abs(by_idler))


def test_other_parameters_are_untouched_by_what_is_sensed() -> None:
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        plain = sensitivity(found, "left_height")
        ours = sensitivity(found, "left_height", {"bucket": "cylinder", "boom": "cylinder"})
        touched = set(dimensions(found.assembly))
        assert set(ours.parameters) == set(plain.parameters)
        for name, rate in plain.parameters.items():
            if name not in touched:
                assert ours.parameters[name] == rate, name
        assert ours.joints["stick"] == plain.joints["stick"]


# Sign sentences ------------------------------------------------------------------------------------------------------


def test_lever_of_the_boom() -> None:
    """At 8 m reach on level ground d centre_height / d boom is 8 m/rad: 0.1 deg is 14 mm."""
    assembly = assemble(
        plain_machine(boom_foot_x=0.0, boom_length=6.5, boom=Range(-0.8, 1.1), stick=Range(-2.6, 0.5)),
        plain_bucket(),
    )
    low, high = -1.6, -0.2
    for _ in range(60):  # the stick's angle that puts the edge 8 m ahead of the boom foot pin
        middle = 0.5 * (low + high)
        reach = pose(assembly, **LEVEL, boom=0.3, stick=middle, bucket=0.0).reach
        low, high = (middle, high) if reach < 8.0 else (low, middle)
    found = pose(assembly, **LEVEL, boom=0.3, stick=middle, bucket=0.0)
    assert abs(found.reach - 8.0) <= 1e-9
    rate = sensitivity(found, "centre_height").joints["boom"]
    assert abs(rate - 8.0) <= 1e-9
    assert abs(rate * math.radians(0.1) - 0.014) <= 0.0005


def test_signs_of_the_plain_machine() -> None:
    """By hand in digging posture: boom up lifts, curling in (negative) brings the edge in, nose up lifts by the reach,
    left side up lifts the left corner by its y; a boom 1 mm longer lifts all by sin 0.6 of it."""
    found = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    height, reach, left = (
        sensitivity(found, name) for name in ("centre_height", "centre_reach", "left_height")
    )
    assert height.joints["boom"] > 0.0
    assert -0.1 * reach.joints["bucket"] < 0.0
    assert abs(height.joints["pitch"] - found.reach) <= EXACT
    assert abs(left.joints["roll"] - 0.7) <= EXACT
    assert abs(height.parameters["boom_length"] - math.sin(0.6)) <= EXACT
    assert abs(reach.parameters["boom_length"] - math.cos(0.6)) <= EXACT
    assert abs(reach.parameters["boom_foot_x"] - 1.0) <= EXACT
    slope = sensitivity(found, "cross_slope")
    assert slope.value == found.cross_slope
    # Lifting the right corner of the 1.4 m edge by 1 mm adds 1/1400; left side up lowers the right.
    assert abs(slope.parameters["right_z"] - 1.0 / 1.4) <= EXACT
    assert abs(slope.joints["roll"] + 1.0) <= EXACT
    floor = sensitivity(found, "floor_angle")
    # The heel stands 0.8 m behind the edge: lifting both its ends by 10 mm adds 10/800 rad; curling out adds itself.
    assert abs(floor.parameters["heel_left_z"] + floor.parameters["heel_right_z"] - 1.0 / 0.8) <= EXACT
    assert abs(floor.joints["bucket"] - 1.0) <= EXACT


def test_published_mini_excavator_strokes() -> None:
    """Longer boom cylinder raises, longer stick cylinder folds the stick in, longer bucket cylinder curls in: the
    published pairs of cylinder and angle at both ends; their mean slope lies between the rates there."""
    assembly = assemble(mini_machine(), mini_bucket())
    middle = {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
    found = pose(assembly, **LEVEL, **middle)
    for joint, sign in (("boom", 1.0), ("stick", -1.0), ("bucket", -1.0)):
        rate = sensitivity(found, f"{joint}_cylinder").joints[joint]
        assert sign * rate > 0.0, joint
        behind = sensitivity(found, "floor_angle", {joint: "cylinder"}).joints[f"{joint}_cylinder"]
        assert abs(behind - 1.0 / rate) <= EXACT * (1.0 + abs(behind)), joint


# Refusals ------------------------------------------------------------------------------------------------------------


def test_unknown_outputs_and_missing_parts() -> None:
    plain = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    for output in ("square", "centre", "boom", "", "tilt_cylinder", "idler"):
        assert refusal(lambda output=output: sensitivity(plain, output)).code == "unknown-output"  # type: ignore[misc]
    for output in ("mast_angle", "receiver_height", "tooth_left_reach"):
        assert refusal(lambda output=output: sensitivity(plain, output)).code == "no-such-point"  # type: ignore[misc]
    for output in ("boom_cylinder", "fore_boom_cylinder", "bucket_cylinder"):
        assert refusal(lambda output=output: sensitivity(plain, output)).code == "no-cylinder"  # type: ignore[misc]
    for output in ("idler_angle", "power_link_angle", "transmission_angle"):
        assert refusal(lambda output=output: sensitivity(plain, output)).code == "no-linkage"  # type: ignore[misc]


def test_sensed_otherwise_than_the_machine_can() -> None:
    plain = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    for sensed, codes in (
        ({"boom": "idler"}, ["not-sensed-so"]),
        ({"bucket": "draw-wire"}, ["not-sensed-so"]),
        ({"pitch": "cylinder"}, ["not-sensed-so"]),
        ({"tilt": "cylinder"}, ["not-sensed-so"]),
        ({"arm": "cylinder", "stick": "power_link"}, ["not-sensed-so", "not-sensed-so"]),
        ({"boom": "cylinder"}, ["no-cylinder"]),
        ({"bucket": "cylinder"}, ["no-cylinder"]),
        ({"bucket": "idler"}, ["no-linkage"]),
        ({"bucket": "power_link"}, ["no-linkage"]),
    ):
        refused = refusal(lambda sensed=sensed: sensitivity(plain, "centre_height", sensed))  # type: ignore[misc]
        assert [fault.code for fault in refused.faults] == codes, sensed


def test_plumb_mast_has_no_derivative_but_all_else_has() -> None:
    machine = plain_machine(stick=Range(-2.6, 0.4), receiver=Receiver((1.0, 0.1, 0.2), (0.0, 0.0, 1.0)))
    found = pose(assemble(machine, plain_bucket()), **LEVEL, boom=0.0, stick=0.0, bucket=1.0)
    assert found.mast_angle == 0.0
    assert refusal(lambda: sensitivity(found, "mast_angle")).code == "no-derivative"
    assert math.isfinite(sensitivity(found, "receiver_height").joints["stick"])


def test_every_output_has_finite_rates() -> None:
    for seed in SEEDS:
        found = posed(driven(seed), seed)
        names = [*outputs_of(found.assembly)[:-1], *DRIVE_OUTPUTS]
        for output in names:
            if output == "fore_boom_cylinder" and "fore_boom" not in found.assembly.cylinders:
                continue
            ours = sensitivity(found, output, {"bucket": "cylinder"})
            assert np.isfinite([ours.value, *ours.joints.values(), *ours.parameters.values()]).all()
            assert output in DIFFERENTIABLE


def test_a_heel_that_clears_alike_at_both_ends_has_no_rate_by_one_end_alone() -> None:
    """Lowering either end costs as much, raising it gains nothing: told as a kink, not as one end's rate or none."""
    found = pose(assemble(plain_machine(), plain_bucket()), **LEVEL, **DIGGING)
    told = sensitivity(found, "heel_clearance")
    assert {"heel_left_z", "heel_right_z", "left_z", "right_z"} <= set(told.kinked)
    assert not set(told.kinked) & (set(told.joints) | set(told.parameters))
    step = 1e-6
    for joint in ("boom", "stick", "bucket"):
        ends = [
            pose(found.assembly, **LEVEL, **(DIGGING | {joint: DIGGING[joint] + by})).heel_clearance
            for by in (-step, step)
        ]
        assert abs(told.joints[joint] - (ends[1] - ends[0]) / (2.0 * step)) <= 1e-8
    leaning = sensitivity(pose(found.assembly, **(LEVEL | {"roll": 0.05}), **DIGGING), "heel_clearance")
    assert "heel_left_z" in leaning.kinked, "both ends lean with the edge"
