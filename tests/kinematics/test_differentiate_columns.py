"""Derivatives over columns: the one-pose door row by row, differences of the columns themselves, kinks and refusals."""

import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.block import BLOCK
from kinematics.chain import OUTPUTS
from kinematics.columns import STATUS, Columns, differentiable, differentiate_columns, solve_columns
from kinematics.fleet import Fleet, fleet, varied
from kinematics.gradient import JOINT_COLUMNS
from kinematics.machine import Range, Receiver
from kinematics.sensitivity import sensitivity

from .machines import DIGGING, LEVEL, plain_bucket, plain_machine, seeded
from .rows import Floats, alike, columns_of, outputs_of, refusal, row_of, tried

# The same source with the same numbers, in blocks and alone.
SAME = 1e-12
# Five points a milliradian or millimetre apart: h^4 of a fifth derivative of some tens, and 1e-14 over h of rounding.
STEP = 1e-3
DIFFERENCE = 2e-9
# Steeper edges bend too much for these steps: a slope's fifth derivative grows as its sixth power.
STEEPEST_SLOPE = 0.7
PLAIN = assemble(plain_machine(), plain_bucket())
STILL = LEVEL | DIGGING


def rates(
    machines: Fleet,
    columns: Mapping[str, object],
    output: str,
    names: list[str] | None = None,
    **more: object,
) -> Columns:
    return differentiate_columns(machines, columns, output, names, **more)  # type: ignore[arg-type]


def all_names(assembly: Assembly) -> list[str]:
    return list(differentiable(fleet([assembly])))


def assert_same(found: Columns, i: int, expected: dict[str, float], why: object) -> None:
    scale = 1.0 + max(abs(rate) for rate in expected.values())
    for name, column in found.values.items():
        assert math.isfinite(column[i]), (why, i, name)
        assert abs(column[i] - expected[name]) <= SAME * scale, (why, i, name)


def test_equals_the_one_pose_door() -> None:
    """Every output by every joint and parameter, of random machines, with rows that fail between."""
    for seed in range(16):
        assembly = seeded(seed, linkage=seed % 2 == 0)
        columns = columns_of(np.random.default_rng([80, seed]), assembly, 6, stray=0.2)
        columns["boom"][3] = 5.0
        names = all_names(assembly)
        for output in outputs_of(assembly)[:-1]:
            found = rates(fleet([assembly]), columns, output, names)
            assert list(found.values) == names
            for i in range(6):
                at, refused = tried(lambda i, a=assembly, c=columns: pose(a, **row_of(c, i)), i)  # type: ignore[misc]
                if at is None:
                    assert refused is not None
                    assert STATUS[int(found.status[i])] in {fault.code for fault in refused.faults}
                    assert all(math.isnan(column[i]) for column in found.values.values())
                    continue
                assert STATUS[int(found.status[i])] == "ok"
                ours = sensitivity(at, output)
                assert_same(found, i, ours.joints | ours.parameters, (seed, output))
            assert not found.ok[3]


def stepped(assembly: Assembly, columns: Mapping[str, Floats], output: str, name: str) -> Floats:
    """Central difference of `solve_columns` on five points, of which no one is a derivative's business."""
    offsets = STEP * np.array([-2.0, -1.0, 1.0, 2.0])
    if name in JOINT_COLUMNS:
        values = [
            solve_columns(fleet([assembly]), {**columns, name: columns[name] + by}, [output]).values[output]
            for by in offsets.tolist()
        ]
    else:
        # By hand and not by `varied`: half an axis's numbers alone make no direction, and here it is a derivative's step.
        records = np.repeat(assembly.parameters, len(offsets))
        records[name] += offsets
        one = fleet([assembly])
        limits = np.repeat(one.limits, len(offsets), axis=0)
        records.flags.writeable = limits.flags.writeable = False  # as every fleet's
        machines = Fleet(
            records, records.view(np.float64).reshape(len(offsets), -1), limits, one.joints, (assembly,)
        )
        values = list(solve_columns(machines, columns, [output]).values[output])
    first, second, third, fourth = values
    found: Floats = (first - fourth + 8.0 * (third - second)) / (12.0 * STEP)
    return found


def clearances(assembly: Assembly, columns: Mapping[str, Floats]) -> tuple[Floats, Floats]:
    """Of either end of the heel: its height over the line left, centre, right of the edge, at its own y."""
    names = ("right", "centre", "left", "heel_left", "heel_right")
    height = solve_columns(fleet([assembly]), columns, [f"{name}_height" for name in names]).values
    y = {name: float(assembly.parameters[f"{name}_y"][0]) for name in names}
    edge = [y[name] for name in names[:3]]
    found = []
    for end in ("heel_left", "heel_right"):
        rows = zip(*(height[f"{name}_height"] for name in names[:3]), strict=True)
        found.append(height[f"{end}_height"] - [float(np.interp(y[end], edge, row)) for row in rows])
    return found[0], found[1]


