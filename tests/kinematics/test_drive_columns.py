"""Columns of cylinder lengths, idler and power link angles against the one-pose doors, code by code."""

import math
from collections.abc import Callable

import numpy as np

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.columns import STATUS, solve_columns
from kinematics.drive_columns import joint_rows
from kinematics.drives import cylinder_length, four_bar_from_idler, four_bar_from_power_link, joint_angle
from kinematics.errors import Refused
from kinematics.fleet import Fleet, fleet, varied
from tests.reference import mini_excavator as mini

from .machines import LEVEL, mini_bucket, mini_machine, seeded
from .rebuilt import FOUR_BAR, dimensions, rebuilt
from .rows import SAME_M, Floats, alike, assert_rows, columns_of, refusal, row_of, tried

# The same formulas with the same numbers; compiled into another loop they may fuse a multiply and an add, which a
# four-bar near dead centre magnifies by a hundred.
SAME_RAD = 1e-12
MACHINES = 25
DEGREE = math.radians(1.0)
ONE = np.zeros(1, dtype=np.int64)


def driven(seed: int) -> Assembly:
    return seeded(seed, linkage=True, driven=True)


def doors(assembly: Assembly) -> dict[str, Callable[[float], float]]:
    """By the column's name: the one-pose door from a reading to the joint's angle."""
    found: dict[str, Callable[[float], float]] = {
        f"{joint}_cylinder": lambda length, joint=joint: joint_angle(assembly, joint, length)  # type: ignore[misc]
        for joint in assembly.cylinders
    }
    found["idler"] = lambda angle: four_bar_from_idler(assembly, angle).bucket
    found["power_link"] = lambda angle: four_bar_from_power_link(assembly, angle).bucket
    return found


def readings(assembly: Assembly, name: str) -> Floats:
    """Over the whole range and far beyond both ends, with the ends and the ends of their slack to the last bit."""
    if name.endswith("_cylinder"):
        stroke = assembly.cylinders[name.removesuffix("_cylinder")].stroke
        ends = [stroke.low, stroke.high]
        width = stroke.high - stroke.low
        wide = [-1.0, 0.0, 100.0, *np.linspace(stroke.low - width, stroke.high + width, 90).tolist()]
        wide += [stroke.low - 1e-3, stroke.high + 1e-3, stroke.low - 1e-12, stroke.high + 1e-12]
    else:
        span, slack = assembly.idler, assembly.idler_limits
        assert span is not None
        assert slack is not None
        ends = [span.low, span.high, slack.low, slack.high, slack.low - 2e-9, slack.high + 2e-9]
        wide = np.linspace(-3.5 * math.pi, 3.5 * math.pi, 240).tolist()
    beside = [math.nextafter(end, to) for end in ends for to in (-1e3, 1e3)]
    return np.array([*wide, *ends, *beside])


def test_readings_to_angles_code_by_code() -> None:
    seen: dict[str, set[str]] = {}
    for seed in range(MACHINES):
        assembly = driven(seed)
        machines = fleet([assembly])
        for name, door in doors(assembly).items():
            given = readings(assembly, name)
            joint, angles, status = joint_rows(machines, name, given, 1.0, ONE, given.size)
            assert joint == ("bucket" if name in {"idler", "power_link"} else name.removesuffix("_cylinder"))
            codes = seen.setdefault(name, set())
            for reading, angle, code in zip(given.tolist(), angles.tolist(), status.tolist(), strict=True):
                expected, refused = tried(door, reading)
                codes.add(STATUS[code])
                if refused is not None:
                    assert STATUS[code] == refused.code, (seed, name, reading, refused)
                    assert math.isnan(angle), (seed, name, reading)
                    continue
                assert expected is not None
                assert STATUS[code] == "ok", (seed, name, reading)
                assert math.isfinite(angle), (seed, name, reading)
                assert abs(angle - expected) <= SAME_RAD, (seed, name, reading)
    cylinders = {"ok", "out-of-stroke"}
    assert all(seen[f"{joint}_cylinder"] >= cylinders for joint in ("boom", "fore_boom", "stick", "bucket"))
    assert seen["idler"] >= {"ok", "beyond-joint"}
    assert seen["power_link"] >= {"ok", "ambiguous", "out-of-stroke", "other-branch", "no-closure"}


