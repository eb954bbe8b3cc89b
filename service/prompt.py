"""What the commands `pose` and `profile check` do, apart from reading flags and printing."""

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import httpx
from pydantic import ValidationError
from rich.table import Table

from kinematics.assembly import assemble
from kinematics.errors import Fault, Refused
from kinematics.machine import Attachment, Machine
from kinematics.units import LengthUnit
from machine_profiles import (
    Profile,
    ProfileFault,
    ProfileFaulty,
    check_pair,
    check_profile,
    parse_profile,
    shipped,
)

from .api.poses import PoseOut, pose_out
from .book.posing import solve
from .book.requests import PoseIn
from .book.state import Named
from .bus.address import address_faults
from .secret import parse
from .text import misfit, named_number, nearest, shown

LARGEST_FILE = 1_000_000
_OPTIONS = {"angles_deg": "--angle", "cylinders_mm": "--cylinder"}


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
    faults: list[Fault] = []
    profiles: list[Profile] = []
    for kind, name in (("machine", machine), ("attachment", attachment)):
        try:
            profiles.append(find(kind, name))
        except Refused as refused:
            faults += refused.faults
    if units not in set(LengthUnit):
        faults.append(
            Fault("unknown-unit", "--units", shown(units), "one of: " + ", ".join(LengthUnit),
                  nearest(units, list(LengthUnit)))
        )  # fmt: skip
    typed: dict[tuple[str, ...], str] = {}
    given = {
        table: _pairs(table, words, typed, faults)
        for table, words in (("angles_deg", angles), ("cylinders_mm", cylinders))
    }
    asked: PoseIn | None = None
    try:
        asked = PoseIn.model_validate({**given, "attitude_deg": {"pitch": pitch, "roll": roll}})
    except ValidationError as error:
        faults += [_option_fault(each, typed) for each in error.errors()]
    if faults or asked is None:
        raise Refused(faults)
    carrier, tool = profiles
    if not (isinstance(carrier.geometry, Machine) and isinstance(tool.geometry, Attachment)):
        raise TypeError("a machine and an attachment are needed")
    try:
        found = solve(assemble(carrier.geometry, tool.geometry), asked)
    except Refused as refused:
        raise Refused(
            Fault(f.code, _option(tuple(f.where.split(".")), typed), f.found, f.expected, f.advice, f.numbers)
            for f in refused.faults
        ) from None
    return pose_out(
        found, Named(carrier.id, carrier.content_hash), Named(tool.id, tool.content_hash), LengthUnit(units)
    )


def _pairs(
    table: str, words: list[str], typed: dict[tuple[str, ...], str], faults: list[Fault]
) -> dict[str, float]:
    """The numbers of an option given several times; `typed` gets the words of each by its place in the request."""
    option = _OPTIONS[table]
    pairs: dict[str, float] = {}
    for word in words:
        pair = named_number(word)
        if pair is None:
            faults.append(Fault("bad-option", option, shown(word), "NAME=NUMBER, such as boom=32.5"))
        elif pair[0] in pairs:
            faults.append(Fault("joint-given-twice", option, shown(word), "each joint once"))
        else:
            pairs[pair[0]] = pair[1]
            typed[table, pair[0]] = f"{option} {word}"
    return pairs


def _option(place: tuple[str, ...], typed: Mapping[tuple[str, ...], str]) -> str:
    """A place in the request as the user typed it: ("attitude_deg", "pitch") is --pitch."""
    if place[0] == "attitude_deg":
        return f"--{place[-1]}"
    table = _OPTIONS.get(place[0])
    return ".".join(place) if table is None else typed.get(place[:2], " ".join((table, *place[1:])))


def _option_fault(each: Mapping[str, Any], typed: Mapping[tuple[str, ...], str]) -> Fault:
    """One finding about the request in the words of the HTTP door, at the option it came from."""
    told = misfit({**each, "loc": ("body", *each["loc"])}, None)
    place = tuple(str(part) for part in each["loc"])
    advice = "read it on the body" if place[0] == "attitude_deg" else told.advice
    found = shown(each["input"]) if place[-1] == "[key]" else told.found
    return Fault(told.code, _option(place, typed), found, told.expected, advice)


def find(kind: str, name: str) -> Profile:
    """A profile from a TOML file, or a shipped one by id. `Refused` with every fault."""
    try:
        profile = parse_profile(source_of(name, kind))
    except ProfileFaulty as faulty:
        raise Refused(_in_file(name, faulty.faults)) from None
    if profile.kind != kind:
        raise Refused([Fault("wrong-kind", name, f"a profile of kind {profile.kind}", f"kind {kind}")])
    return profile


def source_of(name: str, *kinds: str) -> str:
    """The text of a TOML file or, where there is none of this name, of the shipped profile with this id.

    `Refused` "unreadable"; "unknown-machine", "unknown-attachment" or, of several kinds, "unknown-profile".
    """
    path = Path(name)
    try:
        if path.is_file():
            return read_text(path)
    except OSError:  # a name too long for a file is told as unknown
        pass
    known = {i: profile.source_text for (kind, i), profile in shipped().items() if kind in kinds}
    if name in known:
        return known[name]
    what = kinds[0] if len(kinds) == 1 else "profile"
    expected = "a TOML file, or one of: " + ", ".join(known)
    raise Refused([Fault(f"unknown-{what}", what, shown(name), expected, nearest(name, list(known)))])


