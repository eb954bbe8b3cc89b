"""POST of one pose, over an empty FastAPI route with the same models."""

import json
import socket
import statistics
import time
from http.client import HTTPConnection

from tests.benchmarks.started import started

BODY = json.dumps({
    "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m",
    "angles_deg": {"boom": 28.0, "stick": -92.0, "bucket": 57.0, "tilt": 2.0},
    "attitude_deg": {"pitch": 0.4, "roll": -0.2},
})  # fmt: skip
BLOCK, BLOCKS, WARM = 60, 31, 200


def post_pose() -> dict[str, float]:
    """Floor over ours, medians of alternating blocks over one kept-alive connection each."""
    with started("tests.benchmarks.servers") as ports:
        ours, floor = (HTTPConnection("127.0.0.1", port, timeout=30) for port in ports[:2])
        for connection in (ours, floor):
            connection.connect()
            # The client sends head and body apart: Nagle and delayed acknowledgement would time themselves.
            connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            _block(connection, WARM)
        times: tuple[list[float], list[float]] = ([], [])
        for _ in range(BLOCKS):
            times[0].append(_block(ours, BLOCK))
            times[1].append(_block(floor, BLOCK))
        ours.close()
        floor.close()
    our, base = (statistics.median(series) for series in times)
    # Neighbouring blocks share what else the machine is doing.
    ratio = statistics.median(b / a for a, b in zip(*times, strict=True))
    return {"post_pose_over_floor": ratio, "post_pose_us": our * 1e6, "floor_us": base * 1e6}


def _block(connection: HTTPConnection, count: int) -> float:
    """Seconds a request, over `count` requests."""
    headers = {"Content-Type": "application/json"}
    start = time.perf_counter()
    for _ in range(count):
        connection.request("POST", "/v1/poses", BODY, headers)
        response = connection.getresponse()
        text = response.read()
        assert response.status == 200, text
    return (time.perf_counter() - start) / count
