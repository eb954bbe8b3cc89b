"""The guide's pages on daily checks and certificates: their requests work as they stand, and they say what they
must."""

import json
import re
from collections.abc import Callable
from importlib.resources import files

import pytest

from kinematics.acceptance import Rule, tolerance_factor

from .checking import touched, zone
from .doing import Client, JobDoer, metres

PAGES = {name: files("service").joinpath("guide", f"{name}.md").read_text(encoding="utf-8")
         for name in ("daily", "acceptance")}  # fmt: skip
BLOCKS = dict(re.findall(r"^```sh (\w+)\n(.*?)^```$", "\n".join(PAGES.values()), re.DOTALL | re.MULTILINE))


def asked(name: str) -> tuple[str, dict[str, object]]:
    """(what is posted to, its body) of a command of the guide."""
    found = re.search(r"/v1/jobs/JOB/([a-z-]+) \\\n.*?-d '(\{.*\})'", BLOCKS[name], re.DOTALL)
    assert found is not None
    return found[1], json.loads(found[2])


def test_the_checks_of_a_day(job: Callable[..., JobDoer]) -> None:
    at = touched(job())
    rod, wear, laser = (at.post(*asked(name)) for name in ("rod", "wear", "laser"))
    assert rod["check"]["word"] == "within", rod["check"]["words"]
    assert abs(metres(wear["check"]["wear"])) < 0.05
    assert 1.0 < laser["test"]["tilt_arcsec"] < 20.0
    address = re.search(r"JOB/(daily-trust\?[a-z_=0-9.]+)'", BLOCKS["day"])
    assert address is not None
    day = at.get(address[1])
    assert day["misclosures"]["allowable"] is None, "nothing has closed yet"
    assert len(day["rod_checks"]) == 1


def test_the_certificate_is_issued_and_printed(client: Client, job: Callable[..., JobDoer]) -> None:
    at = job()
    zone(at, per_cell=2)
    told = at.post(*asked("certificate"))
    assert told["certificate"]["passed"] is True
    address = re.search(r"JOB/(certificates/)SEQ(\?format=pdf)'", BLOCKS["print"])
    assert address is not None
    answer = client.http.get(f"{at.path}/{address[1]}{told['seq']}{address[2]}")
    assert answer.content.startswith(b"%PDF")


def test_the_numbers_of_the_rule() -> None:
    text = PAGES["acceptance"]
    assert f"{tolerance_factor(20):.2f} for 20 points, {tolerance_factor(40):.2f} for 40" in text
    assert f"{3.0 + 6.0 * tolerance_factor(20):.1f} mm" in text
    rule = Rule(0.03)
    assert f"below {100 * rule.near_to:g} %" in text
    assert f"from {100 * rule.far_from:g} %" in text


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("daily", "swing radius"), ("daily", "Hydraulics locked"), ("daily", "The rod decides"),
        ("daily", "Do not look into"), ("daily", "from memory"), ("daily", "(/guide/cautions)"),
        ("daily", "protective system"),
        ("acceptance", "no safety"), ("acceptance", "who may"), ("acceptance", "(/guide/cautions)"),
    ],
)  # fmt: skip
def test_it_says_what_it_must(name: str, words: str) -> None:
    assert words in " ".join(PAGES[name].split())
