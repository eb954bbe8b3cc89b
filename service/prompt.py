"""What the commands `pose` and `profile check` do, apart from reading flags and printing."""

import math
from pathlib import Path
from typing import Any

import httpx
from pydantic import ValidationError
from rich.table import Table

from kinematics.assembly import assemble
from kinematics.errors import Fault, Refused
from kinematics.machine import Attachment, Machine
from kinematics.units import LengthUnit
from machine_profiles import Profile, ProfileFaulty, check_pair, check_profile, parse_profile, shipped

from .api.poses import PoseOut, pose_out
from .book.posing import solve
from .book.requests import Attitude, PoseIn
from .book.state import Named

LARGEST_FILE = 1_000_000


def solve_at_prompt(
    machine: str,
    attachment: str,
    angles: list[str],
    cylinders: list[str],
    pitch: float,
    roll: float,
    units: str,
) -> PoseOut:
    """One pose from the words of the command line. `Refused` with every fault."""
    carrier, tool = find("machine", machine), find("attachment", attachment)
    if units not in set(LengthUnit):
        raise Refused([Fault("unknown-unit", "units", repr(units), "one of " + ", ".join(LengthUnit))])
    faults: list[Fault] = []
    given = {
        "angles_deg": _pairs("angle", angles, faults),
        "cylinders_mm": _pairs("cylinder", cylinders, faults),
    }
    if faults:
        raise Refused(faults)
    try:
        asked = PoseIn.model_validate({**given, "attitude_deg": Attitude(pitch=pitch, roll=roll)})
    except ValidationError as error:
        raise Refused(
            Fault("invalid", ".".join(map(str, e["loc"])), repr(e["input"]), e["msg"]) for e in error.errors()
        ) from None
    if not (isinstance(carrier.geometry, Machine) and isinstance(tool.geometry, Attachment)):
        raise TypeError("a machine and an attachment are needed")
    found = solve(assemble(carrier.geometry, tool.geometry), asked)
    return pose_out(
        found, Named(carrier.id, carrier.content_hash), Named(tool.id, tool.content_hash), LengthUnit(units)
    )


def _pairs(option: str, words: list[str], faults: list[Fault]) -> dict[str, float]:
    pairs: dict[str, float] = {}
    for word in words:
        name, equals, text = word.partition("=")
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not equals or not math.isfinite(value):
            faults.append(Fault("bad-option", f"--{option}", repr(word), "NAME=NUMBER, such as boom=32.5"))
        elif name in pairs:
            faults.append(Fault("joint-given-twice", f"--{option}", repr(word), "each joint once"))
        else:
            pairs[name] = value
    return pairs


def find(kind: str, name: str) -> Profile:
    """A shipped profile by id, or one from a TOML file. `Refused` with every fault."""
    ready = shipped()
    if (kind, name) in ready:
        return ready[kind, name]
    path = Path(name)
    if not path.is_file():
        names = ", ".join(i for k, i in ready if k == kind)
        raise Refused([Fault(f"unknown-{kind}", kind, repr(name), f"a TOML file, or one of: {names}")])
    try:
        profile = parse_profile(read_text(path))
    except ProfileFaulty as faulty:
        raise Refused(
            Fault(f.code, f"{name}:{f.line or ''}:{f.path}", f.found, f.expected, f.advice)
            for f in faulty.faults
        ) from None
    if profile.kind != kind:
        raise Refused([Fault("wrong-kind", name, f"a profile of kind {profile.kind}", f"kind {kind}")])
    return profile


def read_text(path: Path) -> str:
    """A profile file's text. `Refused` "unreadable" for one that is missing, huge or not UTF-8."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise Refused([Fault("unreadable", str(path), "a huge file", f"at most {LARGEST_FILE} bytes")])
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        found = (
            error.strerror if isinstance(error, OSError) and error.strerror else "bytes that are not UTF-8"
        )
        raise Refused([Fault("unreadable", str(path), found, "a TOML file in UTF-8")]) from None


def verdict_of(file: Path, fits: str | None) -> dict[str, Any]:
    """The verdict on a file, as the service gives it; with `fits`, on the pair."""
    text = read_text(file)
    verdict = check_profile(text)
    if fits is not None and verdict.ok:
        profile = parse_profile(text)
        other = find("attachment" if profile.kind == "machine" else "machine", fits)
        verdict = check_pair(profile, other) if profile.kind == "machine" else check_pair(other, profile)
    return verdict.as_json()


def add_to_service(file: Path, address: str) -> dict[str, Any]:
    """Post a profile to a running service. `Refused` with the file's faults, or what the service answered."""
    text = read_text(file)
    verdict = check_profile(text)
    if not verdict.ok:
        raise Refused(
            Fault(f.code, f"{file}:{f.line or ''}:{f.path}", f.found, f.expected, f.advice)
            for f in verdict.faults
        )
    try:
        answer = httpx.post(f"{address.rstrip('/')}/v1/{verdict.kind}s", json={"toml": text}, timeout=30.0)
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        raise Refused([
            Fault("no-service", "--to", f"{address}: {error}", "a running service",
                  "start one with: tipdatum serve")
        ]) from None  # fmt: skip
    try:
        body: dict[str, Any] = answer.json()
    except ValueError:
        raise Refused([Fault("no-service", "--to", address, "the answer of this service")]) from None
    if answer.status_code != 201:
        raise Refused(
            Fault(e["code"], e["pointer"], e["found"], e["expected"], e["advice"]) for e in body["errors"]
        )
    return body


def table_of(answer: PoseOut) -> Table:
    """A solved pose for people."""
    table = Table(
        title=f"{answer.machine.id} with {answer.attachment.id}", caption=answer.advisory, title_justify="left",
        caption_justify="left", show_header=False, box=None,
    )  # fmt: skip
    for name in ("left", "centre", "right"):
        table.add_row(f"height, {name}", answer.heights[name]["shown"], "over the body origin")
    table.add_row("reach", answer.reach["shown"], "edge centre ahead of the swing axis")
    table.add_row("lateral", answer.lateral["shown"], "edge centre to the left")
    table.add_row("cross-slope", f"{answer.cross_slope_percent:+.2f} %", "positive: its right corner higher")
    table.add_row(
        "floor angle", f"{answer.floor_angle_deg:+.2f} deg", "0 flat, positive: heel above the edge"
    )
    table.add_row("heel clearance", answer.heel_clearance["shown"], "negative: the heel rubs")
    table.add_row("lowest", answer.lowest_height["shown"], answer.lowest_point)
    for name, value in answer.joints_deg.items():
        cylinder = answer.cylinders_mm.get(name)
        table.add_row(
            f"joint {name}", f"{value:+.3f} deg", "" if cylinder is None else f"cylinder {cylinder:.1f} mm"
        )
    return table
