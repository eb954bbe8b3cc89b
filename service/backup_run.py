"""A data folder kept in one file, brought back, and held against itself.

A backup is a zip archive: the database as it was at one moment, the finished parts of studies, and last `backup.json`,
which says what there is, with sizes and SHA-256, and how far each job's log went.
"""

import errno
import hashlib
import json
import os
import re
import shutil
import sqlite3
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import IO, Any

from kinematics.errors import Fault, Refused, refuse

from .record_run import Verdict, verify_data
from .settings import DATABASE, database_file, shared_database
from .store import utc_now
from .store.sqlite import copy_file, flaws
from .studies.folder import MANIFEST, PARTS, TOLD, Folder, part_name
from .terminal import DATA

CONTENT, FORM = "backup.json", "tipdatum-backup-1"
STUDIES = "studies"
_NAMES = re.compile(rf"tipdatum\.sqlite|{STUDIES}/[0-9a-f]{{32}}/({PARTS}/)?[a-z0-9][a-z0-9.-]{{0,60}}")
_PIECE = 1 << 20
_MOST_CONTENT = 64 << 20
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Kept:
    """A backup: when it was made, of how many files and bytes, the head of each job as "SEQ:HASH"."""

    made_utc: str
    files: int
    size: int
    heads: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Held:
    """A data folder held against itself: what SQLite found, a verdict a job, what studies lost."""

    flaws: Sequence[str]
    jobs: Sequence[Verdict]
    studies: Sequence[str]

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.flaws and not self.studies and all(each.broken is None for each in self.jobs)


def verify(data: Path, say: Say) -> Held:
    """Hold a data folder, or the shared database, against itself. `Refused` "no-database", "database"."""
    if shared_database(data, DATA) is not None:
        return Held((), verify_data(data, None, ()), _broken_studies(data))
    path = database_file(data)
    if path.is_file():  # where there is none, `verify_data` says so
        say("the file")
        found = flaws(path)
        if found:  # what stands in a broken file is not told as if it held
            return Held(found, (), ())
    say("the logs")
    jobs = verify_data(data, None, ())
    say("the studies")
    return Held((), jobs, _broken_studies(data))


def back_up(data: Path, to: Path, say: Say) -> Kept:
    """Keep a data folder in a new file, while it is served or not; it is read back before it gets its name.

    `Refused`: "shared-database" for one on a server, "no-database", "folder-taken" for a file that is there,
    "database" for one that is broken, "disk-full", "unwritable".
    """
    _of_our_own(data)
    _free(to)
    with _writing(to), tempfile.TemporaryDirectory(prefix=f".{to.name}.", dir=to.parent) as work:
        copy, making = Path(work) / "tipdatum.sqlite", Path(work) / "backup.zip"
        say("the database")
        source = database_file(data)
        if not source.is_file():
            verify_data(data, None, ())  # says so
        copy_file(source, copy)
        held = verify(Path(work), say)
        if not held.ok:
            raise Refused([
                Fault("database", str(data), _first(held), "a data folder that holds",
                      "tipdatum verify tells all; the last good backup is what there is to go back to")
            ])  # fmt: skip
        say("the studies")
        files = {"tipdatum.sqlite": copy, **_study_files(data, Path(work))}
        heads = {each.job: f"{each.head.seq}:{each.head.hash}" for each in held.jobs if each.head is not None}
        _pack(making, files, heads)
        say("reading it back")
        kept = look_into(making)
        _free(to)
        making.rename(to)
        _to_the_disk(to.parent)
    return kept


def look_into(file: Path) -> Kept:
    """What a backup holds, every byte of it held against its SHA-256. `Refused` "unreadable-backup"."""
    with _opened(file) as (archive, content):
        for name, told in content["files"].items():
            _copied(archive, name, told, None)
        return _kept(content)