def read_text(path: Path, what: str = "a TOML file") -> str:
    """The text of a file that should be `what`. `Refused` "unreadable" for one that is missing, huge or not UTF-8."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise Refused([Fault("unreadable", str(path), "a huge file", f"at most {LARGEST_FILE} bytes")])
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        found = (
            error.strerror if isinstance(error, OSError) and error.strerror else "bytes that are not UTF-8"
        )
        raise Refused([Fault("unreadable", str(path), found, f"{what} in UTF-8")]) from None


def verdict_of(name: str, fits: str | None) -> dict[str, Any]:
    """The verdict on a file or a shipped profile, as the service gives it; with `fits`, on the pair."""
    text = source_of(name, "machine", "attachment")
    verdict = check_profile(text)
    if fits is not None and verdict.ok:
        profile = parse_profile(text)
        other = find("attachment" if profile.kind == "machine" else "machine", fits)
        verdict = check_pair(profile, other) if profile.kind == "machine" else check_pair(other, profile)
    return verdict.as_json()


def place_in(file: str, line: int | None, path: str) -> str:
    """A place in a profile file for people: "m.toml:7: boom.length", "m.toml" for the whole of it."""
    return (f"{file}:{line}" if line else file) + (f": {path}" if path else "")


def _in_file(file: str, faults: Iterable[ProfileFault]) -> list[Fault]:
    return [Fault(f.code, place_in(file, f.line, f.path), f.found, f.expected, f.advice) for f in faults]


def token_for(file: Path | None) -> str | None:
    """The token in a file, else in TIPDATUM_TOKEN, else none. Never an option: a command line is seen by others."""
    text = os.environ.get("TIPDATUM_TOKEN") if file is None else read_text(file, "a token")
    if text is None:
        return None
    given = parse(text.strip())
    if given is None:
        where = "TIPDATUM_TOKEN" if file is None else "--token-file"
        raise Refused(
            [Fault("bad-token", where, "a text that is no token", "the whole of it, as it was given")]
        )
    return given.text


def add_to_service(file: Path, address: str, token: str | None = None) -> dict[str, Any]:
    """Post a profile to a running service. `Refused` with the file's faults, or what the service answered."""
    text = read_text(file)
    verdict = check_profile(text)
    faults = [*address_faults(address), *_in_file(str(file), verdict.faults)]
    if faults:
        raise Refused(faults)
    try:
        headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        url = f"{address.rstrip('/')}/v1/{verdict.kind}s"
        answer = httpx.post(url, json={"toml": text}, headers=headers, timeout=30.0)
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        raise Refused([
            Fault("no-service", "--to", f"{address}: {error}", "a running service",
                  "start one with: tipdatum serve")
        ]) from None  # fmt: skip
    try:
        body = answer.json()
    except ValueError:
        body = None
    if not isinstance(body, dict) or (answer.status_code != 201 and not body.get("errors")):
        found = f"{address}, which answered with status {answer.status_code}"
        raise Refused([Fault("no-service", "--to", found, "the answer of this service")])
    if answer.status_code != 201:
        raise Refused(
            Fault(e["code"], str(file) if e["pointer"] == "/toml" else e["pointer"], e["found"], e["expected"],
                  e["advice"])
            for e in body["errors"]
        )  # fmt: skip
    return body


def facts_table(facts: Mapping[str, Any]) -> Table:
    """What was computed from a profile, for people: a line for each number, rounded to three decimals."""
    table = Table(show_header=False, box=None)
    for key, value in facts.items():
        name, unit = _unit_apart(key)
        inner = value if isinstance(value, dict) else {"": value}
        for index, (part, each) in enumerate(inner.items()):
            table.add_row("" if index else name, part.replace("_", " "), f"{_in_words(each)} {unit}".rstrip())
    return table


def _unit_apart(key: str) -> tuple[str, str]:
    """("joint ranges", "deg") of "joint_ranges_deg"."""
    name, _, unit = key.rpartition("_")
    return (name.replace("_", " "), unit) if unit in {"m", "mm", "deg"} else (key.replace("_", " "), "")


def _in_words(value: Any) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case float() | int():
            return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")  # + 0.0: no minus before a zero
        case [low, high]:
            return f"{_in_words(low)} to {_in_words(high)}"
        case dict():
            named = ((*_unit_apart(key), each) for key, each in value.items())
            return ", ".join(f"{name} {_in_words(each)} {unit}".rstrip() for name, unit, each in named)
        case _:
            return str(value)


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
    if answer.edge_play is not None:
        point, play = max(answer.edge_play.items(), key=lambda item: item[1]["m"])
        table.add_row("coupler play", play["shown"], f"of height, either way; most at {point}")
    for name, value in answer.joints_deg.items():
        cylinder = answer.cylinders_mm.get(name)
        table.add_row(
            f"joint {name}", f"{value:+.3f} deg", "" if cylinder is None else f"cylinder {cylinder:.1f} mm"
        )
    return table
