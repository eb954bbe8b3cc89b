"""The guide on exercises: its commands run as they stand, and it says what the simulation leaves out."""

import json
import re
import subprocess
from importlib.resources import files
from pathlib import Path

from service.classroom.digs import FASTEST_DEG_S, FOLLOWED_M, LONGEST_S, MOST_SAMPLES
from service.classroom.exercises import STEP_M
from tests.need import need_program
from tests.service.running import service

GUIDE = files("service").joinpath("guide", "exercise.md").read_text(encoding="utf-8")
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
    exercises, dig, step = (json.loads(each.stdout) for each in done)
    for each in exercises["exercises"]:
        assert f"`{each['id']}`" in GUIDE
    assert dig["score"]["passes"] == 1
    assert dig["score"]["removed_m2"] > 0.0
    for name in ("share", "overcut", "left", "mean", "passes", "time_s", "removed_m2"):
        assert name in dig["score"]
        assert f"`{name}`" in GUIDE
    assert step["cut"]
    assert len(step["ground_heights_m"]) == len(dig["ground"]["heights_m"])


def test_it_says_what_it_must() -> None:
    for words in (
        "not soil", "falls in", "heel", "no forces", "hydraulics", "Never take from an exercise", "(/guide/cautions)",
        f"{FASTEST_DEG_S:.0f} deg/s", f"{1e3 * FOLLOWED_M:.0f} mm", f"{LONGEST_S / 60:.0f}\nminutes",
        f"{MOST_SAMPLES:,}".replace(",", " "), f"{STEP_M} m apart",
    ):  # fmt: skip
        assert words in GUIDE, words
