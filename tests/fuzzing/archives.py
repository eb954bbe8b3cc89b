"""Backups, and logs of jobs: real ones, and archives of our form whose content was spoilt before it was summed up."""

import hashlib
import io
import json
import shutil
import tempfile
import zipfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from random import Random

from kinematics.errors import Refused
from service.backup_run import CONTENT, back_up, restore
from service.store import events as stored
from service.store import open_database
from service.store.events import StoredEvent
from service.studies.runner import Threads
from service.studies.runner import run as run_study
from tests.service.on_disk import FILE, two_jobs
from tests.service.studies.making import planned

from .mutations import bent, spoilt

_STUDY = "0123456789abcdef" * 2
_NAMES = (
    "../outside",
    "/outside",
    "studies/../../x",
    "tipdatum.sqlite",
    "a" * 300,
    "x\0y",
    "studies/",
    "C:\\x",
    "\u202ex",
    "",
)


def _silent(_words: str) -> None: ...


@cache
def _content() -> dict[str, bytes]:
    """The files of a good backup by name."""
    with tempfile.TemporaryDirectory(prefix="fuzzing") as folder:
        data = two_jobs(Path(folder) / "data", ("slab", "nail"))
        run_study(planned(), data / "studies" / _STUDY, Threads(1), resume=False)
        back_up(data, Path(folder) / "kept.zip", _silent)
        with zipfile.ZipFile(Path(folder) / "kept.zip") as archive:
            return {name: archive.read(name) for name in archive.namelist()}


@cache
def events() -> list[StoredEvent]:
    """The log of a job with three entries."""
    with tempfile.TemporaryDirectory(prefix="fuzzing") as folder:
        data = two_jobs(Path(folder) / "data", ("slab", "nail"))
        with open_database(f"sqlite:///{data / FILE}") as database:
            return list(database.read(lambda session: stored.read_events(session, "pump-house", 0, 100)))


@cache
def seeds() -> Sequence[bytes]:
    """One good archive."""
    return [_packed(list(_content().items()))]


def made(rng: Random) -> bytes:
    """One whose sums are right, whatever else is wrong: files spoilt, doubled, named otherwise, linked; another tale."""
    content = dict(_content())
    told = json.loads(content.pop(CONTENT))
    files = list(content.items())
    for _ in range(rng.choice((0, 1, 1, 2))):
        i = rng.randrange(len(files))
        name, what = files[i]
        how = rng.randrange(5)
        if how <= 2:
            files[i] = name, spoilt(rng, [what], "bytes")
        elif how == 3:
            files[i] = rng.choice(_NAMES), what
        else:
            files.append((name, what))
    told["files"] = {
        name: {"size": len(what), "sha256": hashlib.sha256(what).hexdigest()} for name, what in files
    }
    if rng.random() < 0.4:
        told = bent(rng, told)
    try:
        tale = json.dumps(told).encode()
    except (ValueError, OverflowError):
        tale = b"{}"
    return _packed([*files, (CONTENT, tale)], link=rng.random() < 0.1)


def _packed(files: list[tuple[str, bytes]], *, link: bool = False) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, what in files:
            about = zipfile.ZipInfo(name.partition("\0")[0] or "x")
            about.compress_type = zipfile.ZIP_DEFLATED
            if link:
                about.external_attr = 0o120777 << 16
            archive.writestr(about, what)
    return out.getvalue()


def restored(data: bytes) -> object:
    """As the command brings it back; what it left behind without saying so is wrong."""
    with tempfile.TemporaryDirectory(prefix="fuzzing") as work:
        file, to = Path(work) / "kept.zip", Path(work) / "pit" / "again"
        to.parent.mkdir()
        file.write_bytes(data)
        try:
            return restore(file, to, _silent)
        except BaseException as error:
            if isinstance(error, Refused) and error.faults[0].code in {"unwritable", "disk-full"}:
                raise AssertionError(f"the disk is blamed: {error}") from None
            left = sorted(str(each.relative_to(work)) for each in Path(work).rglob("*"))
            if left != ["kept.zip", "pit"]:
                raise AssertionError(f"left behind: {left}") from None
            raise
        finally:
            shutil.rmtree(to, ignore_errors=True)
