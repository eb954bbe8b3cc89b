"""What the command `budget` does, apart from flags and printing: the words of the command line to an error budget."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from rich.table import Table

from kinematics.assembly import assemble
from kinematics.errors import Fault, Refused, refuse
from kinematics.machine import Attachment, Machine
from kinematics.parameters import TURNS
from kinematics.units import LengthUnit, from_metres, to_metres
from kinematics.zone_budget import Progress
from machine_profiles import Profile
from machine_profiles.sensor_pair import sensor_set

from .api import budget_words as words
from .api.budget_answer import BudgetOut, CellOut, PlaceOut, Told, answer, as_csv
from .api.budget_request import BudgetIn
from .api.error_budgets import reckoned
from .api.zone_picture import as_png, as_svg
from .book.state import Named
from .prompt import find
from .text import misfit, named_number, nearest, shown

_LENGTH = re.compile(r"\s*([-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?)\s*(m|mm|ft|ftUS)?\s*")
_ZERO = re.compile(r"\s*[-+]?0(?:\.0+)?\s*")  # no length in any unit
_OPTIONS: Mapping[tuple[str, ...], str] = {
    ("zone", "reach"): "--reach", ("zone", "depth"): "--depth", ("zone", "height"): "--height",
    ("zone", "columns"): "--columns", ("zone", "rows"): "--rows", ("attitude_deg", "pitch"): "--pitch",
    ("attitude_deg", "roll"): "--roll", ("floor_angle_deg",): "--floor", ("fore_boom_deg",): "--fore-boom",
    ("touch",): "--touch", ("carried",): "--carried", ("tolerance",): "--tolerance", ("by",): "--by",
    ("figures",): "--figure", ("sensors",): "--sensor", ("uncertainties_mm",): "--uncertainty",
    ("uncertainties_deg",): "--uncertainty", ("machine",): "MACHINE", ("attachment",): "ATTACHMENT",
}  # fmt: skip
_PARTS_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Words:
    """What was typed. `zone`, `touch` as LOW:HIGH and REACH:DEPTH, in `units` or with one of their own."""

    machine: str
    attachment: str
    reach: str
    depth: str | None
    height: str | None
    touch: str
    tolerance: str | None
    units: str
    floor: float
    pitch: float
    roll: float
    fore_boom: float | None
    columns: int
    rows: int
    carried: int
    by: str | None
    figures: list[str]
    sensors: list[str]
    uncertainties: list[str]


def run_budget(typed: Words, *, progress: Progress | None = None) -> tuple[Told, BudgetOut]:
    """The budget, and its answer as the service gives it. `Refused` with every fault at its option."""
    faults: list[Fault] = []
    profiles: list[Profile] = []
    for kind, name in (("machine", typed.machine), ("attachment", typed.attachment)):
        try:
            profiles.append(find(kind, name))
        except Refused as refused:
            faults += refused.faults
    if typed.units not in set(LengthUnit):
        known = list(LengthUnit)
        faults.append(
            Fault(
                "unknown-unit",
                "--units",
                shown(typed.units),
                "one of: " + ", ".join(known),
                nearest(typed.units, known),
            )
        )
    refuse(faults)
    asked = _asked(typed)
    carrier, tool = profiles
    if not (isinstance(carrier.geometry, Machine) and isinstance(tool.geometry, Attachment)):
        raise TypeError("a machine and an attachment are needed")
    fitted = assemble(carrier.geometry, tool.geometry)
    own = sensor_set(carrier, tool, fitted)
    named = Named(carrier.id, carrier.content_hash), Named(tool.id, tool.content_hash)
    try:
        told = reckoned(asked, *named, fitted, own, progress=progress)
    except Refused as refused:
        raise Refused(
            Fault(f.code, _option(tuple(f.where.split("."))), f.found, f.expected, f.advice, f.numbers)
            for f in refused.faults
        ) from None
    return told, answer(told)


def write_files(told: Told, files: Mapping[str, Path | None]) -> list[Path]:
    """Write table and pictures into new files, by option; those written. `Refused` "no-font", "unreadable"."""
    made: dict[str, Callable[[Told], str | bytes]] = {"--csv": as_csv, "--svg": as_svg, "--png": as_png}
    written = []
    for option, path in files.items():
        if path is None:
            continue
        content = made[option](told)
        raw = content if isinstance(content, bytes) else content.encode()
        try:
            with path.open("xb") as out:
                out.write(raw)
        except OSError as error:
            found = f"{path}: {error.strerror or error}"
            raise Refused(
                [Fault("unreadable", option, found, "a new file in a folder that can be written")]
            ) from None
        written.append(path)
    return written


def new_files(files: Mapping[str, Path | None]) -> None:
    """`Refused` before anything is reckoned: "file-exists" for each that is there, "given-twice" for one path of two."""
    faults: list[Fault] = []
    named: dict[Path, str] = {}
    for option, path in files.items():
        if path is None:
            continue
        if path.exists():
            faults.append(Fault("file-exists", option, str(path), "a new file", "name another, or remove it"))
        first = named.setdefault(path.resolve(), option)
        if first != option:
            faults.append(
                Fault("given-twice", option, f"{path}, the file of {first} too", "a file of its own")
            )
    refuse(faults)


def _asked(typed: Words) -> BudgetIn:
    faults: list[Fault] = []
    heights = {name: getattr(typed, name) for name in ("depth", "height") if getattr(typed, name) is not None}
    if len(heights) != 1:
        found = "neither" if not heights else "both"
        faults.append(
            Fault("half-described", "--depth", found, "one of --depth (below the ground) and --height")
        )
    down = next(iter(heights), "depth")
    reach = _pair("--reach", typed.reach, typed.units, faults)
    height = _pair(f"--{down}", next(iter(heights.values()), "0:1"), typed.units, faults)
    at, below = _pair("--touch", typed.touch, typed.units, faults)
    given: dict[str, Any] = {
        "machine": "machine", "attachment": "attachment", "units": typed.units,
        "attitude_deg": {"pitch": typed.pitch, "roll": typed.roll}, "floor_angle_deg": typed.floor,
        "fore_boom_deg": typed.fore_boom, "carried": typed.carried, "by": typed.by,
        "zone": {"reach": dict(zip(("low", "high"), reach, strict=True)),
                 down: dict(zip(("low", "high"), height, strict=True)), "columns": typed.columns, "rows": typed.rows},
        "touch": {"reach": at, down: below}, "sensors": {},
        "tolerance": None if typed.tolerance is None else _length("--tolerance", typed.tolerance, typed.units, faults),
        "uncertainties_mm": {}, "uncertainties_deg": {},
    }  # fmt: skip
    if typed.figures:
        given["figures"] = dict(_named("--figure", typed.figures, "noise_deg=0.05", faults))
    for name, value in _named("--sensor", typed.sensors, "boom.noise_deg=0.05", faults):
        sensor, _, figure = name.partition(".")
        given["sensors"].setdefault(sensor, {})[figure] = value
    for name, value in _named("--uncertainty", typed.uncertainties, "boom_length=2", faults):
        given["uncertainties_deg" if name in TURNS else "uncertainties_mm"][name] = value
    refuse(faults)
    try:
        return BudgetIn.model_validate(given)
    except ValidationError as error:
        raise Refused(_of_request(error)) from None


def _of_request(error: ValidationError) -> Iterator[Fault]:
    for each in error.errors():
        told = misfit({**each, "loc": ("body", *each["loc"])}, None)
        yield Fault(
            told.code,
            _option(tuple(str(part) for part in each["loc"])),
            told.found,
            told.expected,
            told.advice,
        )


def _option(place: tuple[str, ...]) -> str:
    """A place in the request as it was typed: ("zone", "reach", "low") is --reach, ("sensors", "boom") --sensor boom."""
    for size in (2, 1):
        option = _OPTIONS.get(place[:size])
        if option is not None:
            rest = ".".join(place[size:])
            shown_rest = option in ("--figure", "--sensor", "--uncertainty") and rest
            return f"{option} {rest}" if shown_rest else option
    return ".".join(place)


def _pair(option: str, text: str, units: str, faults: list[Fault]) -> tuple[float | str, float | str]:
    one, colon, other = text.partition(":")
    if not colon:
        faults.append(
            Fault("bad-option", option, shown(text), "two lengths with a colon between, such as 3:8")
        )
        return 0.0, 1.0
    return _length(option, one, units, faults), _length(option, other, units, faults)


def _length(option: str, text: str, units: str, faults: list[Fault]) -> float | str:
    """A length in `units`, written with or without a unit of its own: "15mm" with units m is 0.015."""
    if units == LengthUnit.FTIN:
        return '0"' if _ZERO.fullmatch(text) else text
    match = _LENGTH.fullmatch(text)
    try:
        value = float(match[1]) if match else None
    except ValueError:
        value = None
    if match is None or value is None:
        faults.append(
            Fault(
                "bad-option",
                option,
                shown(text),
                "a length such as 3 or 3.5m, 300mm, 10ft; in feet and inches: --units ftin",
            )
        )
        return 0.0
    own = match[2]
    return value if own is None or own == units else from_metres(to_metres(value, own), units)


def _named(option: str, given: list[str], example: str, faults: list[Fault]) -> list[tuple[str, float]]:
    found: dict[str, float] = {}
    for word in given:
        pair = named_number(word)
        if pair is None:
            faults.append(Fault("bad-option", option, shown(word), f"NAME=NUMBER, such as {example}"))
        elif pair[0] in found:
            faults.append(Fault("given-twice", option, shown(word), "each once"))
        else:
            found[pair[0]] = pair[1]
    return list(found.items())


def table_of(found: BudgetOut) -> Table:
    """A budget for people."""
    table = Table(
        title=f"{found.machine.id} with {found.attachment.id}: how far a readout may be off", caption=found.advisory,
        title_justify="left", caption_justify="left", show_header=False, box=None,
    )  # fmt: skip
    units = LengthUnit(found.units)
    carried = f", {words.moves(found.carried)} by laser" if found.carried else ""
    table.add_row("touch", _at(found.touch), f"of the benchmark{carried}")
    for name, cell in (("worst", found.worst), ("best", found.best)):
        half, standard = (words.size(1e-3 * mm, units) for mm in (cell.within_95_mm, cell.standard_mm))
        table.add_row(name, f"±{half}", f"95 %, at {_at(cell)}; standard {standard}")
    table.add_row("places", str(found.cells), "with a number" + "".join(
        f"; {count} {why}" for why, count in found.without_number.items()))  # fmt: skip
    for part in found.worst.parts[:_PARTS_SHOWN]:
        standard = words.size(1e-3 * part["standard_mm"], units)
        table.add_row("", standard, f"standard, at the worst: {words.part(part['part'])}")
    told = found.tolerance
    if told is not None:
        half = words.allowed(told.half_width["m"], units)
        share = words.percent(told.share_within)
        table.add_row("tolerance", f"±{half}", f"kept with 95 % in {share} of the places")
        for sentence in told.words:
            table.add_row("", "", sentence)
    for sentence in found.assumed:
        table.add_row("assumed", "", sentence)
    return table


def _at(place: PlaceOut | CellOut) -> str:
    where = f"height {place.height['shown']}" if place.depth is None else f"depth {place.depth['shown']}"
    return f"reach {place.reach['shown']}, {where}"
