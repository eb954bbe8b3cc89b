"""What every study's file begins with: TOML text to a document and its profiles, and all that is wrong at once."""

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from kinematics.assembly import Assembly, assemble
from kinematics.errors import Fault, Refused
from kinematics.machine import Attachment, Machine
from machine_profiles import Profile
from machine_profiles.faults import document_faults, shown
from machine_profiles.places import line_of, lines_of, numbered
from machine_profiles.table import Table

LONGEST_TEXT = 200_000
Find = Callable[[str, str], Profile]
"""A profile by kind and the name that the file gives; `Refused` where there is none."""
KINDS = ("study", "synthesis")
_NAMED = ("vary", "change")
_MANY = ("metrics", "correlations", "goals", "limits")
Document = TypeVar("Document", bound=Table)


@dataclass(slots=True)
class Head(Generic[Document]):
    """What could be read: `document` without what is wrong in form, None where nothing can be said without that;
    `broken`: keys of the file of which something was left out, or all; `faults` so far, each at its line."""

    document: Document | None
    broken: frozenset[str]
    machine: Profile | None
    attachment: Profile | None
    assembly: Assembly | None
    faults: list[Fault]
    _file: str
    _lines: dict[str, int]
    _kept: Mapping[str, list[int]]

    def add(self, faults: Iterable[Fault]) -> None:
        """Faults at dotted places of the document, to be told at those of the file."""
        self.faults += [placed(self._file, self._lines, self._as_listed(fault)) for fault in faults]

    def _as_listed(self, fault: Fault) -> Fault:
        head, _, rest = fault.where.partition(".")
        number, _, rest = rest.partition(".")
        if head not in self._kept or not number.isdecimal():
            return fault
        where = ".".join(part for part in (head, str(self._kept[head][int(number)]), rest) if part)
        return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def placed(file: str, lines: dict[str, int], fault: Fault) -> Fault:
    """A fault at a dotted place as people find it: "pins.toml:12: vary.boom_length.low"."""
    place = f"{file}:{line_of(lines, fault.where)}" + (f": {fault.where}" if fault.where else "")
    return Fault(fault.code, place, fault.found, fault.expected, fault.advice, fault.numbers)


def read_head(
    text: str, file: str, find: Find, model: type[Document], fillers: Mapping[str, Any]
) -> Head[Document]:  # fmt: skip
    """The head of a study's file. `fillers`: what stands for a key that is wrong in form, so that the others can be
    looked at all the same. `Refused` where the text is no TOML."""
    raw = read_toml(text, file)
    head: Head[Document] = Head(
        None, frozenset(), None, None, None, [], file, lines_of(numbered(text, _MANY)), {}
    )
    try:
        head.document = model.model_validate(raw)
    except ValidationError as error:
        head.add(document_faults(model, error, "studies"))
        pruned, head._kept, head.broken = _pruned(raw, error, fillers)
        try:
            head.document = model.model_validate(pruned)
        except ValidationError:
            return head
    _find_profiles(head, raw, find)
    return head


def _pruned(
    raw: Mapping[str, Any], error: ValidationError, fillers: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, list[int]], frozenset[str]]:  # fmt: skip
    """The tables without what is wrong in form, which entries of lists are left, and the keys of which something is
    gone."""
    pruned = deepcopy(dict(raw))
    broken, wrong = set[str](), dict[str, set[int]]()
    for each in error.errors():
        key, *rest = each["loc"]
        top, table = str(key), pruned.get(str(key))
        broken.add(top)
        if top in _NAMED and rest and isinstance(table, dict):
            table.pop(rest[0], None)
        elif top in _MANY and rest and isinstance(rest[0], int):
            wrong.setdefault(top, set()).add(rest[0])
        else:
            pruned.pop(top, None)
    kept = {
        top: [i for i in range(len(pruned[top])) if i not in gone]
        for top, gone in wrong.items()
        if top in pruned
    }
    pruned |= {top: [pruned[top][i] for i in left] for top, left in kept.items()}
    for top in broken:
        if not pruned.get(top) and top in fillers:
            pruned[top] = fillers[top]
    return pruned, kept, frozenset(broken)


def _find_profiles(head: Head[Document], raw: Mapping[str, Any], find: Find) -> None:
    """Both profiles of a file and what they make together."""
    found: dict[str, Profile] = {}
    for kind in ("machine", "attachment"):
        if kind in head.broken:
            continue
        try:
            found[kind] = find(kind, raw[kind])
        except Refused as refused:
            head.add(Fault(f.code, kind, f"{f.where}: {f.found}" if f.where not in {"", kind} else f.found, f.expected,
                           f.advice) for f in refused.faults)  # fmt: skip
    head.machine, head.attachment = found.get("machine"), found.get("attachment")
    if head.machine is None or head.attachment is None:
        return
    one, other = head.machine.geometry, head.attachment.geometry
    if not (isinstance(one, Machine) and isinstance(other, Attachment)):
        raise TypeError("a machine and an attachment are needed")
    try:
        head.assembly = assemble(one, other)
    except Refused as refused:
        head.add(
            Fault(f.code, "machine", f"{f.where}: {f.found}", f.expected, f.advice, f.numbers)
            for f in refused.faults
        )


def caught(faults: list[Fault], make: Callable[[], Any]) -> Any:
    """What `make` makes; None, and its faults added, where it refuses."""
    try:
        return make()
    except Refused as refused:
        faults += refused.faults
        return None


def read_toml(text: str, file: str) -> dict[str, Any]:
    """The tables of a TOML text. `Refused` "too-large", "broken-toml"."""
    if len(text) > LONGEST_TEXT:
        raise Refused(
            [Fault("too-large", file, f"{len(text)} characters", f"at most {LONGEST_TEXT}", "say less")]
        )
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))  # some editors put a byte order mark first
    except (ValueError, RecursionError) as error:
        match = re.search(r" \(at line (\d+), column \d+\)$", str(error))
        where = f"{file}:{match[1]}" if match else file
        found = str(error) if isinstance(error, tomllib.TOMLDecodeError) else "what no reader of TOML takes"
        raise Refused([Fault("broken-toml", where, found, "TOML", "see the guide on studies")]) from None


def kind_of(text: str, file: str) -> str:
    """ "study" or "synthesis", as the file says. `Refused` as `read_toml`, "not-a-choice"."""
    kind = read_toml(text, file).get("kind")
    if kind not in KINDS:
        found = "no such key" if kind is None else shown(kind)
        raise Refused(
            [Fault("not-a-choice", f"{file}: kind", found, " or ".join(KINDS), "see the guide on studies")]
        )
    return str(kind)
