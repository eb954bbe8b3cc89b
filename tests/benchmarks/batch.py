"""100 000 poses of the full chain against C, against a plain loop, on two threads, with derivatives, against Pinocchio.

Every call makes its own result arrays, ours and C's alike. Blocks of calls alternate, so that what else the machine is
doing falls on both sides of a ratio.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kinematics import Assembly, Attachment, Machine, assemble, pose
from kinematics.block import Columns, solve_rows
from kinematics.chain import OUTPUTS
from kinematics.columns import differentiate_columns, solve_columns
from kinematics.fleet import fleet
from kinematics.gradient import JOINT_COLUMNS
from kinematics.machine import Point
from machine_profiles import shipped
from tests.benchmarks.started import READY_WITHIN_S
from tests.benchmarks.unblocked import solve_unblocked
from tests.benchmarks.yardstick import compiled_chain

POSES = 768 * 131  # 100 608, whole blocks of ours and of C
ROUNDS = 9
EACH = 24
PIN_POSES = 2000


def full_chain() -> Assembly:
    """A machine with tilt, rotation, teeth and receiver; a swing boom and fore boom it lacks cost what they would."""
    profiles = shipped()
    machine = profiles["machine", "crawler-21t"].geometry
    attachment = profiles["attachment", "tilt-rotator-1600"].geometry
    assert isinstance(machine, Machine)
    assert isinstance(attachment, Attachment)
    left, centre, right = attachment.edge
    return assemble(machine, replace(attachment, teeth=(_ahead(left), _ahead(centre), _ahead(right))))


def _ahead(point: Point) -> Point:
    return point[0] - 0.1, point[1], point[2]


def batch() -> dict[str, float]:
    """Ratios of medians; nanoseconds a pose are reported."""
    machine = full_chain()
    q = _poses(machine)
    angles = {
        name: q[i] for i, name in enumerate(JOINT_COLUMNS) if name in ("pitch", "roll", *machine.ranges)
    }
    one = fleet([machine])

    with tempfile.TemporaryDirectory() as name, ThreadPoolExecutor(2) as pool:
        simd, scalar = (compiled_chain(Path(name), kind, machine) for kind in ("simd", "scalar"))
        told, _ = simd(q)
        found = solve_columns(one, angles, OUTPUTS)
        assert found.ok.all()
        for k, output in enumerate(OUTPUTS):  # the yardstick measures the same thing
            assert np.nanmax(np.abs(found.values[output] - told[k]), initial=0.0) < 1e-9, output
        calls: dict[str, Callable[[], object]] = {
            "batch": lambda: solve_columns(one, angles, OUTPUTS),
            "c_simd": lambda: simd(q),
            "c_scalar": lambda: scalar(q),
            "blocked": lambda: _blocked(machine, q),
            "unblocked": lambda: _unblocked(machine, q),
            "height": lambda: solve_columns(one, angles, ["centre_height"]),
            "gradient": lambda: differentiate_columns(one, angles, "centre_height"),
        }
        times = _alternating(calls)
        speedup, c_speedup = (_on_two_threads(calls[name], pool) for name in ("batch", "c_simd"))
    names = len(differentiate_columns(one, {k: v[:1] for k, v in angles.items()}, "centre_height").values)
    c_gain, block_gain = _ratio(times, "c_scalar", "c_simd"), _ratio(times, "unblocked", "blocked")
    return {
        "c_simd_gain": c_gain,
        "batch_over_c": _ratio(times, "batch", "c_simd"),
        "block_gain": block_gain,
        "block_gain_over_c_gain": block_gain / c_gain,
        "two_threads_speedup": speedup,
        "c_two_threads_speedup": c_speedup,
        "gradient_over_value": _ratio(times, "gradient", "height"),
        "gradient_names": float(names),
        **{f"{name}_ns_a_pose": statistics.median(each) / POSES * 1e9 for name, each in times.items()},
        "pin_loop_over_batch": _pinocchio(machine, q) / (statistics.median(times["batch"]) / POSES),
    }


def start_up() -> dict[str, float]:
    """Seconds of a new process, code already compiled to disk: import alone, and import to the first pose."""
    programs = {
        "import_s": "import kinematics",
        "warm_start_s": "from tests.demo_machine import arm_of_demo\nfrom kinematics import pose\n"
        "pose(arm_of_demo(), pitch=0.0, roll=0.0, boom=0.5, stick=-1.6, bucket=1.0, tilt=0.0)",
    }
    return {name: _new_process(program) for name, program in programs.items()}


def _new_process(program: str) -> float:
    times = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", program], check=True, timeout=READY_WITHIN_S)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def _poses(machine: Assembly) -> NDArray[np.float64]:
    rng = np.random.default_rng(3)
    q = np.zeros((len(JOINT_COLUMNS), POSES))
    q[:2] = rng.uniform(-0.1, 0.1, (2, POSES))
    for i, name in enumerate(JOINT_COLUMNS):
        if name in machine.ranges:
            q[i] = rng.uniform(machine.ranges[name].low, machine.ranges[name].high, POSES)
    return q


def _result() -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
    return np.empty((len(OUTPUTS), POSES)), np.empty(POSES, dtype=np.uint8)


def _columns(q: NDArray[np.float64]) -> Columns:
    q = q.view()
    q.flags.writeable = False
    return tuple(q)


def _blocked(machine: Assembly, q: NDArray[np.float64]) -> None:
    """The loop behind `solve_columns`, without its checks: what differs from `_unblocked` is the blocks alone."""
    solve_rows(
        machine.parameters, machine.limits.reshape(1, -1), np.zeros(1, dtype=np.int64), _columns(q),
        np.ones(len(q)), POSES, np.arange(len(OUTPUTS)), np.ones(len(OUTPUTS)), *_result(), 0, POSES,
    )  # fmt: skip


def _unblocked(machine: Assembly, q: NDArray[np.float64]) -> None:
    solve_unblocked(machine.parameters, machine.limits, _columns(q), *_result())


def _alternating(calls: dict[str, Callable[[], object]]) -> dict[str, list[float]]:
    times: dict[str, list[float]] = {name: [] for name in calls}
    for call in calls.values():
        call()
    for _ in range(ROUNDS):
        for name, call in calls.items():
            start = time.perf_counter()
            call()
            call()
            times[name].append((time.perf_counter() - start) / 2)
    return times


def _on_two_threads(call: Callable[[], object], pool: ThreadPoolExecutor) -> float:
    """Time of `EACH` calls one after another over that of half of them on each of two threads, which hold no interpreter.

    Long enough that the system has both on a core of their own: after a stretch of one thread that takes it some
    milliseconds, as long as a whole batch. Fastest against fastest round: one in which the host lent a core away says
    nothing of ours.
    """

    def some(count: int) -> None:
        for _ in range(count):
            call()

    alone, both = [], []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        some(EACH)
        turned = time.perf_counter()
        list(pool.map(some, (EACH // 2, EACH // 2)))
        alone.append(turned - start)
        both.append(time.perf_counter() - turned)
    return min(alone) / min(both)


def _ratio(times: dict[str, list[float]], above: str, below: str) -> float:
    """Median of the ratios within each round."""
    return statistics.median(a / b for a, b in zip(times[above], times[below], strict=True))


def _pinocchio(machine: Assembly, q: NDArray[np.float64]) -> float:
    """Seconds a pose of a Python loop over Pinocchio's compiled forward kinematics, placing the same points."""
    import pinocchio as pin  # noqa: PLC0415 - a referee, wanted nowhere else in the benchmarks

    from tests.kinematics.test_against_pinocchio import built  # noqa: PLC0415

    angles = dict(zip(JOINT_COLUMNS, q[:, 0].tolist(), strict=True))
    chain = built(pin, pose(machine, **{name: angles[name] for name in ("pitch", "roll", *machine.ranges)}))
    data = chain.model.createData()
    order = [JOINT_COLUMNS.index(name) for name in chain.turns]
    turns = np.ascontiguousarray(q[order, :PIN_POSES].T)
    joint, step = chain.frames["bucket"]
    attachment = machine.attachment
    points = [np.array(point) for point in (*attachment.edge, *attachment.heel)]
    start = time.perf_counter()
    for row in turns:
        pin.forwardKinematics(chain.model, data, row)
        placed = data.oMi[joint] * step
        for point in points:
            placed.act(point)
    return (time.perf_counter() - start) / PIN_POSES
