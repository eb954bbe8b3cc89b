"""Every parser of bytes from outside, with good input to spoil, and as users come to it: files as files."""

import json
import tempfile
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import can
from pydantic import ValidationError

from kinematics.errors import Fault, Refused
from machine_profiles import ProfileFaulty, check_pair, check_profile, parse_profile, shipped
from machine_profiles.exchange import Attitude
from service.api.calibration_request import _EXAMPLE, CalibrationIn
from service.api.live import question
from service.book.record_file import record_text
from service.broker.topics import Topics
from service.bus.can_log import LOGS
from service.bus.dbc import read_dbc
from service.bus.log import read_log
from service.bus.ndjson_log import NDJSON
from service.bus.sensor_map import read_map
from service.calibrate_run import _misfit, read_body
from service.fleet.envelopes import bad, document, here_of, service_of, wrong_frame
from service.fleet.snapshot import NO_SNAPSHOT, restored, snapshot
from service.live.frames import objects
from service.pin_survey import Places, surveyed
from service.problems import Problem
from service.prompt import read_text
from service.record_run import verify_file
from service.simulation.dig import DEMO, SHIPPED, read_dig
from service.store import utc_now
from service.studies.reading import kind_of
from service.studies.study_file import read_study
from service.studies.synthesis_file import read_synthesis
from service.study_run import beside
from service.text import read_json
from tests.machine_profiles.exchange.surveying import seen, table, told_of
from tests.service.bus.rigs import REFERENCE, RIG, sent
from tests.service.bus.test_can_log import MAP, message
from tests.service.bus.test_csv_log import HEADING
from tests.service.bus.test_csv_log import MAP as CSV_MAP
from tests.service.live.making import at_rest, said
from tests.service.live.test_feed import LASER, REST, SLAB, ZERO, fed

from . import archives, arrow
from .engine import Parser
from .mutations import as_toml

PAIR = ("crawler-14t", "tilting-1800")
_FRAMES = 40


@cache
def _folder() -> Path:
    """For files that are read; gone with the process."""
    held = tempfile.TemporaryDirectory(prefix="fuzzing")
    _folder.held = held  # type: ignore[attr-defined]
    return Path(held.name)


def _file(name: str, data: bytes) -> Path:
    path = _folder() / name
    path.write_bytes(data)
    return path


# Profiles


def _profiles(kind: str) -> Callable[[], Sequence[bytes]]:
    @cache
    def seeds() -> list[bytes]:
        return [profile.source_text.encode() for (each, _), profile in shipped().items() if each == kind]

    return seeds


def _profile(data: bytes) -> object:
    text = read_text(_file("profile.toml", data))
    verdict = check_profile(text)
    if not verdict.ok:
        raise ProfileFaulty(verdict.faults)
    profile = parse_profile(text)
    if profile.kind == "machine":
        pair = check_pair(profile, shipped()["attachment", PAIR[1]])
    else:
        pair = check_pair(shipped()["machine", PAIR[0]], profile)
    return profile.document, profile.hydraulics, profile.sensors, verdict.as_json(), pair.as_json()


# Digs, studies, surveys, calibrations, records


@cache
def _digs() -> list[bytes]:
    from importlib.resources import files  # noqa: PLC0415

    return [files("service.simulation").joinpath(name).read_bytes() for name in (DEMO, SHIPPED)]


def _dig(data: bytes) -> object:
    return read_dig(read_text(_file("pit.toml", data)), "pit.toml", None).document


@cache
def _studies() -> list[bytes]:
    """Those of the guide."""
    from service.pages import _packaged  # noqa: PLC0415

    text = _packaged("guide", "studies.md").read_text(encoding="utf-8")
    blocks = [block.partition("```")[0] for block in text.split("```toml")[1:]]
    whole = [block.partition("\n")[2] for block in blocks]
    return [each.encode() for each in whole if "schema = 1" in each]


def _study(data: bytes) -> object:
    text = read_text(_file("pins.toml", data))
    if kind_of(text, "pins.toml") == "synthesis":
        return read_synthesis(text, "pins.toml", beside(_folder())).document
    return read_study(text, "pins.toml", beside(_folder())).document


@cache
def _surveyed() -> tuple[bytes, Any]:
    level = Attitude(0.0, 0.0)
    found = at_rest(*PAIR)
    text = table(seen(found), "mm", attitude=level, heading=0.3, shift=(10.0, 20.0, 30.0))
    return text.encode(), told_of(found.assembly, attitude=level)


