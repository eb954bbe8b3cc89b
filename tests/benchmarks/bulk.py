"""POST of 100 000 poses as Arrow, over an empty route of the same sizes plus the same computation without HTTP."""

import math
import os
import socket
import statistics
import time
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPConnection

import numpy as np
import pyarrow as pa

from kinematics.columns import solve_columns
from kinematics.fleet import fleet
from tests.benchmarks.started import started
from tests.demo_machine import arm_of_demo

POSES, ROUNDS, WARM = 100_000, 25, 3
ARROW = {
    "Content-Type": "application/vnd.apache.arrow.stream",
    "Accept": "application/vnd.apache.arrow.stream",
}
WANTED = {
    "left_height_m": "left_height", "centre_height_m": "centre_height", "right_height_m": "right_height",
    "centre_reach_m": "centre_reach", "cross_slope_percent": "cross_slope", "floor_angle_deg": "floor_angle",
    "heel_clearance_m": "heel_clearance", "receiver_height_m": "receiver_height",
}  # fmt: skip
FACTORS = {"cross_slope": 100.0, "floor_angle": math.degrees(1.0)}
PATH = "/v1/pose-columns?machine=crawler-14t&attachment=tilting-1800&" + "&".join(
    f"output={name}" for name in WANTED
)


def columns_deg() -> dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Random poses of the demo's machine within its stops."""
    rng = np.random.default_rng(14)
    angles = {name: rng.uniform(-3.0, 3.0, POSES) for name in ("pitch", "roll")}
    for name, span in arm_of_demo().ranges.items():
        angles[name] = np.degrees(rng.uniform(span.low, span.high, POSES))
    return angles


def stream() -> bytes:
    """The poses as an Arrow IPC stream."""
    batch = pa.record_batch({f"{name}_deg": values for name, values in columns_deg().items()})
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, batch.schema) as writer:
        writer.write_batch(batch)
    body: bytes = sink.getvalue().to_pybytes()
    return body


def bulk() -> dict[str, float]:
    """Median of (ours / (empty route + computation)), and the three in milliseconds."""
    angles, body = columns_deg(), stream()
    machines = fleet([arm_of_demo()])
    count = os.cpu_count() or 1
    with ThreadPoolExecutor(count) as pool, started("tests.benchmarks.servers") as ports:
        ours, empty = (HTTPConnection("127.0.0.1", port, timeout=60) for port in (ports[0], ports[2]))
        for connection in (ours, empty):
            connection.connect()
            connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

        def compute() -> None:
            solve_columns(
                machines, angles, list(WANTED.values()), executor=pool, parts=count,
                angle_unit=math.radians(1.0), factors=FACTORS,
            )  # fmt: skip

        times: list[tuple[float, float, float]] = []
        for _ in range(WARM + ROUNDS):
            start = time.perf_counter()
            answer = _post(ours, body)
            posted = time.perf_counter()
            same_size = _post(empty, body)
            emptied = time.perf_counter()
            compute()
            times.append((posted - start, emptied - posted, time.perf_counter() - emptied))
            assert len(answer) == len(same_size)
        table = pa.ipc.open_stream(answer).read_all()
        assert table.num_rows == POSES
        assert table.column("centre_height_m").null_count == 0
        ours.close()
        empty.close()
    times = times[WARM:]
    posted_s, empty_s, compute_s = (statistics.median(each) for each in zip(*times, strict=True))
    return {
        "arrow_over_empty_route": statistics.median(a / (b + c) for a, b, c in times),
        "arrow_post_ms": posted_s * 1e3,
        "arrow_empty_route_ms": empty_s * 1e3,
        "arrow_compute_ms": compute_s * 1e3,
    }


def _post(connection: HTTPConnection, body: bytes) -> bytes:
    connection.request("POST", PATH, body, ARROW)
    response = connection.getresponse()
    content = response.read()
    assert response.status == 200, content[:500]
    return content
