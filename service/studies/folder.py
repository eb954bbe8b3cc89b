"""The folder of a study: what it is, its finished parts, and whether it is done. Nothing finished is lost.

`study.toml` the file, `machine.toml` and `attachment.toml` its profiles, `manifest.json` what all numbers hang on,
`parts/` a Parquet file a part (together one data set), `parts.ndjson` a line for each that is whole, with its CRC-32.
A part is written under another name, renamed, and only then told of; all is brought to the disk while others are made.
"""

import errno
import json
import os
import platform
import zlib
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from kinematics.errors import Fault, Refused

from .parts import PAGE, Part
from .plan import Plan, release, text_hash

MANIFEST, TOLD, PARTS, STOP, OUTCOME = "manifest.json", "parts.ndjson", "parts", "stop", "outcome.json"
SEARCHED, SEARCHING = "searched.json", "searching.npz"
_LIBRARIES = ("tipdatum", "numpy", "scipy", "numba", "pyarrow")


@dataclass(frozen=True, slots=True)
class Told:
    """A finished part, as its line has it."""

    part: int
    rows: int
    crc32: int
    variants: Mapping[str, int]
    evaluations: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Written:
    """A part's file under a name of its own, not yet kept."""

    told: Told
    path: Path


def part_name(number: int) -> str:
    """The file of a part: "part-000012.parquet"."""
    return f"part-{number:06d}.parquet"


def manifest_of(plan: Plan) -> dict[str, Any]:
    """Provenance: what the study is, by content, and what makes it. Nothing of it hangs on the clock."""
    return {
        "study": plan.document.name, "identity": plan.identity, "file_sha256": text_hash(plan.text),
        "machine": {"id": plan.machine.id, "content_hash": plan.machine.content_hash},
        "attachment": {"id": plan.attachment.id, "content_hash": plan.attachment.content_hash},
        "design": plan.document.design.kind, "seed": plan.document.design.seed,
        "variants": plan.study.design.rows, "poses": plan.study.poses.count, "parts": plan.parts,
        "units": plan.document.units.model_dump(), "columns": [each.name for each in plan.results],
        "versions": {name: release(name) for name in _LIBRARIES}, "processor": processor(),
    }  # fmt: skip


def processor() -> str:
    """The model of this machine's processor, on which the last bits of a number may hang."""
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        for line in cpuinfo.read_text(errors="replace").splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