def restore(file: Path, data: Path, say: Say) -> Kept:
    """Bring a backup back into a new or empty folder, which is there whole or not at all.

    `Refused`: "unreadable-backup", "folder-taken", "database" for one of a later release or whose logs do not hold,
    "disk-full", "unwritable".
    """
    _of_our_own(DATA)
    data = data.resolve()
    if data.exists() and (not data.is_dir() or any(data.iterdir())):
        raise Refused([
            Fault("folder-taken", str(data), "a folder that is not empty", "a new or empty folder",
                  "move it away first; nothing is overwritten")
        ])  # fmt: skip
    with _writing(data), _opened(file) as (archive, content):
        making = Path(tempfile.mkdtemp(prefix=f".{data.name}.", dir=data.parent))
        try:
            for name, told in content["files"].items():
                path = making / name
                path.parent.mkdir(parents=True, exist_ok=True)
                say(name)
                with path.open("xb") as out:
                    path.chmod(0o600)
                    _copied(archive, name, told, out)
                    out.flush()
                    os.fsync(out.fileno())
            held = _held(making, file, say)
            found = {
                each.job: f"{each.head.seq}:{each.head.hash}" for each in held.jobs if each.head is not None
            }
            if not held.ok or found != content["heads"]:
                why = _first(held) if not held.ok else "logs that end elsewhere than it says"
                raise _unreadable(file, why)
            if data.exists():
                data.rmdir()
            making.rename(data)
            _to_the_disk(data.parent)
        finally:
            shutil.rmtree(making, ignore_errors=True)
        return _kept(content)


def _held(making: Path, file: Path, say: Say) -> Held:
    """What came out of an archive held against itself."""
    try:
        return verify(making, say)
    except sqlite3.OperationalError:  # the disk, not what is on it
        raise
    except sqlite3.DatabaseError as error:
        raise _unreadable(file, f"a database that is none: {error}") from None


def _free(to: Path) -> None:
    if to.exists():
        raise Refused(
            [Fault("folder-taken", str(to), "a file that is there", "a new file", "name another one")]
        )


def _of_our_own(data: Path) -> None:
    if shared_database(data, DATA) is not None:
        raise Refused([
            Fault("shared-database", DATABASE, "a database on a server", "a database in a data folder",
                  "back it up with the server's own program, pg_dump: /guide/fleet")
        ])  # fmt: skip


def _broken_studies(data: Path) -> list[str]:
    found = []
    for path in _study_folders(data):
        folder = Folder(path)
        lost = {told.part for told in folder.told()} - folder.whole().keys()
        if lost:
            found.append(
                f"study {path.name}: part {min(lost)} is not what it was told to be, {len(lost)} in all"
            )
    return found


def _study_folders(data: Path) -> list[Path]:
    return sorted(path.parent for path in (data.resolve() / STUDIES).glob(f"*/{MANIFEST}"))


def _study_files(data: Path, work: Path) -> dict[str, Path]:
    """Of every study what is finished. While one runs, what tells of parts is taken before them, and what tells of the
    end before that: nothing is told of that is not there."""
    found = {}
    for path in _study_folders(data):
        at = f"{STUDIES}/{path.name}"
        small = [each for each in path.iterdir() if each.is_file() and not each.name.endswith(".new")]
        for each in sorted(small, key=lambda one: (one.name == TOLD, one.name)):
            copy = work / at / each.name
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(each, copy)
            found[f"{at}/{each.name}"] = copy
        for number in Folder(path).whole():
            found[f"{at}/{PARTS}/{part_name(number)}"] = path / PARTS / part_name(number)
    return {name: path for name, path in found.items() if _NAMES.fullmatch(name)}


