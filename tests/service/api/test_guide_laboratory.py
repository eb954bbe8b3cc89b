"""The guide on the laboratory: its commands and its program run as they stand, its names are there."""

import json
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

from kinematics.envelope import DIMENSIONS
from service.api.envelope_answer import EnvelopeOut
from service.api.force_answer import ForcesOut
from service.api.linkage_courses import CourseOut
from tests.need import need_program
from tests.service.running import service

GUIDE = files("service").joinpath("guide", "laboratory.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
PROGRAMS = re.findall(r"^```python\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def test_the_commands(tmp_path: Path) -> None:
    bash = need_program("bash")
    need_program("curl")
    with service(tmp_path / "data") as address:
        envelope, _, course, forces, _ = [
            subprocess.run(
                [bash, "-euo", "pipefail", "-c", script.replace("localhost:8311", address)], capture_output=True,
                text=True, timeout=120, check=True, cwd=tmp_path,
            ).stdout
            for script in BLOCKS
        ]  # fmt: skip
    assert [each["name"] for each in json.loads(envelope)["dimensions"]] == list(DIMENSIONS)
    assert len(json.loads(course)["bucket_linkage"]["cylinder_mm"]) == 31
    assert json.loads(forces)["map"]["mode"] == "bucket"
    for name, words in (("envelope.svg", "greatest digging depth"), ("forces.svg", "Limited by:")):
        assert words in (tmp_path / name).read_text(encoding="utf-8")


def test_the_program() -> None:
    [program] = PROGRAMS
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert [line.split()[0] for line in lines[:-1]] == list(DIMENSIONS)
    assert float(lines[-1]) > 50_000


def test_it_names_what_is_there() -> None:
    for name in DIMENSIONS:
        assert f"`{name}`" in GUIDE
    for name in ("border", "others", "chord_error_m", "without"):
        assert f"`{name}`" in GUIDE
        assert name in EnvelopeOut.model_fields
    for name in ("rated", "posture", "map"):
        assert f"`{name}`" in GUIDE
        assert name in ForcesOut.model_fields
    for name in ("bucket_linkage", "travels"):
        assert f"`{name}`" in GUIDE
        assert name in CourseOut.model_fields
    for words in ("(/guide/cautions)", "Not counted", "tips", "from memory"):
        assert words in GUIDE