def test_heel_clearance_is_the_lesser_of_its_ends() -> None:
    for seed in range(20):
        assembly = seeded(seed)
        columns = columns_of(np.random.default_rng([88, seed]), assembly, 10)
        found = solve_columns(fleet([assembly]), columns, ["heel_clearance"])
        assert found.ok.all()
        expected = np.minimum(*clearances(assembly, columns))
        assert np.abs(found.values["heel_clearance"] - expected).max() <= 10 * SAME


def test_equals_differences_of_the_columns() -> None:
    """A second opinion that shares no line with the derivatives: joints and numbers stepped."""
    tried_rates = 0
    for seed in range(7):
        assembly = seeded(seed, linkage=seed % 2 == 1)
        heel = [float(assembly.parameters[f"heel_{side}_y"][0]) for side in ("left", "right")]
        centre = float(assembly.parameters["centre_y"][0])
        if min(abs(y - centre) for y in heel) < 5 * STEP:
            continue  # the edge bends there, and with it the clearance
        columns = columns_of(np.random.default_rng([81, seed]), assembly, 60)
        inside = np.ones(60, dtype=np.bool_)
        for name, span in assembly.ranges.items():
            inside &= (columns[name] > span.low + 3 * STEP) & (columns[name] < span.high - 3 * STEP)
        if assembly.machine.receiver is not None:  # near plumb the mast's angle bends as a cone's tip does
            mast = solve_columns(fleet([assembly]), columns, ["mast_angle"]).values["mast_angle"]
            inside &= (mast > 0.3) & (mast < math.pi - 0.3)
        slope = solve_columns(fleet([assembly]), columns, ["cross_slope"]).values["cross_slope"]
        left, right = clearances(assembly, columns)
        smooth = inside & (np.abs(slope) < STEEPEST_SLOPE) & (np.abs(left - right) > 0.03)
        if not smooth.any():
            continue
        chosen = {name: column[smooth][:5] for name, column in columns.items()}
        shapes = [
            name for name in ("cross_slope", "heel_clearance", "mast_angle") if name in outputs_of(assembly)
        ]
        for output in ("left_height", "centre_reach", "heel_right_lateral", *shapes):
            found = rates(fleet([assembly]), chosen, output, all_names(assembly))
            assert found.ok.all()
            for name, column in found.values.items():
                expected = stepped(assembly, chosen, output, name)
                assert np.isfinite(expected).all(), (seed, output, name)
                off = np.abs(column - expected) / (1.0 + np.abs(expected))
                assert off.max() <= DIFFERENCE, (seed, output, name, column, expected)
                tried_rates += column.size
    assert tried_rates > 3000


def test_many_poses_and_machines() -> None:
    """Every machine with every pose, row-wise machines, sizes round a block, in parts on threads: one and the same."""
    machines = alike(2, linkage=False)
    names = ["pitch", "boom", "boom_length", "heel_left_x", "coupler_angle"]
    for count in (1, 2 * BLOCK + 1):
        columns = columns_of(np.random.default_rng(82), machines[0], count, stray=0.1)
        for output in ("left_height", "cross_slope", "floor_angle", "heel_clearance"):
            whole = rates(fleet(machines), columns, output, names)
            assert whole.status.shape == (2, count)
            with ThreadPoolExecutor(3) as pool:
                apart = rates(fleet(machines), columns, output, names, executor=pool, parts=5)
            which = np.random.default_rng(83).integers(0, 2, size=count)
            mixed = rates(fleet(machines), columns, output, names, machine_of=which)
            assert np.array_equal(apart.status, whole.status)
            assert np.array_equal(mixed.status, whole.status[which, np.arange(count)])
            for k, machine in enumerate(machines):
                own = rates(fleet([machine]), columns, output, names)
                assert np.array_equal(own.status, whole.status[k])
                for name in names:
                    assert own.values[name].tobytes() == whole.values[name][k].tobytes()
            for name in names:
                assert apart.values[name].tobytes() == whole.values[name].tobytes()
                picked = whole.values[name][which, np.arange(count)]
                assert mixed.values[name].tobytes() == picked.tobytes()
                assert np.array_equal(np.isnan(whole.values[name]), ~whole.ok)


def test_failed_rows_leave_their_neighbours_alone() -> None:
    columns = columns_of(np.random.default_rng(84), PLAIN, 2 * BLOCK)
    for output in ("centre_height", "cross_slope", "floor_angle", "heel_clearance"):
        clean = rates(fleet([PLAIN]), columns, output)
        assert clean.ok.all()
        spoilt = {name: column.copy() for name, column in columns.items()}
        lost = [0, 17, BLOCK - 1, BLOCK, 2 * BLOCK - 1]
        spoilt["stick"][lost] = 1e300
        spoilt["pitch"][17] = 0.8
        found = rates(fleet([PLAIN]), spoilt, output)
        kept = np.setdiff1d(np.arange(2 * BLOCK), lost)
        assert not found.ok[lost].any()
        for name, column in found.values.items():
            assert np.isnan(column[lost]).all()
            assert column[kept].tobytes() == clean.values[name][kept].tobytes(), (output, name)


