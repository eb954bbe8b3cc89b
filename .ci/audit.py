"""What the product rests on: pinned, installed as pinned, without known flaws, under licences that go with MIT.

Run by `.ci/run` with the Python of the environment it looks at. All faults are told at once; exit code 1 if there is one.
"""

import os
import re
import sys
import tomllib
from collections.abc import Callable, Iterable, Mapping
from importlib import metadata

from flaws import PINS, ROOT, TABLE, ask_pip_audit, below_fixed, fault, not_audited, read_advisories, run
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version

_MIT = (
    "Permission is hereby granted, free of charge, to any person obtaining a copy of this software",
    "The above copyright notice and this permission notice shall be included in all copies",
)
_COPYLEFT = re.compile(r"\bA?GPL|Affero|(?<!Lesser )General Public")


def read_pins(text: str) -> tuple[dict[str, Version], list[str]]:
    """(version by canonical name, faults) of a constraints file."""
    pins: dict[str, Version] = {}
    faults = []
    for number, line in enumerate(text.splitlines(), 1):
        if not (said := line.partition("#")[0].strip()):
            continue
        name, _, version = said.partition("==")
        try:
            if not re.fullmatch(r"[\w.-]+", name) or canonicalize_name(name) in pins:
                raise InvalidVersion
            pins[canonicalize_name(name)] = Version(version)
        except InvalidVersion:
            where = f"{PINS} line {number}"
            faults.append(fault(where, "NAME==VERSION, a name once", repr(said), "pin one version"))
    return pins, faults


def needed(roots: Iterable[str], requires: Callable[[str], Iterable[str]]) -> dict[str, str]:
    """Canonical name of all that `roots` lead to on this machine, each with one that asks for it.

    `requires` gives the requirements of a distribution, those of its extras too.
    """
    found: dict[str, str] = {}
    seen = set()
    waiting = [(root, "", "pyproject.toml") for root in roots]
    while waiting:
        said, extra, asker = waiting.pop()
        want = Requirement(said)
        if want.marker and not want.marker.evaluate({"extra": extra}):
            continue
        name = canonicalize_name(want.name)
        found.setdefault(name, asker)
        for each in {"", *want.extras}:
            if (name, each) not in seen:
                seen.add((name, each))
                waiting += [(more, each, name) for more in requires(name)]
    return found


def not_as_pinned(
    want: Mapping[str, str], pins: Mapping[str, Version], installed: Callable[[str], str | None]
) -> list[str]:
    """Faults of what is needed: not pinned, or not installed at the pinned version."""
    faults = []
    for name, asker in sorted(want.items()):
        where, here = f"{name}, needed by {asker}", installed(name)
        if name not in pins:
            faults.append(fault(where, f"a pin in {PINS}", "none", "pin the version that passes the tests"))
        elif here is None or Version(here) != pins[name]:
            faults.append(fault(where, f"{pins[name]} installed", here or "none", f"install with -c {PINS}"))
    return faults


def not_to_ship(licences: Mapping[str, str]) -> list[str]:
    """Faults of licences by name: none stated, or plainly GPL or AGPL in all it offers, with no exception."""
    return [
        fault(name, "a licence that goes with MIT", said or "none", "read it, or do without the package")
        for name, said in sorted(licences.items())
        if all(not way or (_COPYLEFT.search(way) and " WITH " not in way) for way in said.split(" OR "))
    ]


def licence(name: str) -> str:
    """What an installed distribution states: its expression, else its classifiers, else a first line, else its own file
    where that is the text of MIT, else ""."""
    about = metadata.metadata(name)
    kinds = [c.rpartition(":: ")[2] for c in about.get_all("Classifier", []) if c.startswith("License ::")]
    said = [*about.get_all("License-Expression", []), " OR ".join(kinds), *about.get_all("License", []), ""]
    return next(filter(None, said), "").strip().partition("\n")[0] or _by_file(name)


def _by_file(name: str) -> str:
    """ "MIT" where a licence file of a distribution has the words of that licence, and no others do."""
    texts = [
        each.read_text()
        for each in metadata.files(name) or ()
        if "licenses" in each.parts and not each.suffix
    ]
    return (
        "MIT"
        if texts and all(all(words in " ".join(text.split()) for words in _MIT) for text in texts)
        else ""
    )


def _installed(name: str) -> str | None:
    return next((found.version for found in metadata.distributions(name=name)), None)


def _requires(name: str) -> list[str]:
    return (_installed(name) and metadata.requires(name)) or []


def main() -> int:
    """Audit this repository in this environment; the exit code."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"].values()
    direct = [*project["dependencies"], *(each for extra in extras for each in extra)]
    want = needed(direct, _requires)
    pins, faults = read_pins((ROOT / PINS).read_text())
    faults += not_as_pinned(want, pins, _installed)
    if (check := run(sys.executable, "-m", "pip", "check")).returncode:
        faults.append(fault("pip check", "no conflict", check.stdout.strip(), f"install with -c {PINS}"))
    advisories, misread = read_advisories((ROOT / TABLE).read_text())
    faults += misread + below_fixed(advisories, pins, direct)
    offered = [
        each for name, extra in project["optional-dependencies"].items() if name != "test" for each in extra
    ]
    to_run = needed([*project["dependencies"], *offered], _requires)
    licences = {name: licence(name) for name in to_run if _installed(name)}
    faults += not_to_ship(licences)
    print(f"{len(want)} packages needed, {len(licences)} of them to run")
    print(f"held against {len(advisories)} known flaws of {TABLE}")
    for kind in sorted(set(licences.values())):
        print(f"  {kind}: {', '.join(sorted(name for name, said in licences.items() if said == kind))}")
    unread, flaws, silence = ask_pip_audit(pins)
    if silence:
        print(f"pip-audit said nothing: {silence}")
    told, missing = not_audited(unread, len(pins), os.environ.get("TIPDATUM_AUDIT_NEED", ""))
    print(told)
    faults += flaws + missing
    for each in faults:
        print(each, file=sys.stderr)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
