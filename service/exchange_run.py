"""What the commands `profile export` and `profile from-pins` do, apart from reading flags."""

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import typer

from kinematics.assembly import assemble
from kinematics.errors import Fault, Refused
from kinematics.machine import Attachment, Machine, Range
from machine_profiles import Profile
from machine_profiles.exchange import USUAL_TOLERANCE_M, WRITERS, Attitude, Stroke, Told, provenance_of

from .pin_survey import Kind, Places, Surveyed, surveyed
from .prompt import find, read_text
from .text import shown

MOST_TOLERANCE_MM = 100.0
_NUMBER = r"([+-]?(?:\d+\.?\d*|\.\d+))"
_STROKE = re.compile(rf"(\w+)={_NUMBER}:{_NUMBER}(?::(raises|lowers))?", re.ASCII)
_RANGE = re.compile(rf"(\w+)={_NUMBER}:{_NUMBER}", re.ASCII)
_EXTENDING = {"raises": 1, "lowers": -1, None: None}


@dataclass(frozen=True, slots=True)
class Words:
    """What was typed beside a table of pins: degrees and millimetres."""

    kind: Kind
    id: str
    name: str
    source: str
    pitch: float
    roll: float
    strokes: Sequence[str]
    ranges: Sequence[str]
    left: float | None
    tolerance: float | None


def model_text(machine: str, attachment: str, form: str, pitch: float, roll: float) -> str:
    """The model of a pair in one of `WRITERS`; the lean in degrees. `Refused` with every fault."""
    faults: list[Fault] = []
    halves: list[Profile] = []
    for kind, name in (("machine", machine), ("attachment", attachment)):
        try:
            halves.append(find(kind, name))
        except Refused as refused:
            faults += refused.faults
    attitude = _attitude(pitch, roll, faults)
    if faults or attitude is None:
        raise Refused(faults)
    carrier, tool = halves
    if not (isinstance(carrier.geometry, Machine) and isinstance(tool.geometry, Attachment)):
        raise TypeError("a machine and an attachment are needed")
    fitted = assemble(carrier.geometry, tool.geometry)
    return WRITERS[form](fitted, attitude, provenance_of(carrier, tool, version("tipdatum")))


def write_new(out: Path | None, text: str, *, as_json: bool) -> None:
    """Into a file that was not there, or to standard output. `Refused` "file-exists", "unreadable"."""
    if out is None:
        typer.echo(json.dumps({"ok": True, "text": text}) if as_json else text, nl=as_json)
        return
    try:
        with out.open("x", encoding="utf-8") as opened:
            opened.write(text)
    except FileExistsError:
        raise Refused([
            Fault("file-exists", "--out", str(out), "a new file", "name another, or remove it")
        ]) from None  # fmt: skip
    except OSError as error:
        raise Refused([
            Fault("unreadable", "--out", f"{out}: {error.strerror}", "a place where a file can be written")
        ]) from None  # fmt: skip
    typer.echo(json.dumps({"ok": True, "written": str(out)}) if as_json else f"written: {out}")


def survey_text(file: Path, words: Words) -> Surveyed:
    """The profile that a table of pins in a file gives. `Refused` with every fault, those of options too."""
    faults: list[Fault] = []
    strokes: dict[str, Stroke] = {}
    ranges: dict[str, Range] = {}
    for word in words.strokes:
        found = _STROKE.fullmatch(word)
        if found is None:
            faults.append(Fault("bad-option", "--stroke", shown(word), "JOINT=SHORTEST:LONGEST:raises or lowers, in mm, "
                                "such as boom=1417:2430:raises; bucket=1410:2415 without"))  # fmt: skip
            continue
        joint, low, high, extending = found.groups()
        faults += _again("--stroke", joint, strokes)
        strokes[joint] = Stroke(float(low) / 1e3, float(high) / 1e3, _EXTENDING[extending])
    for word in words.ranges:
        found = _RANGE.fullmatch(word)
        if found is None:
            faults.append(
                Fault("bad-option", "--range", shown(word), "JOINT=LOW:HIGH in degrees, such as boom=-41:54")
            )
            continue
        joint, low, high = found.groups()
        faults += _again("--range", joint, ranges)
        ranges[joint] = Range(math.radians(float(low)), math.radians(float(high)))
    if words.tolerance is not None and not 0.0 < words.tolerance <= MOST_TOLERANCE_MM:
        found_mm = f"{words.tolerance:g} mm"
        faults.append(Fault("out-of-range", "--tolerance", found_mm, f"above 0 to {MOST_TOLERANCE_MM:g} mm"))
    attitude = _attitude(words.pitch, words.roll, faults)
    text = read_text(file, "a table in CSV")
    if faults or attitude is None:
        raise Refused(faults)
    told = Told(
        words.id, words.name, words.source, attitude, strokes, ranges,
        None if words.left is None else words.left / 1e3,
        USUAL_TOLERANCE_M if words.tolerance is None else words.tolerance / 1e3,
    )  # fmt: skip
    places = Places(
        str(file),
        lambda joint: f"--stroke {joint}",
        lambda joint: f"--range {joint}",
        lambda name: "--left" if name == "boom_foot_left" else f"--{name}",
    )
    return surveyed(text, words.kind, told, places)


def _again(option: str, joint: str, before: Mapping[str, object]) -> Iterator[Fault]:
    if joint in before:
        yield Fault("joint-given-twice", option, joint, "each joint once", "keep one of the two")


def _attitude(pitch: float, roll: float, faults: list[Fault]) -> Attitude | None:
    """The lean in degrees; None, and its faults added at their options, where it is none."""
    try:
        return Attitude(math.radians(pitch), math.radians(roll))
    except Refused as refused:
        faults += (
            Fault(f.code, f"--{f.where}", f.found, f.expected, f.advice, f.numbers) for f in refused.faults
        )
        return None
