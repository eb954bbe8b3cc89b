"""The guide on trust: its command runs as it stands on the demo's job, and every part is in its table."""

import json
import re
import subprocess
from importlib.resources import files
from pathlib import Path

from kinematics.sources import KINDS
from tests.need import need_program
from tests.service.running import service

from .doing import edge_at

GUIDE = files("service").joinpath("guide", "trust.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def test_every_part_is_in_the_table() -> None:
    rows = [row for row in GUIDE.splitlines() if row.startswith("| ")]
    named = {part.strip() for row in rows for part in row.split("|")[1].split(",")}
    assert {kind.value for kind in KINDS} <= named


def test_the_command(tmp_path: Path) -> None:
    bash, curl = need_program("bash"), need_program("curl")
    with service(tmp_path) as address:

        def post(path: str, body: object) -> None:
            command = [
                curl,
                "-sf",
                f"{address}/v1/jobs{path}",
                "-H",
                "content-type: application/json",
                "-d",
                json.dumps(body),
            ]
            subprocess.run(command, capture_output=True, check=True, timeout=60)

        post("", {"id": "pump-house", "name": "Village pump house", "units": "m"})
        post("/pump-house/benchmarks", {"name": "slab", "elevation": 100.0, "units": "m"})
        post("/pump-house/setups", {"machine": "crawler-14t", "attachment": "tilting-1800"})
        pose = edge_at(-1.62)
        post(
            "/pump-house/touches",
            {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose},
        )
        layers = [{"name": "all", "thickness": 1.42}]
        post("/pump-house/targets", {
            "name": "bottom of footing", "benchmark": "slab", "units": "m", "layers": layers, "overdig": 0.1,
            "tolerance": 0.03,
        })  # fmt: skip
        [script] = BLOCKS
        done = subprocess.run(
            [bash, "-euo", "pipefail", "-c", script.replace("localhost:8311", address)], capture_output=True, text=True,
            timeout=120, check=True,
        )  # fmt: skip
    told = json.loads(done.stdout)
    assert told["of"] == "cut_fill"
    assert told["monte_carlo"]["trials"] == 20_000
    assert abs(told["monte_carlo"]["standard"] / told["standard"] - 1.0) < 0.03
    assert {one["uncertainty"] for one in told["sources"] if one["source"] == "boom.zero"} <= {0.02}


def test_it_says_what_it_must() -> None:
    for words in ("The rod decides", "(/guide/cautions)", "cannot know", "before concrete", "assumed"):
        assert words in GUIDE
