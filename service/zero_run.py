"""One sensor's zero as a client of the service: the check in words of the command, the profile's new text into a file."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused, refuse

from .bus.any_feeder import Say
from .fit_run import CAUTION, Ask, Service

CHECKS = (
    "--level (with --to-edge of a bucket)",
    "--plumb",
    "--pitch with --roll",
    "--half-turn",
    "--edge",
    "--joint",
    "--tape",
)


def check_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """The check that options say, as /fitting/zeros takes it; "half-turn" without its postures.

    Raises `Refused`: "bad-option" unless exactly one check is said, with all it needs.
    """
    made: list[dict[str, Any]] = []
    if given["level"] is not None:
        made.append({
            "by": "level", "inclination_deg": given["level"], "ahead": not given["back"], "to_edge": given["to_edge"]
        })  # fmt: skip
    if given["plumb"] is not None:
        made.append({"by": "plumb-line", "below": given["plumb"] == "below", "to_edge": given["to_edge"]})
    if given["pitch"] is not None or given["roll"] is not None:
        made.append({"by": "lean", "pitch_deg": given["pitch"], "roll_deg": given["roll"]})
    if given["half_turn"]:
        made.append({"by": "half-turn"})
    if given["edge"] is not None:
        made.append({"by": "edge", "inclination_deg": given["edge"]})
    if given["joint"] is not None:
        made.append({"by": "joint", "angle_deg": given["joint"]})
    if given["tape"] is not None:
        made.append({"by": "tape", "length_mm": given["tape"]})
    refuse(_faults(given, made))
    unit = "uncertainty_mm" if made[0]["by"] == "tape" else "uncertainty_deg"
    return made[0] | {unit: given["uncertainty"]}


def _faults(given: Mapping[str, Any], made: list[dict[str, Any]]) -> list[Fault]:
    faults = [
        Fault("not-finite", f"--{name}", f"{value}", "a finite number")
        for name, value in given.items()
        if isinstance(value, float) and not math.isfinite(value)
    ]
    if given["uncertainty"] < 0.0:
        faults.append(Fault("out-of-range", "--uncertainty", f"{given['uncertainty']:g}", "0 or more"))
    if len(made) != 1:
        said = ", ".join(each["by"] for each in made) or "none"
        faults.append(Fault("bad-option", "zero", f"checks: {said}", "one of " + ", ".join(CHECKS)))
        return faults
    by = made[0]["by"]
    if given["plumb"] not in (None, "below", "above"):
        faults.append(
            Fault("bad-option", "--plumb", given["plumb"], "below or above: where the outer pin is")
        )
    if by == "lean" and None in made[0].values():
        faults.append(Fault("bad-option", "--pitch", "one of two", "--pitch and --roll together"))
    if given["back"] and by != "level":
        faults.append(Fault("bad-option", "--back", f"beside {by}", "--back with --level alone"))
    if given["to_edge"] and by not in ("level", "plumb-line"):
        faults.append(Fault("bad-option", "--to-edge", f"beside {by}", "--to-edge with --level or --plumb"))
    if (by == "half-turn") != (given["sensor"] is None):
        faults.append(
            Fault("bad-option", "SENSOR", str(given["sensor"]), "a sensor's name, none with --half-turn")
        )
    return faults


def run_zero(
    *, to: str, job: str, token: str | None, sensor: str | None, check: dict[str, Any], write: Path | None, ask: Ask,
    say: Say,
) -> dict[str, Any]:  # fmt: skip
    """Take the zero; what came of it, for programs. `write`: a new file for the profile's text. Raises `Refused`."""
    if write is not None and write.exists():
        raise Refused([
            Fault("file-exists", "--write", str(write), "a new file", "name another, or remove it")
        ])  # fmt: skip
    service = Service(to, job, token)
    if check["by"] == "half-turn":
        say(CAUTION)
        for side, words in (
            ("before", "Arm at rest, a mark on the ring where it stands. Enter when it rests; q: enough"),
            ("after", "Swing half a turn to the mark, arm held still. Enter when it rests; q: enough"),
        ):
            if ask(words).strip():
                raise Refused([
                    Fault("nothing-moved", "--half-turn", "no swing", "readings before and after half a turn")
                ])  # fmt: skip
            check = check | {side: service.get("posture")["said"]}
    body = {"check": check} if sensor is None else {"check": check, "sensor": sensor}
    found = service.post("zeros", body)
    if write is not None:
        [text] = [each["toml"] for each in found["profiles"]]
        with write.open("x", encoding="utf-8") as out:
            out.write(text)
        say(f"The profile with the new zero is in {write}.")
    return {"ok": True, **found}