def _pack(making: Path, files: Mapping[str, Path], heads: Mapping[str, str]) -> None:
    told: dict[str, dict[str, Any]] = {}
    os.close(os.open(making, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    with zipfile.ZipFile(making, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, path in files.items():
            with path.open("rb") as source, archive.open(name, "w", force_zip64=True) as target:
                told[name] = _through(source, target)
        content = {
            "form": FORM, "made_utc": utc_now().isoformat(), "release": version("tipdatum"), "files": told,
            "heads": dict(heads),
        }  # fmt: skip
        archive.writestr(CONTENT, json.dumps(content, indent=1))
    with making.open("rb") as written:
        os.fsync(written.fileno())


def _through(source: IO[bytes], target: IO[bytes] | None, most: int | None = None) -> dict[str, Any]:
    """Copy; the size and SHA-256 of what was. At most one piece beyond `most`."""
    size, summed = 0, hashlib.sha256()
    while piece := source.read(_PIECE):
        size += len(piece)
        summed.update(piece)
        if most is not None and size > most:
            break
        if target is not None:
            target.write(piece)
    return {"size": size, "sha256": summed.hexdigest()}


@contextmanager
def _opened(file: Path) -> Iterator[tuple[zipfile.ZipFile, dict[str, Any]]]:
    try:
        archive = zipfile.ZipFile(file)
    except (OSError, ValueError, struct.error, zipfile.BadZipFile) as error:
        raise _unreadable(file, getattr(error, "strerror", None) or str(error)) from None
    with archive:
        yield archive, _content(file, archive)


def _content(file: Path, archive: zipfile.ZipFile) -> dict[str, Any]:
    """What `backup.json` says, once every name is one of ours and the archive has these files and no other."""
    try:
        about = archive.getinfo(CONTENT)
        if about.file_size > _MOST_CONTENT:
            raise _unreadable(file, f"a {CONTENT} of {about.file_size} bytes")
        with archive.open(CONTENT) as source:
            found = json.loads(source.read(_MOST_CONTENT))
        if found["form"] != FORM:
            raise _unreadable(file, f"form {str(found['form'])[:40]!r}, of another release")
        files, heads = found["files"], found["heads"]
        well = (
            all(_NAMES.fullmatch(name) and type(told["size"]) is int and type(told["sha256"]) is str
                for name, told in files.items())
            and all(type(head) is str for head in heads.values()) and type(found["made_utc"]) is str
        )  # fmt: skip
    except (KeyError, TypeError, AttributeError, ValueError, RecursionError, EOFError, NotImplementedError, RuntimeError,
            OSError, zipfile.BadZipFile, zlib.error, struct.error) as error:  # fmt: skip
        raise _unreadable(file, f"no {CONTENT} as it should be: {error}") from None
    names = [each.filename for each in archive.infolist()]
    well = well and all(
        each.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for each in archive.infolist()
    )
    odd = sorted(set(names) ^ {CONTENT, *files})
    if not well or odd or len(names) != len(set(names)):
        raise _unreadable(
            file, f"files that do not belong: {', '.join(odd)[:200] or 'names of another kind'}"
        )
    return dict(found)


def _copied(archive: zipfile.ZipFile, name: str, told: Mapping[str, Any], out: IO[bytes] | None) -> None:
    """One file of an archive; never more of it than was told, so that a small archive cannot fill a disk."""
    where = Path(archive.filename or "")
    try:
        with archive.open(name) as source:
            found = _through(source, out, told["size"])
    except (
        zipfile.BadZipFile,
        EOFError,
        RuntimeError,
        ValueError,
        NotImplementedError,
        zlib.error,
        struct.error,
    ) as error:
        raise _unreadable(where, f"{name}: {error}") from None
    except OSError as error:
        if error.errno != errno.EINVAL:  # what the disk says; this is an offset in front of the archive
            raise
        raise _unreadable(where, f"{name}: it stands nowhere") from None
    if found != {"size": told["size"], "sha256": told["sha256"]}:
        raise _unreadable(where, f"{name} of {found['size']} bytes that is not what was kept")


def _unreadable(file: Path, found: str) -> Refused:
    return Refused([
        Fault("unreadable-backup", str(file), found, "a backup as tipdatum backup wrote it", "take another backup")
    ])  # fmt: skip


def _kept(content: Mapping[str, Any]) -> Kept:
    sizes = [each["size"] for each in content["files"].values()]
    return Kept(content["made_utc"], len(sizes), sum(sizes), content["heads"])


def _first(held: Held) -> str:
    broken = [
        f"{each.job}: {each.broken.found} at entry {each.broken.seq}" for each in held.jobs if each.broken
    ]
    return next(iter([*held.flaws, *broken, *held.studies]), "nothing wrong")


@contextmanager
def _writing(to: Path) -> Iterator[None]:
    """What the disk says against it, as `Refused`."""
    refuse(
        ()
        if to.parent.is_dir()
        else [Fault("unwritable", str(to), "no such folder", "a folder that is there")]
    )
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        if isinstance(error, OSError):
            full = error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
        else:
            full = getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL
        raise Refused([
            Fault("disk-full" if full else "unwritable", str(to), getattr(error, "strerror", None) or str(error),
                  "room for it" if full else "a folder that can be written to", "nothing was left there")
        ]) from None  # fmt: skip


def _to_the_disk(folder: Path) -> None:
    """A name is kept once its folder is."""
    at = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(at)
    finally:
        os.close(at)
