"""Tool forces: a published example, plain statics link by link, MuJoCo's inverse dynamics, and what limits them."""

import dataclasses
import math
from collections.abc import Mapping

import mujoco
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.errors import Refused
from kinematics.forces import MODES, ToolForce, force_map, rated_force, tool_force
from kinematics.hydraulics import BAR, L_PER_MIN, RAMS, Hydraulics, Ram
from kinematics.machine import Attachment, BucketLinkage, Cylinder, Machine, Range
from machine_profiles import shipped
from tests.kinematics.machines import mini_bucket, mini_machine, plain_bucket, plain_machine, seeded

SMALL = Ram(0.05, 0.03, 1, 200.0 * BAR, 260.0 * BAR)
ALL = Hydraulics(dict.fromkeys(RAMS, SMALL))


def patels() -> tuple[Assembly, Hydraulics]:
    """An arm whose bucket linkage has the published levers in one position: the cylinder 257 mm from the idler's pivot,
    the power link 220 mm from it and 181 mm from the bucket pin, the tip 547 mm from that."""
    pivot, idler_pin, link_pin = (
        (0.6, -0.039),
        (0.45, 0.181),
        (1.05, 0.181),
    )  # power link level, 220 and 181 above
    idler = math.dist(pivot, idler_pin)
    # The cylinder comes from the left; its line passes the pivot at 257 mm.
    towards = math.atan2(idler_pin[1] - pivot[1], idler_pin[0] - pivot[0]) + math.asin(0.257 / idler)
    foot = idler_pin[0] + 0.6 * math.cos(towards), idler_pin[1] + 0.6 * math.sin(towards)
    drive = Cylinder(foot[0] - pivot[0], foot[1] - pivot[1], idler, 0.0, Range(0.55, 0.65), -1)
    machine = plain_machine(
        stick_length=1.0, bucket=BucketLinkage(*pivot, idler, math.dist(idler_pin, link_pin), 1, drive)
    )
    spacing = math.hypot(link_pin[0] - 1.0, link_pin[1])
    tip = ((0.0, 0.2, -0.547), (0.0, 0.0, -0.547), (0.0, -0.2, -0.547))
    attachment = dataclasses.replace(plain_bucket(), pin_spacing=spacing, edge=tip)
    rams = {"bucket": Ram(0.040, 0.025, 1, 157.0 * BAR, 157.0 * BAR)}
    return assemble(machine, attachment), Hydraulics(rams)


def test_a_published_bucket_force() -> None:
    """B. P. Patel and J. M. Prajapati, Machine Design 4(1), 2012, 59-66, after SAE J1179 (from memory): 157 bar, 40 mm,
    levers 257, 220, 181, 547 mm: 7.626 kN."""
    assembly, hydraulics = patels()
    bucket = math.atan2(0.181, 0.05)
    found = tool_force(
        pose(assembly, pitch=0.0, roll=0.0, boom=0.2, stick=-1.0, bucket=bucket), hydraulics, "bucket"
    )
    assert found.force == pytest.approx(7626.0, abs=1.0)  # printed to a newton
    assert found.limited_by == "bucket"
    assert found.unknown == ()  # of this machine no other cylinder is measured


def by_statics(posed: Pose, found: ToolForce, point: str) -> Mapping[str, float]:
    """Thrust (N) of every cylinder by moments about pins, link by link; the ground presses back with the tool force."""
    pins, assembly = posed.pins(), posed.assembly
    at = {name: complex(x, z) for name, (x, _, z) in pins.items()}
    x, _, z = posed.body(point)
    tip, ground = complex(x, z), -found.force * complex(found.ahead, found.up)

    def moment(force: complex, where: complex, about: complex) -> float:
        return ((where - about).conjugate() * force).imag

    def along(a: complex, b: complex) -> complex:
        return (b - a) / abs(b - a)

    thrust = {}
    outer = {"boom": "boom_foot_pin", "fore_boom": "fore_boom_pin", "stick": "stick_pin"}
    for joint, pin in outer.items():
        if joint in assembly.cylinders:
            foot, eye = at[f"{joint}_cylinder_foot"], at[f"{joint}_cylinder_eye"]
            push = along(foot, eye)  # on the outer link, at the eye
            thrust[joint] = -moment(ground, tip, at[pin]) / moment(push, eye, at[pin])
    if "bucket" in assembly.cylinders:
        link = along(at["idler_pin"], at["link_pin"])  # the power link's push on the bucket
        in_link = -moment(ground, tip, at["bucket_pin"]) / moment(link, at["link_pin"], at["bucket_pin"])
        # The idler's pin: power link pushes back, the cylinder pushes, the idler gives what is along itself.
        push = along(at["bucket_cylinder_foot"], at["idler_pin"])
        thrust["bucket"] = (
            in_link * moment(link, at["idler_pin"], at["idler_pivot"])
            / moment(push, at["idler_pin"], at["idler_pivot"])
        )  # fmt: skip
    return thrust