def test_angle_unit_scales_the_angles_and_not_the_rates() -> None:
    columns = columns_of(np.random.default_rng(85), PLAIN, 20)
    degrees = {name: np.degrees(column) for name, column in columns.items()}
    found = rates(fleet([PLAIN]), degrees, "centre_height", ["boom"], angle_unit=math.radians(1.0))
    expected = rates(fleet([PLAIN]), columns, "centre_height", ["boom"])
    assert found.ok.all()
    assert np.abs(found.values["boom"] - expected.values["boom"]).max() <= 1e-11


def test_cylinders_give_the_pose_and_the_rates_stay_by_joint_angle() -> None:
    assembly = seeded(1, linkage=True, driven=True)
    middle = {name: 0.5 * (c.stroke.low + c.stroke.high) for name, c in assembly.cylinders.items()}
    angles = LEVEL | {n: 0.5 * (s.low + s.high) for n, s in assembly.ranges.items() if n not in middle}
    found = rates(fleet([assembly]), angles, "left_height", cylinders=middle)
    beyond = rates(
        fleet([assembly]),
        angles,
        "left_height",
        cylinders=middle | {"boom": np.array([middle["boom"], 99.0])},
    )
    assert found.ok.all()
    assert [STATUS[code] for code in beyond.status.tolist()] == ["ok", "out-of-stroke"]
    for name, column in found.values.items():
        assert abs(beyond.values[name][0] - column[0]) <= SAME
        assert math.isnan(beyond.values[name][1])


def test_docstring_lever() -> None:
    """At 8 m reach from the boom foot pin, d centre_height / d boom is 8 m/rad: 0.1 deg of boom is 14 mm."""
    at = pose(PLAIN, **STILL)
    lever = at.reach - PLAIN.machine.boom_foot_x
    found = rates(fleet([PLAIN]), STILL, "centre_height", ["boom"])
    assert abs(found.values["boom"][0] - lever) <= SAME * 10
    assert abs(8.0 * math.radians(0.1) - 0.014) <= 0.0005


def lopsided(left_higher: float) -> Assembly:
    """Its heel stands `left_higher` m higher on the left than on the right, both over a level edge."""
    heel = ((0.6, 0.65, -1.2 + left_higher), (0.6, -0.65, -1.2 - left_higher))
    return assemble(plain_machine(), plain_bucket(heel=heel))


def test_heel_clearance_hangs_on_the_side_where_it_is_least() -> None:
    """The other end of the heel and its corner have no part in it. The heel is 50 mm narrower a side than the 1.4 m
    edge, so that 65/70 of the corner and 5/70 of the centre lie ahead of it."""
    share = 0.65 / 0.7
    for higher, side, other in ((0.05, "right", "left"), (-0.05, "left", "right")):
        assembly = lopsided(higher)
        found = rates(fleet([assembly]), STILL, "heel_clearance", all_names(assembly)).values
        assert abs(found[f"heel_{side}_z"][0] - 1.0) <= SAME
        assert abs(found[f"{side}_z"][0] + share) <= SAME
        assert abs(found["centre_z"][0] + 1.0 - share) <= SAME
        for name in (f"heel_{other}", other):
            for axis in "xyz":
                assert found[f"{name}_{axis}"][0] == 0.0, (name, axis)
    # Row by row: the end that stands lower.
    low = varied(PLAIN, {"heel_left_z": [-1.25, -1.15, -1.21, -1.19]})
    found = rates(low, STILL, "heel_clearance", ["heel_left_z", "heel_right_z", "left_z", "right_z"]).values
    assert (found["heel_left_z"][:, 0] != 0.0).tolist() == [True, False, True, False]
    assert (found["left_z"][:, 0] != 0.0).tolist() == [True, False, True, False]
    assert (found["heel_right_z"][:, 0] != 0.0).tolist() == [False, True, False, True]
    assert (found["right_z"][:, 0] != 0.0).tolist() == [False, True, False, True]


def masted(pitch: float = 0.0) -> tuple[Assembly, dict[str, float]]:
    """A mast along the stick's z, and a pose whose stick lies level but for the pitch."""
    machine = plain_machine(stick=Range(-2.6, 0.4), receiver=Receiver((1.0, 0.1, 0.2), (0.0, 0.0, 1.0)))
    return assemble(machine, plain_bucket()), {
        "pitch": pitch,
        "roll": 0.0,
        "boom": 0.0,
        "stick": 0.0,
        "bucket": 1.0,
    }


