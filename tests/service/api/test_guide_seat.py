"""The guide's page on the seat: its request works as it stands, and what it promises of sound is so."""

import re
import shlex
from importlib.resources import files
from typing import Any
from urllib.parse import urlsplit

from .doing import Client

GUIDE = files("service").joinpath("guide", "seat.md").read_text(encoding="utf-8")
TONES, GRADUATIONS = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def answered(client: Client, curl: str) -> Any:
    address = urlsplit(f"http://{shlex.split(curl)[-1]}")
    return client.get(f"{address.path}?{address.query}")


def test_its_request_for_the_tone(client: Client) -> None:
    rows = answered(client, TONES)["rows"]
    assert rows[0]["in_pairs"]
    assert rows[0]["pitch_hz"] < 600.0 < rows[-2]["pitch_hz"]
    assert rows[-1]["pitch_hz"] is None


def test_its_request_for_the_staff(client: Client) -> None:
    assert {"m": 98.2218, "written": "322' 3\""} in answered(client, GRADUATIONS)["figures"]


def test_its_records_are_those_of_the_page(client: Client) -> None:
    words = files("service").joinpath("page", "seat-words.js").read_text(encoding="utf-8")
    for named in re.findall(r"(?<!\*)\*([A-Z][^*]+)\*(?!\*)", GUIDE):
        assert f'"{named}"' in words or named == "Light", named
