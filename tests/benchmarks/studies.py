"""Studies: geometry broadcast over poses against the plain batch, a study against the slower of its kernel and writer,
two workers against one.

Calls alternate, so that what else the machine is doing falls on both sides of a ratio. The kernel has as many threads
as the study; the writer one, as whoever writes one file has, and brings it to the disk as the study does.
"""

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

from kinematics.columns import solve_columns
from kinematics.fleet import fleet, varied
from kinematics.room import Room
from service.prompt import find
from service.studies.folder import Folder, to_the_disk
from service.studies.parts import make_part, writing
from service.studies.plan import Plan
from service.studies.results import summary, write_parquet
from service.studies.runner import Threads, run
from service.studies.study_file import read_study
from tests.benchmarks.started import READY_WITHIN_S, BenchmarkFailed
from tests.benchmarks.timed import most_memory_mb
from tests.demo_machine import arm_of_demo

SIDE = 1000
_MOST = 10_000_000
VARIANTS = _MOST // 1000  # times 1000 poses
ROUNDS = 3
_OUTPUTS = ("centre_height", "centre_reach")
TEXT = """\
schema = 1
kind = "study"
name = "Boom and stick as long as a tape says"
machine = "crawler-14t"
attachment = "tilting-1800"

[units]
length = "m"
angle = "deg"

[design]
kind = "latin"
rows = ROWS
seed = 1

[vary.boom_length]
standard = 0.003
[vary.stick_length]
standard = 0.003

[poses]
combine = "grid"
[poses.angles]
pitch = { at = 0.6 }
roll = { at = -0.4 }
tilt = { at = 2 }
boom = { low = -10, high = 40, count = 40 }
stick = { low = -120, high = -40, count = 25 }
bucket = { at = 60 }

[results]
each = "pose"
outputs = ["centre_height", "centre_reach"]
parameters = false
"""


_EACH_POSE = 'each = "pose"\noutputs = ["centre_height", "centre_reach"]\n'
_EACH_VARIANT = """\
each = "variant"
[[metrics]]
name = "depth"
output = "centre_height"
how = "least"
[[metrics]]
name = "reach"
output = "centre_reach"
how = "greatest"
"""


def planned(variants: int, *, each_pose: bool = True) -> Plan:
    """The study of so many variants: every evaluation kept, or two metrics a variant."""
    text = TEXT.replace("ROWS", str(variants))
    if not each_pose:
        text = text.replace(_EACH_POSE + "parameters = false\n", _EACH_VARIANT)
    return read_study(text, "bench.toml", find)


def studies() -> dict[str, float]:
    """Ratios of medians; nanoseconds an evaluation and memory are reported."""
    return _broadcast() | _study() | _memory()


def _broadcast() -> dict[str, float]:
    """1000 geometries, each through the same 1000 poses, against 1 000 000 poses of one machine."""
    fitted = arm_of_demo()
    q = np.random.Generator(np.random.PCG64(1))
    length = float(fitted.parameters["boom_length"][0])
    many = varied(fitted, {"boom_length": length + q.normal(0.0, 0.003, SIDE)})
    one = fleet([fitted])

    def angles(count: int) -> dict[str, np.ndarray[tuple[int], np.dtype[np.float64]] | float]:
        return {"pitch": 0.01, "roll": -0.01, "tilt": 0.05, "boom": q.uniform(0.0, 0.6, count),
                "stick": q.uniform(-2.0, -0.8, count), "bucket": q.uniform(0.2, 1.6, count)}  # fmt: skip

    few, plain = angles(SIDE), angles(SIDE * SIDE)
    times = _alternating({
        "broadcast": lambda: solve_columns(many, few, _OUTPUTS), "batch": lambda: solve_columns(one, plain, _OUTPUTS),
    })  # fmt: skip
    return {
        "broadcast_over_batch": times["broadcast"] / times["batch"],
        "broadcast_ns": times["broadcast"] * 1e9 / SIDE**2,
    }