def inside(assembly: Assembly, shares: list[float]) -> Pose:
    joints = {
        name: span.low + share * (span.high - span.low)
        for (name, span), share in zip(assembly.ranges.items(), shares, strict=False)
    }
    return pose(
        assembly,
        pitch=0.0,
        roll=0.0,
        **{name: 0.0 if name in TURNED else value for name, value in joints.items()},
    )


TURNED = ("tilt", "rotate", "swing_boom")
PAIRS = [
    ("crawler-14t", "digging-1500"),
    ("wheeled-16t", "trenching-600"),
    ("compact-1t8", "compact-bucket-400"),
]


def fitted(machine: str, attachment: str) -> tuple[Assembly, Hydraulics]:
    profiles = shipped()
    carrier, tool = profiles["machine", machine], profiles["attachment", attachment]
    assert isinstance(carrier.geometry, Machine)
    assert isinstance(tool.geometry, Attachment)
    assert carrier.hydraulics is not None
    return assemble(carrier.geometry, tool.geometry), carrier.hydraulics


@given(
    st.sampled_from(PAIRS), st.sampled_from(MODES), st.lists(st.floats(0.02, 0.98), min_size=7, max_size=7)
)
def test_virtual_work_and_moments_about_pins_agree(
    pair: tuple[str, str], mode: str, shares: list[float]
) -> None:
    assembly, hydraulics = fitted(*pair)
    posed = inside(assembly, shares)
    found = tool_force(posed, hydraulics, mode)
    plain = by_statics(posed, found, "centre")
    assert set(plain) == set(found.loads)
    for name, load in found.loads.items():
        assert load.thrust == pytest.approx(plain[name], rel=1e-9, abs=1e-9 * found.force)
        assert load.pressure <= load.allowed * (1.0 + 1e-12)
    limiting = found.loads[found.limited_by]
    assert limiting.pressure == pytest.approx(limiting.allowed, rel=1e-12)


@given(st.sampled_from(MODES), st.lists(st.floats(0.05, 0.95), min_size=7, max_size=7))
def test_mujoco_holds_the_same_moments(mode: str, shares: list[float]) -> None:
    """Joint moments of three massless links under a force on the tip, by MuJoCo's inverse dynamics; a cylinder's work."""
    assembly, hydraulics = fitted("crawler-14t", "digging-1500")
    posed = inside(assembly, shares)
    found = tool_force(posed, hydraulics, mode)
    x, z = assembly.attachment.edge[assembly.attachment.centre][::2]
    model = mujoco.MjModel.from_xml_string(f"""
      <mujoco><compiler angle="radian"/><option gravity="0 0 0"/><worldbody><body><joint axis="0 -1 0"/>
      <geom size="0.1" mass="1"/><body pos="{assembly.machine.boom_length!r} 0 0"><joint axis="0 -1 0"/>
      <geom size="0.1" mass="1"/><body pos="{assembly.machine.stick_length!r} 0 0"><joint axis="0 -1 0"/>
      <geom size="0.1" mass="1"/><site name="tip" pos="{x!r} 0 {z!r}"/></body></body></body></worldbody></mujoco>""")
    data = mujoco.MjData(model)
    data.qpos[:] = [posed.joint(name) for name in ("boom", "stick", "bucket")]
    mujoco.mj_forward(model, data)
    jacobian = np.zeros((3, 3))
    mujoco.mj_jacSite(model, data, jacobian, None, 0)
    moments = jacobian.T @ (found.force * np.array([found.ahead, 0.0, found.up]))
    for name, moment in zip(("boom", "stick", "bucket"), moments.tolist(), strict=True):
        step = 1e-6
        joints = {each: posed.joint(each) for each in ("boom", "stick", "bucket")}
        lengths = [
            pose(assembly, pitch=0.0, roll=0.0, **{**joints, name: joints[name] + way}).cylinders()[name]
            for way in (-step, step)
        ]
        by_joint = (lengths[1] - lengths[0]) / (2.0 * step)
        # A step of a microradian: 1e-9 of the lever.
        assert found.loads[name].thrust * by_joint == pytest.approx(moment, rel=1e-6, abs=1e-5 * found.force)


# Random machines whose arm stays in its plane.
IN_PLANE = [
    seed for seed in range(120) if not set(TURNED) & set(seeded(seed, linkage=True, driven=True).ranges)
]


