"""Disks that are small, and files that may not grow: real ones, for tests of what happens then."""

import os
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk(at: Path, megabytes: int) -> Iterator[Path]:
    """A disk of its own of so many megabytes, in memory; skips where this user may mount none."""
    at.mkdir()
    mounted = _mount("-t", "tmpfs", "-o", f"size={megabytes}m,mode=0700", "tipdatum-test", str(at))
    if mounted:
        pytest.skip(f"needs the right to mount a small disk: {mounted}")
    try:
        yield at
    finally:
        subprocess.run(["umount", "-l", str(at)], check=True)


def remounted(at: Path, how: str) -> None:
    """The same disk "ro", which takes no writes, or "rw"."""
    said = _mount("-o", f"remount,{how}", str(at))
    assert not said, said


def _mount(*words: str) -> str:
    """What `mount` has against it."""
    try:
        done = subprocess.run(["mount", *words], capture_output=True, text=True, check=False, timeout=30)
    except OSError as error:
        return str(error)
    return done.stderr.strip() if done.returncode else ""


def filled(disk: Path) -> Path:
    """A file that takes all the room there is."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as out:
        for size in (1 << 20, 1 << 12, 1):
            try:
                while True:
                    out.write(bytes(size))
            except OSError:
                continue
    assert os.statvfs(disk).f_bavail == 0
    return filler


@contextmanager
def no_file_beyond(size: int, pid: int = 0) -> Iterator[None]:
    """No file of a process may grow beyond so many bytes, as by a quota; needs no rights. `pid`: 0 for this process."""
    limits = pytest.importorskip("resource", reason="file sizes are limited by the system's own means")
    change: Callable[..., tuple[int, int]] | None = getattr(limits, "prlimit", None)
    if change is None:
        pytest.skip("the file sizes of another process are limited on Linux only")
    before = change(pid, limits.RLIMIT_FSIZE)
    change(pid, limits.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        change(pid, limits.RLIMIT_FSIZE, before)
