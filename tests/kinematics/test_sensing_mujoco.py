"""Sensors of gravity against MuJoCo (package `mujoco`): accelerometers at rest on every link of a leaning machine, its
swing boom turned and its bucket tilted. At rest they feel what holds them up: +1 g along plumb."""

import math
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.drives import four_bar_from_bucket
from kinematics.machine import Range
from kinematics.sensing import angles_from, misread, readings_of
from kinematics.sensor import BY_GRAVITY, LEFT, Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet
from tests.need import need

from .machines import plain_bucket, plain_machine, random_angles, seeded, tiltrotator_bucket
from .sensor_sets import one_number, random_set, sensor
from .test_against_mujoco import description

# Two chains of ten turns in double precision, and an arctangent.
ANGLE_RAD = 1e-10
# Where MuJoCo's arcsine, or the gimbal of two numbers, makes 1e-8 of the last bit.
NEAR_VERTICAL_RAD = 1e-6
FRAMES = {"coupler": "hitch", "bucket": "mount"}


@pytest.fixture(scope="module")
def mujoco() -> ModuleType:
    return need("mujoco")


def turned(mounting: Mounting) -> list[float]:
    """A site's attitude (w, x, y, z): up, then to the left, then over, each about an axis as the last left it."""
    # Intrinsic turns about y, z, x; a turn that raises is one about -y.
    turn = Rotation.from_euler("YZX", [-mounting.nose_up, mounting.to_left, mounting.left_up])
    x, y, z, w = turn.as_quat().tolist()
    return [w, x, y, z]


def instrumented(mujoco: ModuleType, sensors: SensorSet) -> Any:
    """The machine with an accelerometer on each link that has a sensor of gravity, idler and power link added."""
    spec = mujoco.MjSpec.from_string(description(sensors.assembly))
    stick = spec.body("stick")
    for name in ("idler", "power_link"):
        stick.add_body(name=name).add_joint(name=name, type=mujoco.mjtJoint.mjJNT_HINGE, axis=[0, -1, 0])
    for name, one in sensors.all.items():
        if one.measures in BY_GRAVITY:
            assert isinstance(one.mounting, Mounting)
            frame = spec.body(FRAMES.get(one.place, one.place))
            frame.add_site(name=f"at {name}", pos=[0.3, 0.2, 0.1], quat=turned(one.mounting))
            spec.add_sensor(
                name=name, type=mujoco.mjtSensor.mjSENS_ACCELEROMETER, objtype=mujoco.mjtObj.mjOBJ_SITE,
                objname=f"at {name}",
            )  # fmt: skip
    return spec.compile()


def at_rest(mujoco: ModuleType, sensors: SensorSet, angles: dict[str, float]) -> dict[str, list[float]]:
    """What each accelerometer feels, in units of g, by name."""
    model = instrumented(mujoco, sensors)
    data = mujoco.MjData(model)
    links = {}
    if sensors.assembly.links is not None:
        bar = four_bar_from_bucket(sensors.assembly, angles["bucket"])
        links = {"idler": bar.idler, "power_link": bar.power_link}
    for name, angle in (angles | links).items():
        data.joint(name).qpos[0] = angle
    data.qvel[:] = 0.0
    data.qacc[:] = 0.0
    mujoco.mj_inverse(model, data)  # the forces that keep it still, and its sensors with it
    weight = float(np.linalg.norm(model.opt.gravity))
    felt = {
        name: (np.array(data.sensor(name).data) / weight).tolist()
        for name, one in sensors.all.items()
        if one.measures in BY_GRAVITY
    }
    for triad in felt.values():
        assert abs(math.hypot(*triad) - 1.0) <= 1e-12
    return felt


def says(one: Sensor, triad: list[float]) -> tuple[float, ...]:
    """What a sensor reads, by its definition, of an accelerometer's three numbers."""
    if one.measures == Measure.PITCH_ROLL:
        assert one.side_sign is not None
        return one.sign * math.asin(max(-1.0, min(1.0, triad[0]))), one.side_sign * math.atan2(
            triad[1], triad[2]
        )
    return (one.sign * one_number(one, triad),)


def test_what_every_sensor_reads(mujoco: ModuleType) -> None:
    places = set()
    for seed in range(120):
        assembly = seeded(seed % 30, linkage=seed % 2 == 0)
        rng = np.random.default_rng([34, seed])
        angles = random_angles(rng, assembly)
        sensors = random_set(rng, assembly, angles)
        ours = readings_of(sensors, pose(assembly, **angles))
        for name, triad in at_rest(mujoco, sensors, angles).items():
            one, told = sensors.sensors[name], ours[name]
            theirs = says(one, triad)
            steep = max(abs(x) for x in triad) > 1.0 - 1e-6
            for a, b in zip(told if isinstance(told, tuple) else (told,), theirs, strict=True):
                assert math.isfinite(a)
                assert abs(math.remainder(a - b, math.tau)) <= (NEAR_VERTICAL_RAD if steep else ANGLE_RAD), (
                    name,
                    one,
                )
            places.add(one.place)
    assert places == {
        "body",
        "boom",
        "fore_boom",
        "stick",
        "idler",
        "power_link",
        "coupler",
        "bucket",
        "tilt",
    }


def everything() -> Assembly:
    """A plain machine with every joint: two-piece, swing boom, tilt and rotation."""
    machine = plain_machine(
        swing_boom=Range(-1.2, 1.2), swing_post_x=0.4, fore_boom_length=1.5, fore_boom=Range(-1.2, 0.3)
    )
    return assemble(machine, tiltrotator_bucket())


