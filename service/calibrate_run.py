"""What the command `calibrate` does, apart from flags and printing: a file of observations to a calibration."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from pydantic import ValidationError

from kinematics.assembly import assemble
from kinematics.errors import Fault, Refused, refuse
from kinematics.machine import Attachment, Machine
from machine_profiles import Profile
from machine_profiles.sensor_pair import sensor_set

from .api.calibration_answer import answered
from .api.calibration_found import Pair, calibrated, no_sensors, unseen
from .api.calibration_request import CalibrationIn
from .bus.address import address_faults
from .bus.any_feeder import Say, told
from .prompt import find, read_text
from .text import json_faults, misfit, shown

PATIENCE_S = 120.0
_HALVES = ("machine", "attachment")


@dataclass(frozen=True, slots=True)
class Asked:
    """What was typed."""

    file: Path
    to: str | None
    token: str | None
    write: Path | None
    left_out: list[str]
    apply: bool
    doubts_seen: bool


def run_calibrate(asked: Asked, *, say: Say) -> dict[str, Any]:
    """The calibration, as the service answers it, `ok` beside it; written and recorded as asked. Raises `Refused`."""
    faults = [] if asked.to is None else [*address_faults(asked.to)]
    if asked.to is None and asked.apply:
        faults.append(
            Fault("bad-option", "--apply", "no --to", "the address of the service that keeps the profiles")
        )
    if (asked.left_out or asked.doubts_seen) and not (asked.apply or asked.write):
        faults.append(
            Fault(
                "bad-option", "--left-out, --doubts-seen", "nothing to be written", "with --write or --apply"
            )
        )
    if asked.write is not None and not asked.write.is_dir():
        faults.append(Fault("bad-option", "--write", str(asked.write), "a folder that is there", "make it"))
    refuse(faults)
    body = read_body(asked.file)
    found = _here(asked.file, body) if asked.to is None else _post(asked, "", body)
    ok = found["verdict"] == "found"
    if asked.write is not None:
        refuse(unseen(found["suspects"], found["doubts"], asked.left_out, doubts_seen=asked.doubts_seen))
        _write(asked.write, found["profiles"], say)
    recorded: dict[str, Any] = {}
    if asked.apply:
        more = {
            "machine_revision": found["machine"]["revision"], "attachment_revision": found["attachment"]["revision"],
            "left_out": asked.left_out, "doubts_seen": asked.doubts_seen,
        }  # fmt: skip
        recorded = {"recorded": _post(asked, "/applied", body | more)["id"]}
        say(
            f"Recorded as {recorded['recorded']}. Record a setup of the two anew, touch a benchmark, check with a rod."
        )
    return {"ok": ok, **recorded, **found}


def read_body(file: Path) -> dict[str, Any]:
    """The request in a file: JSON where its name ends so, else TOML. `Refused` "unreadable", "malformed-json",
    "broken-toml"."""
    text = read_text(file, "TOML or JSON")
    if file.suffix.lower() == ".json":
        refuse(
            Fault(each.code, str(file), each.found, each.expected, each.advice)
            for each in json_faults(text.encode())
        )
        body = json.loads(text)
    else:
        try:
            body = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
            raise Refused([Fault("broken-toml", str(file), str(error)[:120], "TOML")]) from None
    if not isinstance(body, dict):
        raise Refused(
            [Fault("unreadable", str(file), shown(body), "an object: machine, attachment, units, ...")]
        )
    return body


def _here(file: Path, body: Mapping[str, Any]) -> dict[str, Any]:
    """Computed here, on profile files or shipped profiles."""
    faults: list[Fault] = []
    halves: list[Profile] = []
    for kind in _HALVES:
        name = body.get(kind)
        if not isinstance(name, str):
            faults.append(
                Fault("missing-field", kind, shown(name), f"a {kind}'s file, or the id of a shipped one")
            )
            continue
        beside = next(
            (each for each in (file.parent / name, file.parent / f"{name}.toml") if each.is_file()), name
        )
        try:
            halves.append(find(kind, str(beside)))
        except Refused as refused:
            faults += refused.faults
    asked: CalibrationIn | None = None
    try:
        ids = {kind: half.id for kind, half in zip(_HALVES, halves, strict=False)} if len(halves) == 2 else {
            kind: kind for kind in _HALVES
        }  # fmt: skip
        asked = CalibrationIn.model_validate({**body, **ids})
    except ValidationError as error:
        faults += [_misfit(each) for each in error.errors()]
    if faults or asked is None:
        raise Refused(faults)
    carrier, tool = halves
    if not (isinstance(carrier.geometry, Machine) and isinstance(tool.geometry, Attachment)):
        raise TypeError("a machine and an attachment are needed")
    fitted = assemble(carrier.geometry, tool.geometry)
    sensors = sensor_set(carrier, tool, fitted)
    if sensors is None:
        raise no_sensors()
    done = answered(
        calibrated(asked, Pair(carrier, tool, fitted, sensors)), datetime.now(UTC).date().isoformat()
    )
    found: dict[str, Any] = json.loads(done.model_dump_json())
    return found


def _misfit(each: Any) -> Fault:
    found = misfit({**each, "loc": ("body", *each["loc"])}, None)
    return Fault(
        found.code, ".".join(str(part) for part in each["loc"]), found.found, found.expected, found.advice
    )


def _post(asked: Asked, what: str, body: Mapping[str, Any]) -> dict[str, Any]:
    headers = {} if asked.token is None else {"Authorization": f"Bearer {asked.token}"}
    url = f"{str(asked.to).rstrip('/')}/v1/calibrations{what}"
    try:
        answer = httpx.post(url, json=body, headers=headers, timeout=PATIENCE_S)
        said = answer.json()
    except (httpx.HTTPError, httpx.InvalidURL, ValueError, TypeError) as error:
        raise Refused([
            Fault("no-service", "--to", f"{asked.to}: {error}", "a running service", "start one with: tipdatum serve")
        ]) from None  # fmt: skip
    if answer.status_code not in (200, 201) or not isinstance(said, dict):
        raise told(said, f"status {answer.status_code}")
    return said


def _write(folder: Path, profiles: list[dict[str, Any]], say: Say) -> None:
    """Each text into a new file; none is written where one is there already."""
    files = [(folder / f"{each['id']}.toml", each["toml"]) for each in profiles]
    refuse(
        Fault("file-exists", "--write", str(path), "a new file", "name another folder, or move it away")
        for path, _ in files if path.exists()
    )  # fmt: skip
    for path, text in files:
        try:
            with path.open("x", encoding="utf-8") as out:
                out.write(text)
        except OSError as error:
            raise Refused([
                Fault("bad-option", "--write", f"{path}: {error.strerror or error}", "a folder that can be written")
            ]) from None  # fmt: skip
        say(f"written: {path}")
    if not files:
        say("Nothing was written: nothing was found.")


def lines(found: Mapping[str, Any]) -> Iterator[str]:
    """A calibration for people: the verdict, before and after, each residual, what to do next."""
    yield f"{found['machine']['id']} with {found['attachment']['id']}: {found['verdict']}"
    rows = [
        (each["name"], *(each[key]["shown"] for key in ("was", "found", "change", "standard")))
        for each in found["unknowns"]
    ]
    if rows:
        yield from _table([("unknown", "was", "found", "change", "known to"), *rows])
        yield ""
        yield from _table([("observation", "before", "after", ""), *map(_residual, found["residuals"])])
        fit = found["fit"]
        yield ""
        yield f"chi-square {fit['chi_square']:.1f} of {fit['freedom']}; residuals {fit['rms_before']:.2f} times their " \
              f"standard uncertainty before, {fit['rms_after']:.2f} after"  # fmt: skip
    yield from found["words"]
    for each in found["also"]:
        yield f"Goes along: {each['key']} {each['was']} -> {each['now']}, {each['why']}."
    for each in found["next_postures"]:
        yield f"Touch next: {each['words']}"
    yield found["advisory"]


def _residual(each: Mapping[str, Any]) -> tuple[str, ...]:
    sides = (each[key] for key in ("before", "after"))
    mark = "suspect" if each["suspect"] else "" if each["standardised"] is not None else "not checked"
    return (each["name"], *("" if side is None else side["shown"] for side in sides), mark)


def _table(rows: list[tuple[str, ...]]) -> Iterator[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for name, *rest in rows:
        cells = [
            f"{name:<{widths[0]}}",
            *(f"{cell:>{width}}" for cell, width in zip(rest, widths[1:], strict=True)),
        ]
        yield "  ".join(cells).rstrip()
