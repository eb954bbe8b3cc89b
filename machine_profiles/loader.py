"""A profile file's text to a `Profile`: everything about one measured machine or attachment, or every fault."""

import hashlib
import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

from pydantic import ValidationError

from kinematics.errors import Fault, Refused, refuse
from kinematics.hydraulics import Hydraulics
from kinematics.machine import Attachment, Machine
from kinematics.sensor import Sensor

from .calibrated import calibration_faults
from .choices import attachment_choice_faults, choice_faults, machine_choice_faults, sensor_choice_faults
from .faults import ProfileFault, ProfileFaulty, document_faults, shown
from .geometry import attachment_from, machine_from
from .hydraulics import hydraulics_from
from .places import line_of, lines_of
from .schema import DOCUMENTS, KINDS, SCHEMA_VERSION, AttachmentDocument, MachineDocument
from .sensors import sensed
from .worked import check_faults

LONGEST_TEXT = 16_384
"""Characters a profile may have; a full one needs about three thousand, and a parser's worst case grows as the square."""


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """One measured machine or attachment, immutable.

    `document`: the validated file as JSON-able data, units as in the file. `content_hash`: SHA-256, hexadecimal, of
    its canonical JSON: comments, layout and the order of keys do not change it, any number or word does; `same_hash` is
    that of the file without [restored], the same of a revision and of its return.
    `geometry`: the same in metres and radians. `sensors` by name, in metres, radians and seconds; `checks`: those that
    give nothing and are held against the others. Both empty where the file says nothing of sensors. `hydraulics` in
    metres, pascals and m^3/s, None of an attachment and where the file says nothing of them.
    """

    kind: Literal["machine", "attachment"]
    id: str
    name: str
    document: dict[str, Any]
    content_hash: str
    source_text: str
    geometry: Machine | Attachment
    sensors: Mapping[str, Sensor]
    checks: Mapping[str, Sensor]
    same_hash: str
    hydraulics: Hydraulics | None = None


def parse_profile(text: str) -> Profile:
    """Read one profile from TOML text.

    Raises `ProfileFaulty` with every fault that can be seen at once: first those of the text as TOML, then those of
    keys, types and units, then those of geometry and sensors (m, rad and s in their words).
    """
    raw = _toml(text)
    lines = lines_of(text)
    _refuse(_header_faults(raw), lines)
    model: type[MachineDocument] | type[AttachmentDocument] = DOCUMENTS[raw["kind"]]
    more = machine_choice_faults if model is MachineDocument else attachment_choice_faults
    faults = [*choice_faults(model, raw), *more(raw), *sensor_choice_faults(raw["kind"], raw)]
    try:
        document = model.model_validate(raw)
    except ValidationError as error:
        raise _faulty([*faults, *document_faults(model, error)], lines) from None
    _refuse(faults, lines)
    geometry: Machine | Attachment | None = None
    try:
        geometry = geometry_from(document)
    except Refused as refused:
        faults += refused.faults
    hydraulics: Hydraulics | None = None
    if isinstance(document, MachineDocument):
        try:
            hydraulics = hydraulics_from(document)
        except Refused as refused:
            faults += refused.faults
    found = sensed(document, geometry)
    faults += [*found.faults, *calibration_faults(document)]
    if faults or geometry is None:
        raise _faulty(faults, lines)
    plain = document.model_dump(by_alias=True, exclude_none=True)
    return Profile(
        document.kind, document.id, document.name, plain, content_hash(plain), text, geometry,
        MappingProxyType(found.sensors), MappingProxyType(found.checks),
        content_hash({key: value for key, value in plain.items() if key != "restored"}), hydraulics,
    )  # fmt: skip


def content_hash(document: dict[str, Any]) -> str:
    """SHA-256, hexadecimal, of a profile document's canonical JSON: keys sorted, no spaces, UTF-8."""
    canonical = json.dumps(
        document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return hashlib.sha256(canonical.encode()).hexdigest()


def geometry_from(document: MachineDocument | AttachmentDocument) -> Machine | Attachment:
    """The geometry of a validated document, its worked checks included.

    Raises `kinematics.errors.Refused` with every fault, each `where` a dotted path in the file.
    """
    if isinstance(document, MachineDocument):
        return machine_from(document)
    attachment = attachment_from(document)
    refuse(check_faults(document, attachment))
    return attachment


def _toml(text: str) -> dict[str, Any]:
    if len(text) > LONGEST_TEXT:
        raise _whole(
            "too-large", f"{len(text)} characters", f"at most {LONGEST_TEXT}", "send one profile, as text"
        )
    try:
        text.encode()
        return tomllib.loads(text.removeprefix("\ufeff"))  # some editors put a byte order mark first
    except UnicodeEncodeError as error:
        line = text.count("\n", 0, error.start) + 1
        raise _whole(
            "not-text", "half a surrogate pair", "Unicode text", "save the file as UTF-8", line
        ) from None
    except tomllib.TOMLDecodeError as error:
        found, line = _toml_words(str(error), text)
        raise _whole(
            "broken-toml", found, "TOML", "see the example in the guide on measuring", line
        ) from None
    except RecursionError:
        raise _whole("broken-toml", "brackets nested too deep", "TOML", "take the nested lists out") from None
    except ValueError:  # a whole number too long for Python to read
        raise _whole("broken-toml", "a number of thousands of digits", "TOML", "correct the number") from None


def _toml_words(message: str, text: str) -> tuple[str, int]:
    """The parser's sentence without its place, with the column; and the line."""
    match = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    if match is None:
        return message, text.rstrip("\n").count("\n") + 1  # "(at end of document)"
    return f"{message[: match.start()]} (column {match[2]})", int(match[1])


def _whole(code: str, found: str, expected: str, advice: str, line: int | None = None) -> ProfileFaulty:
    return ProfileFaulty((ProfileFault(code, "", line, found, expected, advice),))


def _header_faults(raw: dict[str, Any]) -> list[Fault]:
    """What decides how the rest is to be read: version and kind."""
    faults = []
    version = raw.get("schema")
    if "schema" not in raw:
        faults.append(
            Fault("missing-key", "schema", "no such key", f"schema = {SCHEMA_VERSION}", "add it at the top")
        )
    elif isinstance(version, bool) or not isinstance(version, int) or version < 1:
        faults.append(
            Fault(
                "not-a-version", "schema", shown(version), f"the whole number {SCHEMA_VERSION}", "correct it"
            )
        )
    elif version > SCHEMA_VERSION:
        faults.append(
            Fault("newer-schema", "schema", f"version {shown(version)}, from a newer tipdatum",
                  f"at most version {SCHEMA_VERSION}", "update tipdatum")
        )  # fmt: skip
    kind = raw.get("kind")
    if "kind" not in raw:
        faults.append(Fault("missing-key", "kind", "no such key", " or ".join(KINDS), "add it at the top"))
    elif kind not in KINDS:
        faults.append(Fault("not-a-choice", "kind", shown(kind), " or ".join(KINDS), "correct it"))
    return faults


def _refuse(faults: Sequence[Fault], lines: dict[str, int]) -> None:
    if faults:
        raise _faulty(faults, lines)


def _faulty(faults: Sequence[Fault], lines: dict[str, int]) -> ProfileFaulty:
    placed = [
        ProfileFault(f.code, f.where, line_of(lines, f.where), f.found, f.expected, f.advice) for f in faults
    ]
    return ProfileFaulty(tuple(sorted(placed, key=lambda fault: fault.line or 0)))
