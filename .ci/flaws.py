"""Known flaws in what is pinned, by the table `.ci/advisories.toml` and by pip-audit.

The table needs no network. pip-audit does; where it cannot read advisories it ends well all the same, with no flaw found.
Here only what it says it audited counts as audited. The rest is counted and told, a fault if TIPDATUM_AUDIT_NEED says so.
"""

import json
import subprocess
import tempfile
import tomllib
import venv
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version

ROOT = Path(__file__).parent.parent
PINS = ".ci/constraints.txt"
TABLE = ".ci/advisories.toml"
PIP_AUDIT = "pip-audit==2.10.1"
LONGEST_S = 300


class Advisory(NamedTuple):
    """A known flaw, taken to be in every version of `package` below `fixed`."""

    id: str
    package: str
    fixed: str
    what: str
    source: str


def fault(where: str, expected: str, found: str, advice: str) -> str:
    """One fault, in one line."""
    return f"{where}: expected {expected}, found {found}; {advice}"


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S, check=False, cwd=ROOT)


def read_advisories(text: str) -> tuple[list[Advisory], list[str]]:
    """(advisories, faults) of the table: every field given, none blank, no other."""
    listed, faults = [], []
    try:
        for row in tomllib.loads(text)["advisory"]:
            if set(row) != set(Advisory._fields) or not all(
                isinstance(v, str) and v.strip() for v in row.values()
            ):
                faults.append(
                    fault(TABLE, f"words for {', '.join(Advisory._fields)}", str(row), "correct it")
                )
            else:
                Version(row["fixed"])
                listed.append(Advisory(**row | {"package": canonicalize_name(row["package"])}))
    except (tomllib.TOMLDecodeError, KeyError, TypeError, InvalidVersion) as error:
        faults.append(fault(TABLE, "TOML with [[advisory]], fixed a version", repr(error), "correct it"))
    return listed, faults


def below_fixed(
    advisories: Iterable[Advisory], pins: Mapping[str, Version], direct: Iterable[str]
) -> list[str]:
    """Faults of pins, and of lower bounds in the `direct` requirements, that let a version with a known flaw in."""
    faults, bounds = [], {str(canonicalize_name(r.name)): r.specifier for r in map(Requirement, direct)}
    for each in advisories:
        where, least = f"{each.package} ({each.id}: {each.what})", Version(each.fixed)
        pin = pins.get(each.package)
        if pin is None:
            advice = "correct the name; drop the entry if nothing needs the package any more"
            faults.append(fault(f"{TABLE}, {each.id}", "a package that is pinned", each.package, advice))
        elif pin < least:
            faults.append(fault(where, f"at least {least}", f"{pin} pinned", f"renew {PINS}"))
        if each.package in bounds:
            low = [Version(b.version) for b in bounds[each.package] if b.operator in {">=", "==", "~="}]
            if not low or max(low) < least:
                found = f"lower bound {max(low) if low else 'missing'}"
                faults.append(fault(where, f"at least {least}", found, "raise it in pyproject.toml"))
    return faults


def read_audit(text: str, pins: Mapping[str, Version]) -> tuple[list[str], list[str]]:
    """(pinned packages not audited, faults) of pip-audit's JSON; audited is only what it gives a list of flaws for."""
    audited, skipped, faults = set(), set(), []
    try:
        for each in json.loads(text)["dependencies"]:
            name = canonicalize_name(each["name"])
            if "vulns" not in each and each["skip_reason"]:
                skipped.add(name)
                continue
            for flaw in each["vulns"]:
                found = f"{flaw['id']} in {each['version']}, fixed in {', '.join(flaw['fix_versions']) or 'none yet'}"
                faults.append(fault(name, "no known flaw", found, f"renew {PINS}"))
            if pins.get(name) == Version(each["version"]):
                audited.add(name)
        if silent := pins.keys() - audited - skipped:
            faults.append(
                fault("pip-audit", "a word on every pin", f"none on {', '.join(sorted(silent))}", "look why")
            )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        faults.append(
            fault("pip-audit", "its JSON", f"{text[:60]!r} ({error!r})", f"run {PIP_AUDIT} by hand")
        )
    return sorted(pins.keys() - audited), faults


def ask_pip_audit(pins: Mapping[str, Version]) -> tuple[list[str], list[str], str]:
    """As `read_audit`, from pip-audit in a throw-away environment: it is no dependency of the product.

    The third: why it said nothing at all, "" where it did. Then nothing was audited, which is told and no fault by
    itself: a machine without that network can still build.
    """
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        python = str(Path(folder, "bin", "python"))
        asked = f"-r {PINS} --no-deps --disable-pip -f json --desc off --progress-spinner off --cache-dir {folder}/cache"
        try:
            told = run(python, "-m", "pip", "install", "-q", "--disable-pip-version-check", PIP_AUDIT)
            if told.returncode == 0:
                told = run(python, "-m", "pip_audit", *asked.split())
        except subprocess.TimeoutExpired:
            return sorted(pins), [], f"no answer in {LONGEST_S} s"
    if told.returncode and not told.stdout.strip():
        return sorted(pins), [], f"exit code {told.returncode}: {told.stderr.strip()[-200:]}"
    unread, faults = read_audit(told.stdout, pins)
    if told.returncode and not faults:
        found = f"exit code {told.returncode}: {told.stderr.strip()[-200:]}"
        faults.append(fault(PIP_AUDIT, "a word on why it ended badly", found, "run it by hand"))
    return unread, faults, ""


def not_audited(unread: list[str], total: int, need: str) -> tuple[str, list[str]]:
    """(what to print, faults) where pip-audit read no advisories for `unread`; `need` is TIPDATUM_AUDIT_NEED."""
    told = f"advisories could not be read for {len(unread)} of {total} packages here: not audited by advisory"
    if need not in {"", "advisories"}:
        return told, [fault("TIPDATUM_AUDIT_NEED", "advisories, or nothing", repr(need), "correct it")]
    if not unread:
        return f"advisories were read for all {total} packages", []
    return f"WARNING: {told}", [
        fault("pip-audit", "all audited", told, "run where advisories can be read")
    ] if need else []
