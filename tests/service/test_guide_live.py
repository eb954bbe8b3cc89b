"""The guide's page on the live door: its frames are frames, its feeder feeds, its requests work as they stand."""

import json
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path
from typing import Any

import httpx
import pytest

from kinematics.errors import Fault
from service.live.frames import objects
from tests.benchmarks.live import begin, poses
from tests.service.running import service

GUIDE = files("service").joinpath("guide", "live.md").read_text(encoding="utf-8")
FRAMES = re.findall(r"^```json\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
[FEEDER] = re.findall(r"^```python feeder\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
CURLS = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
LONGEST_S = 60.0


def test_its_frames() -> None:
    welcome, *frames = FRAMES
    assert json.loads(welcome).keys() == {"welcome", "clock"}
    assert len(frames) == 4
    for frame in frames:
        assert not isinstance(objects(frame), Fault), frame


def test_its_codes_have_a_heading() -> None:
    problems = files("service").joinpath("guide", "problems.md").read_text(encoding="utf-8")
    table = GUIDE.partition("| code | meaning |")[2].partition("\n\n")[0]
    codes = {
        code
        for row in table.splitlines()
        for code in re.findall(r"`([a-z-]+)`", row.split("|")[1] if "|" in row else "")
    }
    assert len(codes) > 8
    for code in codes:
        assert f"\n## {code}\n" in problems, code


def test_its_feeder_and_requests(tmp_path: Path) -> None:
    """Its reading of sensors is ours; the rest runs as it stands."""
    script = tmp_path / "feeder.py"
    with service(tmp_path / "data") as address:
        script.write_text(
            f"{FEEDER}\nasyncio.run(main({address.replace('http', 'ws')!r} + '/v1/jobs/pump-house/readings', "
            f"lambda: {poses()[0]!r}))\n",
            encoding="utf-8",
        )
        with httpx.Client(base_url=address, timeout=LONGEST_S) as client:
            begin(client, "pump-house")
            target = {"name": "bottom of footing", "benchmark": "slab", "units": "m", "overdig": 0.0, "tolerance": 0.03,
                      "layers": [{"name": "footing", "thickness": 1.0}]}  # fmt: skip
            assert client.post("/v1/jobs/pump-house/targets", json=target).status_code == 201
            live, touch, health = (_filled(command, address) for command in CURLS)
            with subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True) as feeder:
                try:
                    told = _first_with_a_number(live)
                    assert told["readout"]["points"]["centre"]["cut_fill"]["word"] == "cut"
                    assert told["age_s"] <= 0.5
                    _until_still(client)
                    touched = json.loads(_run(touch))
                    assert touched["role"] == "sets the height", touched
                    sensors = json.loads(_run(health))["sensors"]
                    assert {each["name"] for each in sensors if not each["quiet"]} == set(poses()[0])
                finally:
                    feeder.terminate()


def _filled(command: str, address: str) -> str:
    return command.replace("localhost:8311", address.removeprefix("http://"))


def _run(command: str) -> str:
    return subprocess.run(
        ["bash", "-c", command], capture_output=True, text=True, timeout=LONGEST_S, check=True
    ).stdout


def _first_with_a_number(command: str) -> dict[str, Any]:
    with subprocess.Popen(["bash", "-c", f"exec {command}"], stdout=subprocess.PIPE, text=True) as stream:
        try:
            assert stream.stdout is not None
            for line in stream.stdout:
                if line.startswith("data: "):
                    told = json.loads(line.removeprefix("data: "))
                    if told["readout"] is not None:
                        return told  # type: ignore[no-any-return]
        finally:
            stream.terminate()
    pytest.fail("the stream ended without a number")


def _until_still(client: httpx.Client) -> None:
    """Each sensor has to be read for a second."""
    with client.stream("GET", "/v1/jobs/pump-house/readouts/live", params={"rate_hz": 2}) as stream:
        told = 0
        for line in stream.iter_lines():
            told += line.startswith("data: ")
            if told > 3:
                return