def given_by(assembly: Assembly, count: int, seed: int) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Random angles of what has no cylinder, and random lengths of every cylinder, some beyond its stroke."""
    rng = np.random.default_rng([70, seed])
    angles = {k: v for k, v in columns_of(rng, assembly, count).items() if k not in assembly.cylinders}
    lengths = {}
    for joint, cylinder in assembly.cylinders.items():
        stroke = cylinder.stroke
        beyond = 0.03 * (stroke.high - stroke.low)
        lengths[joint] = rng.uniform(stroke.low - beyond, stroke.high + beyond, size=count)
    return angles, lengths


def by_cylinders(
    assembly: Assembly, angles: dict[str, Floats], lengths: dict[str, Floats]
) -> Callable[[int], Pose]:
    """One pose through every one-pose door. Where several joints fail, the last to be driven tells."""

    def one(i: int) -> Pose:
        row = row_of(angles, i)
        told: Refused | None = None
        for joint, column in lengths.items():
            angle, refused = tried(doors(assembly)[f"{joint}_cylinder"], float(column[i]))
            told = refused or told
            row[joint] = angle or 0.0
        if told is not None:
            raise told
        return pose(assembly, **row)

    return one


def test_poses_by_cylinder_lengths() -> None:
    names = ["left_height", "centre_reach", "right_lateral"]
    codes: list[str] = []
    for seed in range(12):
        assembly = driven(seed)
        angles, lengths = given_by(assembly, 60, seed)
        found = solve_columns(
            fleet([assembly]),
            angles,
            names,
            cylinders={k: v * 1e3 for k, v in lengths.items()},
            length_unit=1e-3,
        )
        exact = {k: v * 1e3 * 1e-3 for k, v in lengths.items()}
        codes += assert_rows(found, names, by_cylinders(assembly, angles, exact))
    assert codes.count("ok") > 0.5 * len(codes)
    assert "out-of-stroke" in codes


def test_idler_and_power_link_stand_in_for_the_bucket() -> None:
    """In degrees; the angle unit belongs to the reading, the joint made of it is in rad."""
    names = ["left_height", "heel_left_reach"]
    for seed in range(8):
        assembly = driven(seed)
        angles = columns_of(np.random.default_rng([71, seed]), assembly, 80)
        del angles["bucket"]
        span = assembly.idler
        assert span is not None
        for name, door in doors(assembly).items():
            if name.endswith("_cylinder"):
                continue
            reading = np.linspace(math.degrees(span.low) - 5.0, math.degrees(span.high) + 5.0, 80)

            def one(i: int, door=door, reading=reading, assembly=assembly, angles=angles) -> Pose:  # type: ignore[no-untyped-def]
                exact = {key: float(np.degrees(column[i])) * DEGREE for key, column in angles.items()}
                return pose(assembly, bucket=door(float(reading[i]) * DEGREE), **exact)

            given = {key: np.degrees(column) for key, column in angles.items()} | {name: reading}
            assert_rows(solve_columns(fleet([assembly]), given, names, angle_unit=DEGREE), names, one)


def test_several_machines_by_cylinder() -> None:
    """Every machine makes its own angle of each length; row-wise each row's machine does."""
    machines = alike(3, linkage=True, driven=True)
    names = ["left_height", "centre_reach"]
    for count in (1, 37, 300):
        angles, lengths = given_by(machines[1], count, 5)
        both = solve_columns(fleet(machines), angles, names, cylinders=lengths)
        assert both.status.shape == (3, count)
        for k, machine in enumerate(machines):
            one = by_cylinders(machine, angles, lengths)
            own = solve_columns(fleet([machine]), angles, names, cylinders=lengths)
            assert_rows(own, names, one)
            assert np.array_equal(own.status, both.status[k])
            for name in names:
                assert own.values[name].tobytes() == both.values[name][k].tobytes()
        which = np.random.default_rng(72).integers(0, 3, size=count)
        mixed = solve_columns(fleet(machines), angles, names, cylinders=lengths, machine_of=which)
        assert np.array_equal(mixed.status, both.status[which, np.arange(count)])
        for name in names:
            picked = both.values[name][which, np.arange(count)]
            assert np.array_equal(mixed.values[name], picked, equal_nan=True)


def test_one_length_for_every_pose_and_machine() -> None:
    machines = alike(2, linkage=True, driven=True)
    angles, _ = given_by(machines[0], 50, 6)
    middle = {k: 0.5 * (c.stroke.low + c.stroke.high) for k, c in machines[0].cylinders.items()}
    still = {name: float(column[0]) for name, column in angles.items()}
    for more in (angles, still):
        found = solve_columns(fleet(machines), more, ["left_height"], cylinders=middle)
        size = 50 if more is angles else 1
        full = {k: np.full(size, v) for k, v in middle.items()}
        again = solve_columns(
            fleet(machines),
            {k: np.resize(np.asarray(v), size) for k, v in more.items()},
            ["left_height"],
            cylinders=full,
        )
        assert found.status.shape == (2, size)
        assert found.ok[0].all()
        assert np.array_equal(found.values["left_height"], again.values["left_height"], equal_nan=True)


