"""Columns of poses as requests, in both forms, and answers as plain columns."""

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from service.guard import ARROW

from .doing import Client, Json, fitted

PATH = "/v1/pose-columns"
PAIR = ("crawler-14t", "tilting-1800")
OUTPUTS = (
    "left_height_m",
    "centre_reach_m",
    "cross_slope_percent",
    "floor_angle_deg",
    "past_square",
    "mast_angle_deg",
)
COUNT = 40


def poses(pair: tuple[str, str] = PAIR, count: int = COUNT, seed: int = 1) -> dict[str, NDArray[np.float64]]:
    """Angles (deg) by joint, pitch and roll among them, a few of each joint beyond its stop."""
    rng = np.random.default_rng(seed)
    angles = {name: rng.uniform(-6.0, 6.0, count) for name in ("pitch", "roll")}
    for name, span in fitted(*pair).ranges.items():
        angles[name] = np.degrees(rng.uniform(span.low - 0.02, span.high + 0.02, count))
    return angles


def as_json(
    angles: Mapping[str, Any], pairs: Sequence[tuple[str, str]] = (PAIR,), outputs: Sequence[str] = OUTPUTS, **more: Any
) -> Json:  # fmt: skip
    """A JSON body; arrays become lists."""
    plain = {
        name: value.tolist() if isinstance(value, np.ndarray) else value for name, value in angles.items()
    }
    return {
        "machines": [{"machine": machine, "attachment": attachment} for machine, attachment in pairs],
        "attitude_deg": {name: plain.pop(name) for name in ("pitch", "roll")},
        "angles_deg": plain, "outputs": list(outputs), **more,
    }  # fmt: skip


def query(pairs: Sequence[tuple[str, str]] = (PAIR,), outputs: Sequence[str] = OUTPUTS) -> str:
    """The address for an Arrow body."""
    asked = [
        part for machine, attachment in pairs for part in (("machine", machine), ("attachment", attachment))
    ]
    return f"{PATH}?{urlencode([*asked, *(('output', name) for name in outputs)])}"


def batch_of(angles: Mapping[str, Any]) -> Any:
    """A record batch with units in its names."""
    return pa.record_batch({f"{name}_deg": values for name, values in angles.items()})


def stream(*batches: Any, **options: Any) -> bytes:
    """An Arrow IPC stream."""
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, batches[0].schema, options=pa.ipc.IpcWriteOptions(**options)) as writer:
        for batch in batches:
            writer.write_batch(batch)
    written: bytes = sink.getvalue().to_pybytes()
    return written


def post_arrow(
    client: Client, body: bytes, address: str | None = None, status: int = 200, accept: str = "*/*"
) -> Any:
    """The answer to an Arrow body; a problem document, or whatever was asked for."""
    answer = client.http.post(
        query() if address is None else address,
        content=body,
        headers={"content-type": ARROW, "accept": accept},
    )
    assert answer.status_code == status, answer.text
    return answer if accept == ARROW and status == 200 else answer.json()


def table(content: bytes) -> Any:
    """The table in an Arrow answer, held to its own rules."""
    found = pa.ipc.open_stream(content).read_all()
    found.validate(full=True)
    return found