def on_all(**changes: Sensor) -> SensorSet:
    """Gravity wherever it can see, encoders where it cannot and on the bucket pin."""
    parts = {"body": sensor("body", Measure.PITCH_ROLL), "tilt": sensor("tilt", axis=LEFT)}
    parts |= {joint: sensor(joint) for joint in ("boom", "fore_boom", "stick")}
    parts |= {joint: sensor(joint, Measure.ANGLE) for joint in ("swing_boom", "bucket", "rotate")}
    return SensorSet(everything(), parts | changes)


LEANING = {
    "pitch": math.radians(8.0), "roll": math.radians(-11.0), "swing_boom": 0.7, "boom": 0.8, "fore_boom": -0.5,
    "stick": -1.3, "bucket": 1.1, "tilt": 0.4, "rotate": 2.0,
}  # fmt: skip


@pytest.mark.parametrize("kind", [Measure.GRAVITY_ANGLE, Measure.INCLINATION, Measure.PITCH_ROLL])
def test_from_accelerometers_to_angles(mujoco: ModuleType, kind: Measure) -> None:
    """All joints of a machine that leans both ways, swing boom at 40 deg, bucket tilted 23 deg."""
    tilt_axis = {} if kind == Measure.PITCH_ROLL else {"axis": LEFT}
    branch = (
        {"branch": 1} if kind == Measure.INCLINATION else {}
    )  # every link leads ahead; the stick could lead back
    sensors = on_all(
        **{joint: sensor(joint, kind, **branch) for joint in ("boom", "fore_boom", "stick")},
        tilt=sensor("tilt", kind, mounting=Mounting(0.1, 0.2), **tilt_axis),
    )
    readings: dict[str, Any] = {}
    for name, triad in at_rest(mujoco, sensors, LEANING).items():
        told = says(sensors.sensors[name], triad)
        readings[name] = told if len(told) > 1 else told[0]
    found = angles_from(
        sensors, readings | {name: LEANING[name] for name in ("swing_boom", "bucket", "rotate")}
    )
    assert set(found) == set(LEANING)
    for name, angle in LEANING.items():
        assert math.isfinite(found[name])
        assert abs(found[name] - angle) <= ANGLE_RAD, name


def test_a_turned_swing_boom_counts(mujoco: ModuleType) -> None:
    """Who took plumb of the body for plumb of the arm's plane would be degrees off: f of the turned plumb is not f."""
    sensors = on_all()
    boom = says(sensors.sensors["boom"], at_rest(mujoco, sensors, LEANING)["boom"])[0]
    p, r = LEANING["pitch"], LEANING["roll"]
    unturned = boom - math.atan2(math.sin(p), math.cos(p) * math.cos(r))
    assert abs(unturned - LEANING["boom"]) >= math.radians(5.0)
    n = math.sin(p), math.cos(p) * math.sin(r), math.cos(p) * math.cos(r)
    w = LEANING["swing_boom"]
    turned_f = math.atan2(n[0] * math.cos(w) + n[1] * math.sin(w), n[2])
    assert abs(boom - turned_f - LEANING["boom"]) <= ANGLE_RAD


def square(**changes: Sensor) -> SensorSet:
    parts = {"body": sensor("body", Measure.PITCH_ROLL)}
    parts |= {joint: sensor(joint) for joint in ("boom", "stick", "bucket")}
    return SensorSet(assemble(plain_machine(), plain_bucket()), parts | changes)


def leaned_left(boom_deg: float) -> dict[str, float]:
    lean = {"pitch": 0.0, "roll": math.radians(5.0)}
    return lean | {"boom": math.radians(boom_deg), "stick": -1.6, "bucket": 1.0}


def stood(sensors: SensorSet, angles: dict[str, float]) -> Pose:
    return pose(sensors.assembly, **angles)


@pytest.mark.parametrize("boom_deg", [-20.0, 0.0, 30.0, 60.0])
def test_what_a_skew_of_one_degree_costs(mujoco: ModuleType, boom_deg: float) -> None:
    """0.09 deg at 5 deg of roll with the link level, less as it is raised."""
    skewed = square(boom=sensor("boom", mounting=Mounting(0.0, to_left=math.radians(1.0))))
    angles = leaned_left(boom_deg)
    triad = at_rest(mujoco, skewed, angles)["boom"]
    theirs = math.atan2(triad[0], triad[2]) - angles["boom"]
    ours = misread(skewed, SensorSet(skewed.assembly, square().sensors), stood(skewed, angles))["boom"]
    assert math.isfinite(ours)
    assert abs(ours - theirs) <= ANGLE_RAD
    if boom_deg == 0.0:
        assert abs(math.degrees(ours) - 0.09) <= 0.005


@pytest.mark.parametrize("boom_deg", [-20.0, 0.0, 30.0, 60.0])
def test_what_the_wrong_kind_costs(mujoco: ModuleType, boom_deg: float) -> None:
    """An inclination taken for a gravity angle: 0.38 deg at 5 deg of roll, boom at 60."""
    wrong = square(boom=sensor("boom", Measure.INCLINATION))
    angles = leaned_left(boom_deg)
    triad = at_rest(mujoco, wrong, angles)["boom"]
    theirs = math.asin(triad[0]) - angles["boom"]
    ours = misread(wrong, SensorSet(wrong.assembly, square().sensors), stood(wrong, angles))["boom"]
    assert math.isfinite(ours)
    assert abs(ours - theirs) <= ANGLE_RAD
    if boom_deg == 60.0:
        assert abs(math.degrees(ours) + 0.38) <= 0.005