def _pins(data: bytes) -> object:
    text = read_text(_file("pins.csv", data))
    places = Places(
        "pins.csv",
        lambda joint: f"--stroke {joint}",
        lambda joint: f"--range {joint}",
        lambda name: f"--{name}",
    )
    return surveyed(text, "machine", _surveyed()[1], places).facts


def _calibration(ending: str) -> Callable[[bytes], object]:
    """Up to its model, which refuses numbers that are none."""

    def read(data: bytes) -> object:
        body = read_body(_file(f"calibration{ending}", data))
        try:
            return CalibrationIn.model_validate(body)
        except ValidationError as error:
            raise Refused(map(_misfit, error.errors())) from None

    return read


@cache
def _records() -> list[bytes]:
    return [record_text("pump-house", archives.events(), utc_now(), "olaf").encode()]


def _record(data: bytes) -> object:
    return verify_file(_file("record.json", data), ())


# Buses and logs


@cache
def _dbcs() -> list[bytes]:
    return [path.read_bytes() for path in sorted(REFERENCE.glob("*.dbc"))]


def _dbc(data: bytes) -> object:
    return read_dbc(_file("unit.dbc", data))


@cache
def _maps() -> list[bytes]:
    return [RIG.encode(), CSV_MAP.encode(), MAP.encode()]


def _map(data: bytes) -> object:
    return read_map(_file("rig.toml", data)).entries


def _can_seeds(ending: str) -> Callable[[], Sequence[bytes]]:
    @cache
    def seeds() -> list[bytes]:
        path = _folder() / f"seed{ending}"
        with can.Logger(path) as writer:
            for i in range(_FRAMES):
                writer(message(sent("SSI2", 0xA0, 100.0 + i / 100, pitch=0.37 * i, roll=-i)))
                writer(
                    message(
                        sent(
                            "ACCS", 0xA3, 100.001 + i / 100, longitudinal=0.01 * i, lateral=0.0, vertical=9.8
                        )
                    )
                )
        return [path.read_bytes()]

    return seeds


def _log(ending: str, map_text: str | None = None) -> Callable[[bytes], object]:
    def read(data: bytes) -> object:
        by = None if map_text is None else _file("map.toml", map_text.encode())
        log = read_log(_file(f"pit{ending}", data), by)
        return log.signals, log.faults

    return read


_CSV = [
    "\n".join(
        [HEADING, *(f"{100 * i},1.5,-0.5,0.5,{70 + i},0,0,1,0,0,0,{i}.5,a note" for i in range(20))]
    ).encode()
]
_NDJSON = ["".join(
    json.dumps(each | {"at_s": 5000.0 + i}) + "\n" for i in range(3) for each in (
        {"sensor": "boom", "deg": 31.02}, {"sensor": "body", "deg": [1.0, 2.0]}, {"sensor": "wire", "mm": 812.5},
        {"sensor": "boom", "error": "not available"}, {"receiver_hit": True}, {"receiver_above_mm": -3.5},
        {"sensor": "bucket", "accelerometer_m_s2": [0, 0, 9.81], "gyro_rad_s": [0, 0.1, 0]},
    )
).encode()]  # fmt: skip


# Live


_READINGS = [{"sensor": name, "at_s": 0.5, **each} for name, each in REST.items()]
_FRAMES_IN = [
    json.dumps(each).encode() for each in (
        *_READINGS[:3], {"readings": _READINGS}, {"clock": 2, "at_s": 0.5}, {"receiver_hit": True, "at_s": 0.5},
        {"receiver_above_mm": 3.5, "at_s": 0.5}, {"sensor": "boom", "at_s": 0.5, "error": "not available"},
        {"sensor": "stick", "at_s": 0.5, "accelerometer_m_s2": [0, 0, 9.81], "gyro_rad_s": [0, 0.1, 0]},
    )
]  # fmt: skip


def _frame(data: bytes) -> object:
    """As a feeder's connection takes it: text alone comes so far."""
    found = objects(data.decode(errors="replace"))
    if not isinstance(found, tuple):
        return found
    feed, sender = fed(SLAB, LASER)
    sender.link.clock.ask(ZERO + 0.4)  # under number 2
    answer, readings = found
    if answer is not None:
        return sender.link.clock.answer(answer["clock"], answer["at_s"], ZERO + 1.0)
    wrong = [feed.take(sender.link, each, ZERO + 1.0) for each in readings if type(each) is dict]
    told = next((each for each in wrong if each is not None), None)
    return told or [(each.value, each.counts, each.words) for each in feed.channels.values()]