def _study() -> dict[str, float]:
    plan = planned(VARIANTS)
    threads = os.cpu_count() or 1
    tables = [pq.read_table(_buffer(bytes(make_part(plan, k, Room()).content))) for k in range(plan.parts)]
    with tempfile.TemporaryDirectory() as name, ThreadPoolExecutor(threads) as pool:
        folder = Path(name)
        count = iter(range(1_000_000))

        def study(asked: Plan, workers: int) -> Callable[[], object]:
            def once() -> None:
                path = folder / str(next(count))
                assert run(asked, path, Threads(workers)).done
                shutil.rmtree(path)

            return once

        def write() -> None:
            path = folder / "plain.parquet"
            options = writing(tables[0].schema, 1)
            options.pop("row_group_size")
            with pq.ParquetWriter(path, tables[0].schema, **options) as out:
                for table in tables:
                    out.write_table(table, row_group_size=table.num_rows)
            to_the_disk(path)
            path.unlink()

        calls = {"study": study(plan, threads), "kernel": _kernel(plan, pool, threads), "writer": write}
        if threads > 1:
            few = planned(VARIANTS, each_pose=False)  # a disk has no second core
            calls |= {"one": study(few, 1), "two": study(few, 2)}
        times = _alternating(calls)
    evaluations = plan.study.evaluations
    numbers = {f"study_{name}_ns": times[name] * 1e9 / evaluations for name in ("kernel", "writer")}
    numbers["study_ns"] = times["study"] * 1e9 / evaluations
    numbers["study_over_slower_of_kernel_and_writer"] = max(times["kernel"], times["writer"]) / times["study"]
    if threads > 1:
        numbers["study_two_workers_speedup"] = times["one"] / times["two"]
    return numbers


def _kernel(plan: Plan, pool: ThreadPoolExecutor, threads: int) -> Callable[[], object]:
    """The same evaluations and nothing else, part by part, each on all threads."""
    poses = dict(plan.study.poses.angles)
    poses = {name: values[0] if values.size == 1 else values for name, values in poses.items()}
    parts = [plan.study.design.points(*plan.variants(k)) for k in range(plan.parts)]
    fleets = [
        varied(plan.study.assembly, dict(zip(plan.study.design.names, part.T, strict=True))) for part in parts
    ]

    def once() -> None:
        for each in fleets:
            solve_columns(each, poses, _OUTPUTS, executor=pool, parts=threads)

    return once


def _buffer(content: bytes) -> object:
    import pyarrow as pa  # noqa: PLC0415

    return pa.BufferReader(content)


def _alternating(calls: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Seconds of each, the median of `ROUNDS` rounds of all."""
    times: dict[str, list[float]] = {name: [] for name in calls}
    for call in calls.values():
        call()
    for _ in range(ROUNDS):
        for name, call in calls.items():
            begun = time.perf_counter()
            call()
            times[name].append(time.perf_counter() - begun)
    return {name: statistics.median(each) for name, each in times.items()}


def _memory() -> dict[str, float]:
    """Megabytes of a process of its own that runs as many evaluations to the end."""
    command = [sys.executable, "-m", "tests.benchmarks.studies"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=READY_WITHIN_S, check=False)
    if done.returncode:
        raise BenchmarkFailed(f"expected ten million evaluations, found {done.stderr[-300:]}")
    return {"study_memory_mb": float(done.stdout)}


def _ten_million() -> None:
    """Ten million evaluations, their sum and all of them in one file."""
    with tempfile.TemporaryDirectory() as name:
        plan, path = planned(VARIANTS), Path(name) / "study"
        outcome = run(plan, path, Threads())
        assert outcome.done
        summary(plan, Folder(path), outcome)
        write_parquet(plan, Folder(path), outcome, Path(name) / "all.parquet")


if __name__ == "__main__":
    _ten_million()
    sys.stdout.write(str(most_memory_mb()))
