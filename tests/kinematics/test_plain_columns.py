"""Columns and their derivatives, compiled, against the same source run as plain Python with every warning an error."""

import numpy as np

from kinematics.columns import differentiate_columns, solve_columns
from kinematics.fleet import fleet

from .machines import LEVEL, Rng, seeded
from .plainly import in_plain_python
from .rows import columns_of, outputs_of

# Compiled code may fuse a multiply and an add and so part in the last bits; a linkage or a steep edge magnifies them.
COMPILED = 1e-11
NAMES = [
    "pitch",
    "roll",
    "boom",
    "bucket",
    "boom_length",
    "stick_length",
    "coupler_angle",
    "left_z",
    "heel_right_x",
]


def some_columns() -> dict[str, list[float]]:
    """Rows of a few machines by angle, cylinder, idler and power link; some fail, each for a reason of its own."""
    told: dict[str, list[float]] = {}

    def tell(name: str, found: object) -> None:
        told[f"{name}.status"] = found.status.ravel().tolist()  # type: ignore[attr-defined]
        for key, column in found.values.items():  # type: ignore[attr-defined]
            told[f"{name}.{key}"] = np.nan_to_num(column.ravel(), nan=-9999.0).tolist()

    for seed in (1, 2, 6):
        rng: Rng = np.random.default_rng([95, seed])
        assembly = seeded(seed, linkage=True, driven=True)
        machines = fleet([assembly])
        columns = columns_of(rng, assembly, 40, stray=0.4)
        columns["pitch"][0], columns["boom"][1] = 1e300, -1e300
        tell(f"{seed}", solve_columns(machines, columns, outputs_of(assembly)))
        for output in ("centre_height", "cross_slope", "floor_angle", "heel_clearance"):
            tell(f"{seed}.d.{output}", differentiate_columns(machines, columns, output, NAMES))
        still = LEVEL | {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
        rest = {name: angle for name, angle in still.items() if name not in assembly.cylinders}
        lengths = {}
        for joint, cylinder in assembly.cylinders.items():
            low, high = cylinder.stroke.low, cylinder.stroke.high
            lengths[joint] = rng.uniform(low - 0.05 * (high - low), high + 0.05 * (high - low), size=30)
        lengths["boom"][:2] = 0.0, 1e6
        tell(
            f"{seed}.cylinders",
            solve_columns(machines, rest, ["left_height", "floor_angle"], cylinders=lengths),
        )
        del still["bucket"]
        for name in ("idler", "power_link"):
            around = still | {name: np.linspace(-3.2, 3.2, 40)}
            tell(f"{seed}.{name}", solve_columns(machines, around, ["left_height", "centre_reach"]))
    return told


def test_compiled_columns_equal_plain_python() -> None:
    plain, compiled = in_plain_python("test_plain_columns", "some_columns"), some_columns()
    assert list(plain) == list(compiled)
    codes = set()
    for name, told in compiled.items():
        ours, theirs = np.array(told), np.array(plain[name])
        assert np.isfinite(ours).all()
        assert np.isfinite(theirs).all()
        if name.endswith(".status"):
            codes |= set(ours.tolist())
            assert np.array_equal(ours, theirs), name
            continue
        assert np.array_equal(ours == -9999.0, theirs == -9999.0), name
        assert float((np.abs(ours - theirs) / (1.0 + np.abs(ours))).max()) <= COMPILED, name
    assert len(codes) >= 5