def test_mast_that_stands_plumb_has_no_rate() -> None:
    """The angle is a cone: it grows whichever way the mast leans. NaN in its row alone; the one-pose door refuses."""
    assembly, angles = masted()
    columns = angles | {"pitch": np.array([0.01, 0.0, -0.01])}
    value = solve_columns(fleet([assembly]), columns, ["mast_angle"])
    assert value.ok.all()
    assert np.abs(value.values["mast_angle"] - [0.01, 0.0, 0.01]).max() <= SAME
    found = rates(fleet([assembly]), columns, "mast_angle", ["pitch", "boom", "mast_x", "roll"])
    for name in ("pitch", "boom"):
        assert abs(found.values[name][0] - 1.0) <= SAME, name
        assert math.isnan(found.values[name][1]), name
        assert abs(found.values[name][2] + 1.0) <= SAME, name
    assert refusal(lambda: sensitivity(pose(assembly, **angles), "mast_angle")).code == "no-derivative"
    assert sensitivity(pose(assembly, **angles), "receiver_height").joints["boom"] == pytest.approx(
        6.0, abs=SAME * 10
    )


def test_what_hangs_on_the_stick_does_not_hang_on_the_bucket() -> None:
    for seed in range(12):
        assembly = seeded(seed)
        if assembly.machine.receiver is None:
            continue
        columns = columns_of(np.random.default_rng([86, seed]), assembly, 3)
        for output in ("receiver_height", "mast_angle"):
            found = rates(fleet([assembly]), columns, output, all_names(assembly)).values
            for name in (
                "bucket",
                "tilt",
                "coupler_x",
                "mount_angle",
                "left_z",
                "stick_length",
                "heel_right_x",
            ):
                if name in found:
                    assert (found[name] == 0.0).all(), (output, name)
        found = rates(fleet([assembly]), columns, "left_height", all_names(assembly)).values
        for name in ("receiver_x", "mast_z", "right_z", "heel_left_x"):
            assert (found[name] == 0.0).all(), name


def test_names_left_out_are_those_that_count() -> None:
    """What is left out when no name is given is zero in every row, nothing else is."""
    for seed in range(8):
        assembly = seeded(seed)
        columns = columns_of(np.random.default_rng([87, seed]), assembly, 4)
        for output in outputs_of(assembly)[:-1]:
            whole = rates(fleet([assembly]), columns, output, all_names(assembly)).values
            found = rates(fleet([assembly]), columns, output).values
            assert set(found) <= set(whole)
            for name, column in whole.items():
                if name in found:
                    assert np.array_equal(column, found[name]), (output, name)
                else:
                    assert (column == 0.0).all(), (output, name)


def test_refusals() -> None:
    machines = fleet([PLAIN])
    for output in ("square", "centre", "boom", "", "bucket_cylinder"):
        assert refusal(lambda output=output: rates(machines, STILL, output)).code == "unknown-output"  # type: ignore[misc]
    for output in ("mast_angle", "tooth_left_height", "receiver_reach"):
        assert refusal(lambda output=output: rates(machines, STILL, output)).code == "no-such-point"  # type: ignore[misc]
    for name in ("tilt", "receiver_x", "idler_length", "boom_cylinder_foot_x", "length", "", "Boom"):
        refused = refusal(lambda name=name: rates(machines, STILL, "centre_height", ["boom", name]))  # type: ignore[misc]
        assert [fault.code for fault in refused.faults] == ["no-such-parameter"], name
    both = refusal(lambda: rates(machines, {**STILL, "boom": math.nan}, "centre_height", ["x", "y"]))
    assert [fault.code for fault in both.faults] == ["no-such-parameter", "no-such-parameter", "not-finite"]
    for bad, code in (
        ({"boom": 1j}, "not-a-number"),
        ({"tilt": 0.0}, "no-such-joint"),
        ({"boom": np.zeros((2, 2))}, "ragged"),
    ):
        assert refusal(lambda bad=bad: rates(machines, STILL | bad, "centre_height")).code == code  # type: ignore[misc]


def test_parameter_that_only_some_machines_have() -> None:
    with_receiver = assemble(
        plain_machine(receiver=Receiver((1.0, 0.1, 0.2), (0.0, 0.0, 1.0))), plain_bucket()
    )
    both = fleet([PLAIN, with_receiver])
    assert "receiver_x" in differentiable(fleet([with_receiver]))
    assert "receiver_x" not in differentiable(both)
    refused = refusal(lambda: rates(both, STILL, "centre_height", ["receiver_x"]))
    assert refused.code == "no-such-parameter"
    assert set(differentiable(both)) == set(differentiable(fleet([PLAIN])))
    assert "tilt" not in differentiable(both)
    assert "square" in OUTPUTS