class Folder:
    """A study's folder; made or taken up again by `begin`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._parts = path / PARTS
        self._unsettled: deque[Path] = deque()

    def begin(self, plan: Plan, *, resume: bool) -> dict[int, Told]:
        """Make the folder, or with `resume` take it up: its whole parts by number. `Refused`: "folder-taken",
        "other-study", "no-study-here", "disk-full", "unwritable"."""
        manifest = self.path / MANIFEST
        if manifest.exists():
            if not resume:
                raise Refused([Fault("folder-taken", str(self.path), "a study", "a new or empty folder",
                                     "go on with it (--resume), or name another folder")])  # fmt: skip
            self._same(plan)
            # Here alone: whoever only reads must not take away what a worker has under way.
            for leftover in self._parts.glob("*.new"):
                leftover.unlink(missing_ok=True)
            return self.whole()
        if self.path.exists() and (not self.path.is_dir() or any(self.path.iterdir())):
            raise Refused([Fault("folder-taken", str(self.path), "something else", "a new or empty folder")])
        with writing_to(self.path):
            self._parts.mkdir(parents=True, exist_ok=True)
            for name, text in (("study.toml", plan.text), ("machine.toml", plan.machine.source_text),
                               ("attachment.toml", plan.attachment.source_text),
                               (MANIFEST, json.dumps(manifest_of(plan), indent=2) + "\n")):  # fmt: skip
                put(self.path / name, text.encode())
        return {}

    def manifest(self) -> dict[str, Any]:
        """What was written when the study began. `Refused` "no-study-here"."""
        try:
            found = json.loads((self.path / MANIFEST).read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise Refused([Fault("no-study-here", str(self.path), f"no readable {MANIFEST}: {error}",
                                 "the folder of a study")]) from None  # fmt: skip
        if not isinstance(found, dict):
            raise Refused(
                [Fault("no-study-here", str(self.path), f"a {MANIFEST} of another kind", "that of a study")]
            )
        return found

    def _same(self, plan: Plan) -> None:
        found = self.manifest()
        if found.get("identity") != plan.identity:
            wanted = manifest_of(plan)
            differs = [name for name in ("study", "file_sha256", "machine", "attachment", "versions")
                       if found.get(name) != wanted[name]]  # fmt: skip
            raise Refused([Fault("other-study", str(self.path), "parts of a study that differs in " + ", ".join(differs),
                                 "parts of this very study, made by this release",
                                 "name a new folder; what is finished in this one stays")])  # fmt: skip

    def told(self) -> Iterator[Told]:
        """Every line of a finished part; a line cut off by a crash is none."""
        try:
            lines = (self.path / TOLD).read_bytes().split(b"\n")
        except FileNotFoundError:
            return
        for line in lines[:-1]:
            with suppress(ValueError, TypeError, KeyError):
                yield Told(**json.loads(line))

    def whole(self) -> dict[int, Told]:
        """Finished parts by number whose files are what they were told to be; all others are to be made again."""
        found: dict[int, Told] = {}
        for told in self.told():
            with suppress(OSError):
                if zlib.crc32((self._parts / part_name(told.part)).read_bytes()) == told.crc32:
                    found[told.part] = told
        return found

    def write(self, part: Part) -> Written:
        """Write a part down, on any thread; it counts once it is kept. `Refused` "disk-full", "unwritable"."""
        crc32 = zlib.crc32(part.content)
        new = _beside(self._parts / part_name(part.number))
        with writing_to(self.path):
            write_all(new, part.content)
        return Written(Told(part.number, part.rows, crc32, part.variants, part.evaluations), new)

    def keep(self, written: Written) -> Told:
        """Give what was written its name, then tell of it; it survives a killed process from now on, a cut of the power
        once it is settled. `Refused` as `write`."""
        told, tell = written.told, self.path / TOLD
        line = json.dumps({name: getattr(told, name) for name in Told.__slots__}) + "\n"
        with writing_to(self.path):
            written.path.replace(self._parts / part_name(told.part))
            self._unsettled.append(self._parts / part_name(told.part))
            cut_off = tell.exists() and tell.stat().st_size > 0 and not _ends_line(tell)
            with tell.open("ab") as file:
                file.write((b"\n" if cut_off else b"") + line.encode())
        return told

    def settle(self) -> None:
        """Bring all that was kept to the disk, on one thread at a time; more may be kept meanwhile. What the power's end
        took before, its checksum tells: it is made again."""
        with writing_to(self.path):
            while self._unsettled:
                to_the_disk(self._unsettled[0])
                self._unsettled.popleft()
            if (self.path / TOLD).exists():
                to_the_disk(self.path / TOLD)

    def files(self, parts: Iterable[int]) -> list[Path]:
        """The files of parts."""
        return [self._parts / part_name(number) for number in parts]

    def ask_to_stop(self) -> None:
        """Ask whoever runs it to stop after the parts under way."""
        with writing_to(self.path):
            (self.path / STOP).touch()

    def forget_stop(self) -> None:
        """Take that back, before it is taken up again."""
        (self.path / STOP).unlink(missing_ok=True)

    @property
    def asked_to_stop(self) -> bool:
        """Whether somebody asked."""
        return (self.path / STOP).exists()


def _ends_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"


def put(path: Path, content: bytes | memoryview, *, settled: bool = True) -> None:
    """Write a whole file or none; not `settled`: one that may be gone, or broken, after a cut of the power."""
    new = _beside(path)
    write_all(new, content)
    if settled:
        to_the_disk(new)
    new.replace(path)


def _beside(path: Path) -> Path:
    """A name of this process's own for a file under way."""
    return path.with_name(f"{path.name}.{os.getpid()}.new")


def write_all(path: Path, content: bytes | memoryview) -> None:
    """Write a file; what was begun of it goes where that fails."""
    try:
        with path.open("wb") as file:
            written = past_the_cache(path, content)
            file.seek(written)
            file.write(content[written:])
    except OSError:
        with suppress(OSError):
            path.unlink(missing_ok=True)
        raise


def past_the_cache(path: Path, content: bytes | memoryview) -> int:
    """Write whole pages of a content that begins at one to a file that is there, straight from where they are; how many
    bytes: 0 where the system or the disk knows no such way. A copy in memory that nobody will read costs as much as to
    make what is in it (40 ns a row, measured; 4 so)."""
    straight: int = getattr(os, "O_DIRECT", 0)
    pages = memoryview(content)[: len(content) // PAGE * PAGE]
    if not straight or not pages or np.frombuffer(pages, np.uint8).ctypes.data % PAGE:
        return 0
    written = 0
    try:
        file = os.open(path, os.O_WRONLY | straight)
        try:
            while written < len(pages):
                written += os.write(file, pages[written:])
                if written % PAGE:  # what is left no longer begins at a page
                    break
        finally:
            os.close(file)
    except OSError as error:
        if error.errno != errno.EINVAL:
            raise
    return written


def to_the_disk(path: Path) -> None:
    """Wait until a file has left the memory."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


class writing_to:  # noqa: N801 - read as a word
    """What the disk says against it, as `Refused`: "disk-full", or "unwritable"."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> None:
        """Nothing to do."""

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        """Refuse what was an error of the disk."""
        if not isinstance(error, OSError):
            return
        full = error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
        raise Refused([
            Fault("disk-full", str(self._path), error.strerror or str(error), "room for the results",
                  "make room and go on with --resume: finished parts are kept") if full else
            Fault("unwritable", str(self._path), error.strerror or str(error), "a folder that can be written to")
        ]) from None  # fmt: skip