@given(
    st.sampled_from(IN_PLANE), st.sampled_from(MODES), st.lists(st.floats(0.1, 0.9), min_size=7, max_size=7)
)
def test_machines_without_symmetry(seed: int, mode: str, shares: list[float]) -> None:
    assembly = seeded(seed, linkage=True, driven=True)
    posed = inside(assembly, shares)
    found = tool_force(posed, ALL, mode)
    for name, thrust in by_statics(posed, found, "centre").items():
        assert found.loads[name].thrust == pytest.approx(thrust, rel=1e-8, abs=1e-8 * found.force)


def test_the_force_curls_in_square_to_its_way() -> None:
    assembly, hydraulics = fitted("crawler-14t", "digging-1500")
    here = {"boom": 0.3, "stick": -1.6, "bucket": 0.9}
    before, after = (
        pose(assembly, pitch=0.0, roll=0.0, **{**here, "bucket": here["bucket"] + way}).level("centre")
        for way in (0.0, -1e-6)
    )
    found = tool_force(pose(assembly, pitch=0.0, roll=0.0, **here), hydraulics, "bucket")
    moved = np.array(after) - np.array(before)
    moved /= np.linalg.norm(moved)
    assert [found.ahead, 0.0, found.up] == pytest.approx(moved.tolist(), abs=1e-5)
    assert found.loads["bucket"].thrust > 0.0  # the bucket cylinder pushes to curl in
    assert found.ahead < 0.0  # towards the machine


def test_twice_the_pressure_is_twice_the_force() -> None:
    assembly, hydraulics = fitted("crawler-14t", "digging-1500")
    posed = pose(assembly, pitch=0.0, roll=0.0, boom=0.3, stick=-1.6, bucket=0.9)
    doubled = Hydraulics({
        name: dataclasses.replace(
            ram, working_pressure=2.0 * ram.working_pressure, holding_pressure=2.0 * ram.holding_pressure
        )
        for name, ram in hydraulics.rams.items()
    })  # fmt: skip
    for mode in MODES:
        one, two = tool_force(posed, hydraulics, mode), tool_force(posed, doubled, mode)
        assert two.force == pytest.approx(2.0 * one.force, rel=1e-12)
        assert two.limited_by == one.limited_by


def test_a_boom_that_cannot_hold_limits_and_is_named() -> None:
    assembly, hydraulics = fitted("crawler-14t", "digging-1500")
    posed = pose(assembly, pitch=0.0, roll=0.0, boom=0.3, stick=-0.9, bucket=0.9)
    weak = dict(hydraulics.rams)
    weak["boom"] = dataclasses.replace(weak["boom"], bore=0.03, rod=0.02, count=1)
    found = tool_force(posed, Hydraulics(weak), "stick")
    assert found.limited_by == "boom"
    assert found.force < tool_force(posed, hydraulics, "stick").force
    del weak["boom"]
    untold = tool_force(posed, Hydraulics(weak), "stick")
    assert untold.unknown == ("boom",)
    assert untold.force >= found.force


def test_the_rated_force_is_the_best_of_the_bucket_cylinder_alone() -> None:
    assembly, hydraulics = fitted("crawler-21t", "digging-1500")
    alone = Hydraulics({"bucket": hydraulics.rams["bucket"], "stick": hydraulics.rams["stick"]})
    rated = rated_force(assembly, hydraulics, "bucket")
    best = max(
        tool_force(pose(assembly, pitch=0.0, roll=0.0, boom=0.2, stick=-1.2, bucket=float(bucket)),
                   Hydraulics({"bucket": alone.rams["bucket"]}), "bucket").force
        for bucket in np.linspace(assembly.ranges["bucket"].low, assembly.ranges["bucket"].high, 400)
    )  # fmt: skip
    assert best <= rated.force * (1.0 + 1e-9)
    assert best >= rated.force * (1.0 - 1e-4)
    crowd = rated_force(assembly, hydraulics, "stick")
    assert crowd.stick is not None
    there = pose(assembly, pitch=0.0, roll=0.0, boom=0.2, stick=crowd.stick, bucket=crowd.bucket)
    assert tool_force(there, Hydraulics({"stick": alone.rams["stick"]}), "stick").force == pytest.approx(
        crowd.force
    )


