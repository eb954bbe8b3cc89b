"""A feed on a thread, the job it feeds, and a map of five sensors."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx

from kinematics.errors import Refused
from service.bus.feed import run_feed

from .units import SOURCES, WAIT_S, waited_for

Json = dict[str, Any]


@contextmanager
def feeding(channel: str | None, map_file: Path | None, to: str, job: str, **more: Any) -> Iterator["Fed"]:
    """A feed on a thread, that listens already; stopped at the end."""
    fed = Fed()
    fixed: Json = {"seconds": None, "bitrate": None, "partly": False, "token": None} | more
    bus = None if channel is None else f"virtual:{channel}"

    def work() -> None:
        try:
            fed.told = run_feed(
                bus, map_file=map_file, to=to, job=job, say=fed.words.append, stop=fed.stop, **fixed
            )
        except Refused as refused:
            fed.refused = refused

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    try:
        waited_for(
            lambda: any(w.startswith(("Listening", "Reading")) for w in fed.words) or not thread.is_alive(),
            lambda: fed.words,
        )
        yield fed
    finally:
        fed.stop.set()
        thread.join(WAIT_S)
        assert not thread.is_alive()


class Fed:
    """What came of a feed."""

    def __init__(self) -> None:
        self.words: list[str] = []
        self.told: Json = {}
        self.refused: Refused | None = None
        self.stop = threading.Event()

    def heard(self, code: str) -> bool:
        return any(words.startswith(f"{code}:") for words in list(self.words))


def rig(folder: Path, *, extra: str = "") -> Path:
    file = folder / "rig.toml"
    tables = [
        f'[[sensors]]\nsensor = "{name}"\nmessage = "SSI2"\nsource = {source}\n'
        f"signals = {json.dumps(['pitch', 'roll'] if name == 'body' else ['pitch'])}\n"
        for name, source in SOURCES.items()
    ]
    file.write_text("sensor_map = 1\n" + "".join(tables) + extra, encoding="utf-8")
    return file


def dug(address: str, job: str) -> None:
    """A job with a machine on its slab."""
    with httpx.Client(base_url=address, timeout=30.0) as client:

        def post(path: str, body: Json) -> None:
            client.post(f"/v1/jobs{path}", json=body).raise_for_status()

        post("", {"id": job, "name": "Pit", "units": "m"})
        post(f"/{job}/setups", {"machine": "crawler-14t", "attachment": "tilting-1800"})


def quiet_sensors(address: str, job: str) -> Json:
    return {
        each["name"]: each
        for each in httpx.get(f"{address}/v1/jobs/{job}/sensors", timeout=30.0).json()["sensors"]
    }
