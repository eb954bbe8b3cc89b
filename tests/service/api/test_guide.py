"""The guide's requests work as they stand."""

import json
import re
from collections.abc import Callable
from importlib.resources import files

import pytest

from .doing import Client, JobDoer

SHIFT = files("service").joinpath("guide", "shift.md").read_text(encoding="utf-8")
REQUESTS = re.findall(r"/v1/jobs/JOB/([a-z-]+) \\\n.*?-d '(\{.*?\})'", SHIFT, flags=re.DOTALL)


def test_laser_and_strike_of_the_guide(client: Client, job: Callable[..., JobDoer]) -> None:
    named = [what for what, _ in REQUESTS]
    assert named == ["laser-setups", "strikes", "estimates", "acknowledgements", "seats"]
    guided = job()
    guided.post("setups", {"machine": "crawler-14t", "attachment": "digging-1500"})
    laser, strike, estimates = (guided.post(what, json.loads(body)) for what, body in REQUESTS[:3])
    assert "laser plane" in laser["voids"]
    assert strike["verdict"] == "taken", strike["because"]
    assert client.get(f"{guided.path}")["laser"]["revolutions_per_s"] == 10.0
    assert estimates["voids"] == []
    assert guided.get()["estimates"]["laser_level_arcsec"] == 20.0


@pytest.mark.parametrize("what", re.findall(r"\| `([a-z-]+)`", SHIFT))
def test_every_record_named_in_the_guide_is_a_route(client: Client, what: str) -> None:
    assert f"/v1/jobs/{{job}}/{what}" in client.get("/openapi.json")["paths"]
