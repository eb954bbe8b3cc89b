"""The commands of the access guide work as they stand, and so does its way to ask with a token."""

import json
import re
import subprocess
from importlib.resources import files
from pathlib import Path

from service.secret import parse
from tests.need import need_program
from tests.service.running import COMMAND, service

GUIDE = files("service").joinpath("guide", "access.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh ?(\w*)\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def run(script: str, folder: Path) -> str:
    whole = f"export PYTHONPATH={Path(__file__).parents[2]}\n{script}"
    done = subprocess.run(
        [need_program("bash"), "-euo", "pipefail", "-c", whole], cwd=folder, capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_giving_and_taking_then_asking(tmp_path: Path) -> None:
    need_program("curl")
    [giving] = [text for name, text in BLOCKS if name == "access"]
    told = run(
        giving.replace("tipdatum access", f"{COMMAND[0]} -m service.cli access"), tmp_path
    ).splitlines()
    assert parse(told[0]) is not None
    assert told[-1].startswith("pump house tablet: operator, builder on crawler-14t; revoked since ")
    assert parse((tmp_path / "office.token").read_text().strip()) is not None
    [asking] = [text for name, text in BLOCKS if "curl" in text]
    with service(tmp_path / "our-data", "--access") as address:
        answer = json.loads(run(asking.replace("localhost:8311", address), tmp_path))
    assert (answer["name"], answer["roles"], answer["machines"]) == ("office", ["administrator"], None)


def test_every_option_it_names_is_one() -> None:
    """Those of starting it, which need a network or a certificate to be run."""
    helped = subprocess.run(
        [*COMMAND, "serve", "--help"], capture_output=True, text=True, timeout=60, check=True, env={"COLUMNS": "200"}
    ).stdout  # fmt: skip
    named = {
        option for _, text in BLOCKS if "tipdatum serve" in text for option in re.findall(r"--[a-z-]+", text)
    }
    assert len(named) > 5
    assert [option for option in sorted(named) if option not in helped] == []
