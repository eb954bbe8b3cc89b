"""What Linux shows of the processes that are measured."""

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path


def process_on(port: int) -> int:
    """The process that listens on a port of this machine, by what Linux shows of its sockets."""
    wanted = f":{port:04X}"
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    [inode] = [row[9] for row in rows if row[1].endswith(wanted) and row[3] == "0A"]
    for folder in Path("/proc").glob("[0-9]*/fd"):
        with contextlib.suppress(OSError):
            if any(f"socket:[{inode}]" == str(link.readlink()) for link in folder.iterdir()):
                return int(folder.parent.name)
    raise LookupError(f"nobody listens on port {port}")


def resident_mb(process: int) -> float:
    """Memory of a process in MB."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * 4096 / 1e6


def worked_s(process: int) -> float:
    """Seconds of a core that a process and its children, those that ended included, have used so far."""
    return sum(_ticks(each) for each in _with_children(process)) / os.sysconf("SC_CLK_TCK")


def _ticks(process: int) -> int:
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:  # ended meanwhile
        return 0
    return sum(map(int, fields[11:15]))


def _with_children(process: int) -> Iterable[int]:
    yield process
    with contextlib.suppress(OSError):
        for task in Path(f"/proc/{process}/task").iterdir():
            for child in (task / "children").read_text().split():
                yield from _with_children(int(child))
