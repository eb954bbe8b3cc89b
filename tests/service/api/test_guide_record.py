"""The guide on the record: its commands run as they stand, in order, on the demo's job."""

import json
import os
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

from kinematics.dug_summary import share
from service.book.record_file import Head, head_of
from tests.need import need_program
from tests.service.running import service

from .doing import edge_at

GUIDE = files("service").joinpath("guide", "record.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def test_the_commands(tmp_path: Path) -> None:
    bash, curl, _ = need_program("bash"), need_program("curl"), need_program("sha256sum")
    with service(tmp_path / "data") as address:

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
        touch = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": edge_at(-1.62)}
        post("/pump-house/touches", touch)
        layers = [{"name": "all", "thickness": 1.42}]
        post("/pump-house/targets", {
            "name": "bottom of footing", "benchmark": "slab", "units": "m", "layers": layers, "overdig": 0.1,
            "tolerance": 0.03,
        })  # fmt: skip
        post("/pump-house/swings", {})
        programs = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
        done = [
            subprocess.run(
                [bash, "-euo", "pipefail", "-c", script.replace("localhost:8311", address)], capture_output=True,
                text=True, timeout=120, check=True, cwd=tmp_path, env=os.environ | {"PATH": programs},
            ).stdout
            for script in BLOCKS
        ]  # fmt: skip
    check, _, verified, hashed = done
    assert json.loads(check)["check"]["points"]["centre"]["word"] in {"cut", "fill", "on grade"}
    assert json.loads(check)["seq"] == 7
    assert (tmp_path / "as-dug.pdf").read_bytes().startswith(b"%PDF-1.")
    assert (tmp_path / "as-dug.csv").read_bytes().startswith(b"entry,")
    assert verified.startswith("pump-house: holds, 7 entries, head 7:")
    assert head_of(verified.strip().rpartition(" ")[2]) == Head(7, hashed.split()[0])


def test_it_says_what_it_must() -> None:
    for words in (
        "(/guide/cautions)",
        "before concrete",
        "no survey",
        "Note the head",
        "ISO 14253-1",
        "not sure",
    ):
        assert words in GUIDE
    assert f"from {100.0 * share(12, 12).low:.1f}" in GUIDE


def test_every_break_is_explained() -> None:
    told = set(re.findall(r'Misfit\([^)]*?"([a-z-]+)"', _sources()))
    assert {f"| {code} |" in GUIDE for code in told} == {True}
    assert len(told) == 7


def _sources() -> str:
    return "".join(
        files("service").joinpath(*path).read_text(encoding="utf-8")
        for path in (("store", "events.py"), ("book", "record_file.py"))
    )