def test_one_missing_cylinder_in_a_fleet() -> None:
    whole = driven(1)
    other = next(
        seeded(s, linkage=True)
        for s in range(200)
        if set(seeded(s, linkage=True).ranges) == set(whole.ranges)
    )
    machines = fleet([whole, other])
    angles = dict.fromkeys(("pitch", "roll", *machines.joints), 0.0)
    del angles["boom"]
    refused = refusal(lambda: solve_columns(machines, angles, ["left_height"], cylinders={"boom": 1.0}))
    assert refused.code == "no-cylinder"
    plain = next(seeded(s) for s in range(200) if set(seeded(s).ranges) == set(whole.ranges))
    angles = dict.fromkeys(("pitch", "roll", "idler", *machines.joints), 0.0)
    del angles["bucket"]
    refused = refusal(lambda: solve_columns(fleet([whole, plain]), angles, ["left_height"]))
    assert refused.code == "no-linkage"


def inner(assembly: Assembly, count: int) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """As `given_by`, well within every stroke, so that a machine a little different gets there too."""
    rng = np.random.default_rng(73)
    angles = {k: v for k, v in columns_of(rng, assembly, count).items() if k not in assembly.cylinders}
    return angles, {
        joint: c.stroke.low + rng.uniform(0.2, 0.8, size=count) * (c.stroke.high - c.stroke.low)
        for joint, c in assembly.cylinders.items()
    }


def test_varied_dimensions_are_machines_measured_anew() -> None:
    """Row by row: every dimension of linkage and cylinders varied, against the machine rebuilt and assembled again."""
    changes = np.array([-0.002, 0.0, 0.001])
    names = ["left_height", "centre_reach", "right_lateral"]
    for seed in (1, 4, 9):
        assembly = driven(seed)
        angles, lengths = inner(assembly, 4)
        for name in dimensions(assembly):
            machines: Fleet = varied(assembly, {name: assembly.parameters[name][0] + changes})
            found = solve_columns(machines, angles, names, cylinders=lengths)
            assert found.ok.all(), (seed, name)
            for k, change in enumerate(changes.tolist()):
                anew = rebuilt(assembly, name, change)
                one = by_cylinders(anew, angles, lengths)
                for i in range(4):
                    expected = one(i)
                    for output in names:
                        assert abs(found.values[output][k, i] - expected.output(output)) <= 10 * SAME_M, (
                            seed,
                            name,
                            output,
                        )
            stir = np.ptp(found.values["left_height"], axis=0).max()
            assert stir > 1e-6, (seed, name)  # a dimension that does nothing would be none


def test_varied_linkage_by_idler_and_power_link() -> None:
    """The idler's range is measured as such, so that it stays what it was: the same number or the same refusal."""
    changes = np.array([-0.002, 0.0, 0.001])
    fine = 0
    for seed in range(12):
        assembly = seeded(seed, linkage=True)
        still = {
            name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items() if name != "bucket"
        }
        span = assembly.idler
        assert span is not None
        bar = four_bar_from_idler(assembly, 0.3 * span.low + 0.7 * span.high)
        for name in FOUR_BAR:
            machines = varied(assembly, {name: assembly.parameters[name][0] + changes})
            for by, reading in (("idler", bar.idler), ("power_link", bar.power_link)):
                found = solve_columns(
                    machines, LEVEL | still | {by: reading}, ["left_height", "centre_reach"]
                )
                for k, change in enumerate(changes.tolist()):
                    anew = rebuilt(assembly, name, change)
                    bucket, refused = tried(doors(anew)[by], reading)
                    if refused is not None:
                        assert STATUS[int(found.status[k, 0])] == refused.code, (seed, name, by)
                        continue
                    assert bucket is not None
                    fine += 1
                    expected = pose(anew, **LEVEL, **still, bucket=bucket)
                    for output in ("left_height", "centre_reach"):
                        off = abs(found.values[output][k, 0] - expected.output(output))
                        assert off <= 10 * SAME_M, (seed, name, by, output)
    assert fine > 300


def test_published_mini_excavator_by_columns() -> None:
    """The boom cylinder at 0.905 m holds the boom at -0.4737 rad (published pairs, four printed decimals)."""
    assembly = assemble(mini_machine(), mini_bucket())
    for joint, length, angle in mini.PAIRS:
        _, found, status = joint_rows(fleet([assembly]), f"{joint}_cylinder", np.array([length]), 1.0, ONE, 1)
        assert STATUS[int(status[0])] == "ok"
        held = float(found[0])
        assert math.isfinite(held)
        assert abs(cylinder_length(assembly, joint, held) - length) <= SAME_M
        if joint != "bucket":  # its published zero is another line of the bucket
            assert abs(held - angle) <= 0.00006, joint