def _viewer(data: bytes) -> object:
    return question(data.decode(errors="replace"))


_PAYLOADS = [
    json.dumps(each).encode() for each in (
        {"stream": "5f0c", "next": 12, "last": 17, "token": "x", "welcome": True}, {"service": "0123abcd"},
        {"stream": "5f0c", "n": 1, "readings": _READINGS}, {"stream": "5f0c", "clock": 1, "of": "0123abcd", "at_s": 2.5},
    )
]  # fmt: skip


def _payload(data: bytes) -> object:
    """As all kinds of them at once; taken where one of them takes it."""
    found = document(data)
    if not isinstance(found, dict):
        return found
    several = [here_of(data), service_of(data), wrong_frame(found)]
    return next((each for each in several if not isinstance(each, Fault)), several[0])


def _topic(data: bytes) -> object:
    return Topics("pit").place(data.decode(errors="replace"))


_TOPICS = Topics("pit")
_TOPIC_SEEDS = [
    each.encode() for each in (
        _TOPICS.readings("pump-house", "north"), _TOPICS.here("pump-house", "north"), _TOPICS.told("pump-house", "north"),
        _TOPICS.of_service("0123abcd", "answers"),
    )
]  # fmt: skip


@cache
def _snapshots() -> list[bytes]:
    feed, sender = fed()
    for i in range(5):
        for name, each in said(at_rest(part=0.5 + 0.01 * i)).items():
            feed.take(sender.link, {"sensor": name, "at_s": 0.1 * i, **each}, ZERO + 0.1 * i)
    return [json.dumps(snapshot(feed, ZERO + 1.0)).encode()]


def _snapshot(data: bytes) -> object:
    """As another service of the fleet is asked for it."""
    found = document(data)
    if not isinstance(found, dict):
        return found
    try:
        there, now = restored(found, fed()[0])
    except NO_SNAPSHOT as error:  # told as `Fleet.seconds_from` tells it
        return bad(f"no snapshot: {type(error).__name__}", "the last seconds")
    return now, [each.value for each in there.channels.values()]


def _body(data: bytes) -> object:
    """Any request as JSON. Numbers that are none are left to the fields they stand in."""
    value, faults = read_json(data)
    if faults:
        raise Problem(faults[0].code if faults[0].code == "malformed-json" else "invalid-request", faults)
    return json.dumps(value)


PARSERS: tuple[Parser, ...] = (
    Parser("machine profile", "toml", _profiles("machine"), _profile),
    Parser("attachment profile", "toml", _profiles("attachment"), _profile),
    Parser("described dig", "toml", _digs, _dig),
    Parser("study", "toml", _studies, _study),
    Parser("pins", "csv", lambda: [_surveyed()[0]], _pins),
    Parser("calibration", "json", lambda: [json.dumps(_EXAMPLE).encode()], _calibration(".json")),
    Parser("calibration in TOML", "toml", lambda: [as_toml(_EXAMPLE)], _calibration(".toml")),
    Parser("record", "json", _records, _record),
    Parser("DBC", "dbc", _dbcs, _dbc),
    Parser("sensor map", "toml", _maps, _map),
    *(Parser(f"log {ending}", ending, _can_seeds(ending), _log(ending, MAP)) for ending in LOGS),
    Parser("log in CSV", "csv", lambda: _CSV, _log(".csv", CSV_MAP)),
    Parser("log of readings", "json", lambda: _NDJSON, _log(NDJSON)),
    Parser(
        "frame of a feeder", "json", lambda: _FRAMES_IN, _frame, also=frozenset({"settling", "sensor-error"})
    ),
    Parser("frame of a viewer", "json", lambda: [b'{"clock": 7}'], _viewer),
    Parser("payload of a broker", "json", lambda: _PAYLOADS, _payload),
    Parser("topic of a broker", "text", lambda: _TOPIC_SEEDS, _topic),
    Parser("another service's seconds", "json", _snapshots, _snapshot),
    Parser("request", "json", lambda: [*_FRAMES_IN, arrow.json_body()], _body),
    Parser("columns as JSON", "json", lambda: [arrow.json_body()], arrow.from_json),
    Parser("columns as Arrow", "arrow", arrow.streams, arrow.from_arrow, arrow.made),
    Parser("backup", "zip", archives.seeds, archives.restored, archives.made),
)
