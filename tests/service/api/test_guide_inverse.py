"""The guide on the inverse: its commands run as they stand, its codes and fields are there."""

import json
import re
import subprocess
from importlib.resources import files
from pathlib import Path

from tests.need import need_program
from tests.service.running import service

GUIDE = files("service").joinpath("guide", "inverse.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def test_the_commands(tmp_path: Path) -> None:
    bash = need_program("bash")
    need_program("curl")
    with service(tmp_path) as address:
        done = [
            subprocess.run(
                [bash, "-euo", "pipefail", "-c", script.replace("localhost:8311", address)], capture_output=True,
                text=True, timeout=120, check=True,
            )
            for script in BLOCKS
        ]  # fmt: skip
    placement, longest, corrections = (json.loads(each.stdout) for each in done)
    assert abs(placement["heights"]["centre"]["m"] + 2.4) <= 1e-6
    assert abs(placement["reach"]["m"] - 5.6) <= 1e-6
    assert placement["others"] == []
    assert longest["near"]["stops"][0]["what"] == "between"
    assert "lowest_below_line" in longest
    said = re.search(r'"(advice: [^"]*)"', GUIDE)
    assert said is not None
    form = re.sub(r"[0-9.]+", "N", said[1])
    assert form in [
        re.sub(r"[0-9.]+", "N", one["words"].partition(";")[0]) for one in corrections["corrections"]
    ]
    assert corrections["tilt_for_cross_slope"]["reaches"]


def test_it_says_what_it_must() -> None:
    for words in (
        "never a command",
        "tracks",
        "undermine",
        "an engineer decides",
        "(/guide/cautions)",
        "`between`",
    ):
        assert words in GUIDE
