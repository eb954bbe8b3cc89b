"""The README does what it says: its tour in curl, and the machine of one's own."""

import json
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from service.secret import parse
from tests.need import need_program
from tests.service.running import COMMAND, service

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)(?: (\S+))?\n(.*?)^```$", README, flags=re.DOTALL | re.MULTILINE)
ADDRESS = "http://127.0.0.1:8311"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with service(tmp_path_factory.mktemp("data")) as found:
        yield found


def run(script: str, folder: Path) -> str:
    """Run a block as a user would, in bash, stopping at the first command that fails."""
    program = need_program("bash")
    done = subprocess.run(
        [program, "-euo", "pipefail", "-c", script], cwd=folder, capture_output=True, text=True, timeout=120,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_tour_in_curl(address: str, tmp_path: Path) -> None:
    need_program("curl")
    tour = "".join(text for _, name, text in BLOCKS if name == "tour").replace(ADDRESS, address)
    assert address in tour
    answers = [json.loads(line) for line in run(tour, tmp_path).splitlines()]
    assert len(answers) == tour.count("ask $at")
    *fine, readout, _, without, book, refused = answers
    assert not [a for a in fine if "status" in a], fine
    centre = readout["points"]["centre"]
    assert centre["cut_fill"]["word"] == "cut"
    assert without["points"]["centre"]["cut_fill"] is None
    assert [why["code"] for why in without["no_number_because"]] == ["height-unknown"]
    # The target lies 1.02 below the slab: layers and overdig.
    assert centre["target_elevation"]["m"] == pytest.approx(98.98, abs=1e-9)
    assert book["rows"][-1]["what"] == "move"
    assert refused["type"].endswith("#wrong-units")


def test_live(address: str, tmp_path: Path) -> None:
    """The first seconds of what takes two minutes."""
    need_program("curl")
    feed, watch = (next(text for _, name, text in BLOCKS if name == wanted) for wanted in ("feed", "watch"))
    command = (
        feed.strip()
        .replace(".venv/bin/tipdatum", f"exec {COMMAND[0]} -m service.cli")
        .replace(ADDRESS, address)
    )
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    with subprocess.Popen(["bash", "-c", command], cwd=tmp_path, env=environment) as feeding:
        try:
            while "apron" not in httpx.get(f"{address}/v1/jobs/trial").text:
                assert feeding.poll() is None
                time.sleep(0.2)
            watched = watch.strip().replace(ADDRESS, address)
            told = run(f"{watched} -m 8 || test $? = 28", tmp_path)  # 28: its time was over
        finally:
            feeding.terminate()
    messages = [
        json.loads(line.removeprefix("data: ")) for line in told.splitlines() if line.startswith("data: ")
    ]
    assert len(messages) > 5
    assert messages[-1]["readout"]["target"] == "apron"
    assert messages[-1]["age_s"] < 0.5


def test_machine_of_ones_own(address: str, tmp_path: Path) -> None:
    files = {name: text for kind, name, text in BLOCKS if kind == "toml"}
    assert set(files) == {"our-digger.toml", "our-bucket.toml"}
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    own = next(text for _, name, text in BLOCKS if name == "own")
    command = f"{COMMAND[0]} -m service.cli"
    script = own.replace(".venv/bin/tipdatum", command).replace(ADDRESS, address)
    assert script.count(command) == own.count("tipdatum ")
    told = run(f"export PYTHONPATH={Path(__file__).parents[2]}\n{script}", tmp_path)
    assert "our-digger.toml: good" in told
    assert "added machine our-digger" in told
    assert "added attachment our-bucket" in told


def test_tokens_for_other_devices(tmp_path: Path) -> None:
    given = next(text for _, name, text in BLOCKS if name == "access")
    script = given.replace(".venv/bin/tipdatum", f"{COMMAND[0]} -m service.cli")
    token, *listed = run(f"export PYTHONPATH={Path(__file__).parents[2]}\n{script}", tmp_path).splitlines()
    assert parse(token) is not None
    assert "pump house tablet" in "".join(listed)
    assert token not in "".join(listed)


def test_both_commands_stand_on_a_line_of_their_own() -> None:
    """`.ci/run` finds them by their endings."""
    lines = [text.strip() for kind, name, text in BLOCKS if kind == "sh" and not name]
    assert len(lines) == 2
    assert lines[0].endswith("tipdatum demo")
    assert lines[1].endswith("-m pytest -n auto --dist loadfile")
    assert shutil.which("python3"), "the commands start with python3"


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", README))
def test_links_lead_somewhere(link: str) -> None:
    assert (Path(__file__).parents[2] / link).exists()