@pytest.mark.parametrize("mode", MODES)
def test_a_map_tells_the_best_posture_of_each_place(mode: str) -> None:
    assembly, hydraulics = fitted("crawler-14t", "digging-1500")
    reaches, heights = np.linspace(2.0, 9.0, 8), np.linspace(-6.5, 6.0, 7)
    found = force_map(assembly, hydraulics, mode, reaches=reaches, heights=heights, step=math.radians(2.0))
    finer = force_map(assembly, hydraulics, mode, reaches=reaches, heights=heights, step=math.radians(0.1))
    both = ~np.isnan(found.force)
    assert both.sum() > 20
    assert not np.isnan(finer.force[both]).any()
    assert (found.force[both] <= finer.force[both] * (1.0 + 1e-3)).all()
    assert (found.limited_by[both] >= 0).all()
    assert (found.limited_by[~both] == -1).all()
    for i, j in np.argwhere(both)[::5].tolist():
        bucket = float(found.bucket[i, j])
        best = 0.0
        for boom in np.linspace(assembly.ranges["boom"].low, assembly.ranges["boom"].high, 4000):
            stick = _stick_to(assembly, float(boom), bucket, complex(reaches[j], heights[i]))
            if stick is not None:
                posed = pose(assembly, pitch=0.0, roll=0.0, boom=float(boom), stick=stick, bucket=bucket)
                best = max(best, tool_force(posed, hydraulics, mode).force)
        assert best == pytest.approx(found.force[i, j], rel=0.02)  # a boom angle off by half of its step


def _stick_to(assembly: Assembly, boom: float, bucket: float, at: complex) -> float | None:
    """The stick angle that brings the edge's centre within a few millimetres of a place, if there is one."""
    machine = assembly.machine
    x, _, z = assembly.attachment.edge[assembly.attachment.centre]
    pin = complex(machine.boom_foot_x, 0.0) + machine.boom_length * np.exp(1j * boom)
    outer = machine.stick_length + complex(x, z) * np.exp(1j * bucket)
    if abs(abs(at - pin) - abs(outer)) > 0.004:
        return None
    stick = float(np.angle((at - pin) / outer)) - boom
    span = assembly.ranges["stick"]
    stick += 2.0 * math.pi * round((0.5 * (span.low + span.high) - stick) / (2.0 * math.pi))
    return stick if span.low <= stick <= span.high else None


def test_refusals() -> None:
    assembly, hydraulics = fitted("crawler-14t", "digging-1500")
    posed = pose(assembly, pitch=0.0, roll=0.0, boom=0.3, stick=-1.6, bucket=0.9)
    with pytest.raises(Refused) as refused:
        tool_force(posed, hydraulics, "boom", point="nose")
    assert [fault.code for fault in refused.value.faults] == ["no-such-point", "no-such-mode"]
    with pytest.raises(Refused) as refused:
        tool_force(posed, Hydraulics({}), "stick")
    assert refused.value.code == "no-bore"
    without = assemble(plain_machine(), plain_bucket())
    with pytest.raises(Refused) as refused:
        tool_force(
            pose(without, pitch=0.0, roll=0.0, boom=0.3, stick=-1.6, bucket=0.9), Hydraulics({}), "bucket"
        )
    assert [fault.code for fault in refused.value.faults] == ["no-cylinder", "no-bore"]


@pytest.mark.parametrize(
    ("changes", "codes"),
    [
        ({"bore": 0.001}, ["out-of-range"]),
        ({"bore": math.nan, "holding_pressure": 3e9}, ["out-of-range", "out-of-range"]),
        ({"rod": 0.06, "holding_pressure": 1e7}, ["rod-too-thick", "holding-below-working"]),
        ({"count": 0, "flow": 1.0}, ["out-of-range", "out-of-range"]),
    ],
)
def test_rams_that_cannot_be(changes: dict[str, float], codes: list[str]) -> None:
    with pytest.raises(Refused) as refused:
        Hydraulics({"boom": dataclasses.replace(SMALL, **changes)})  # type: ignore[arg-type]
    assert [fault.code for fault in refused.value.faults] == codes
    with pytest.raises(Refused):
        Hydraulics({"tail": SMALL})


def test_areas_by_hand() -> None:
    ram = Ram(0.120, 0.080, 1, 343.0 * BAR, 343.0 * BAR, 60.0 * L_PER_MIN)
    assert ram.area(pushing=True) * ram.working_pressure == pytest.approx(388e3, rel=1e-3)
    assert ram.area(pushing=False) * ram.working_pressure == pytest.approx(216e3, rel=3e-3)
    assert ram.flow is not None
    assert ram.flow / ram.area(pushing=True) == pytest.approx(0.0884, abs=5e-5)


def test_the_published_mini_excavator_with_invented_bores() -> None:
    assembly = assemble(mini_machine(), mini_bucket())
    posed = pose(assembly, pitch=0.0, roll=0.0, boom=0.2, stick=-1.4, bucket=0.8)
    found = tool_force(posed, ALL, "bucket")
    for name, thrust in by_statics(posed, found, "centre").items():
        assert found.loads[name].thrust == pytest.approx(thrust, rel=1e-9)
