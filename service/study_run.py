"""What the command `study` does, apart from flags and printing: a file to a folder of results."""

import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from shutil import get_terminal_size
from types import FrameType
from typing import Any

import numpy as np
from rich.table import Table

from kinematics.errors import Fault, Refused, refuse
from machine_profiles import Profile

from .budget_run import new_files
from .prompt import find, read_text
from .studies.folder import Folder
from .studies.reading import Find, kind_of
from .studies.results import summary, write_csv, write_parquet
from .studies.runner import Makers, Tell, Threads, run
from .studies.study_file import read_study
from .studies.synthesis_file import begin, read_synthesis, search_into

_ROWS_SHOWN = 12
_A_NUMBER = 12  # columns of a terminal


def beside(folder: Path) -> Find:
    """Profiles as a study's file names them: a TOML file beside it, or a shipped one by id."""

    def look(kind: str, name: str) -> Profile:
        file = folder / name
        return find(kind, str(file) if file.is_file() else name)

    return look


def run_study(
    file: Path, out: Path | None, *, resume: bool, workers: int | None, parquet: Path | None, csv: Path | None,
    dask: str | None, tell: Tell,
) -> dict[str, Any]:  # fmt: skip
    """Run a study's file into a folder, `out` or one named after the file. What it came to, with "folder" and "written".

    Ctrl-C and SIGTERM stop it after the parts under way: "finished" is then False. Raises `Refused` with every fault.
    """
    if workers is not None and workers < 1:
        raise Refused([Fault("out-of-range", "--workers", str(workers), "at least 1")])
    if workers is not None and dask is not None:
        raise Refused([Fault("given-twice", "--workers", "a number of workers for a cluster",
                             "as many as the cluster has", "leave it out, or unset TIPDATUM_DASK")])  # fmt: skip
    new_files({"--parquet": parquet, "--csv": csv})
    text, path = read_text(file, "a study as TOML"), Path(f"{file.stem}-results") if out is None else out
    if kind_of(text, str(file)) == "synthesis":
        options = {"--workers": workers, "--parquet": parquet, "--csv": csv}
        refuse(Fault("wrong-form", name, "a synthesis", "a study that varies", "leave it out: all is in the folder")
               for name, given in options.items() if given)  # fmt: skip
        asked = read_synthesis(text, str(file), beside(file.parent))
        with stopped_by_signals() as stopping:
            begin(asked, path, resume=resume)
            told = search_into(asked, path, tell=tell, stop=stopping)
            return told | {"ok": True, "folder": str(path)}
    plan = read_study(text, str(file), beside(file.parent))
    if resume and path.is_dir():
        Folder(path).forget_stop()
    with stopped_by_signals() as stopping:
        outcome = run(plan, path, _makers(workers, dask), resume=resume, tell=tell, stop=stopping)
    folder = Folder(path)
    told = summary(plan, folder, outcome)
    told |= {"ok": True, "folder": str(path), "written": []}
    writers: Mapping[str, tuple[Path | None, Callable[..., None]]] = {
        "--parquet": (parquet, write_parquet), "--csv": (csv, write_csv),
    }  # fmt: skip
    for name, (target, write) in writers.items():
        if target is not None and outcome.done:
            _at(name, lambda target=target, write=write: write(plan, folder, outcome, target))  # type: ignore[misc]
            told["written"].append(str(target))
    return told


def _at(option: str, write: Callable[[], None]) -> None:
    try:
        write()
    except Refused as refused:
        refuse(Fault(f.code, f"{option} {f.where}", f.found, f.expected, f.advice) for f in refused.faults)


def _makers(workers: int | None, dask: str | None) -> Makers:
    if dask is None:
        return Threads(workers)
    from .studies.cluster import Cluster  # noqa: PLC0415 - an extra that need not be installed

    return Cluster(dask)


@contextmanager
def stopped_by_signals() -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C or SIGTERM has come; a second one ends the process as usual."""
    if threading.current_thread() is not threading.main_thread():
        yield lambda: False
        return
    asked = threading.Event()
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}

    def ask(number: int, _frame: FrameType | None) -> None:
        asked.set()
        signal.signal(number, before[signal.Signals(number)])

    for number in before:
        signal.signal(number, ask)
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def table_of(told: Mapping[str, Any]) -> Table:
    """What a study came to, for people."""
    table = Table(
        title=f"{told['study']}: {told['machine']['id']} with {told['attachment']['id']}", caption=told["advisory"],
        title_justify="left", caption_justify="left", show_header=False, box=None,
    )  # fmt: skip
    if "candidates" in told:
        return _candidates(table, told)
    table.add_row(
        "design",
        told["design"],
        f"{told['variants']} variants, {told['poses']} poses of each, seed {told['seed']}",
    )
    for what in ("variants", "evaluations"):
        for status, count in told[f"{what}_by_status"].items():
            table.add_row(what, str(count), status)
    for each in told["results"]:
        if "counts" in each:
            ends = ", ".join(f"{count} {word}" for word, count in each["counts"].items()) or "no number"
        else:
            ends = "no number" if not each["known"] else (
                f"{each['least']:.6g} to {each['greatest']:.6g}, mean {each['mean']:.6g}, of {each['known']}"
            )  # fmt: skip
        table.add_row(each["column"], "", ends)
    for each in told.get("sobol_indices", []):
        if each["why_not"]:
            table.add_row(each["column"], "no indices", each["why_not"])
        for part in sorted(each["parameters"], key=lambda part: -part["total"])[:_ROWS_SHOWN]:
            shares = f"alone {part['first']:.3f}, with all it takes part in {part['total']:.3f}"
            table.add_row(each["column"], part["parameter"], shares)
    return table


def _candidates(table: Table, told: Mapping[str, Any]) -> Table:
    """The candidates of a synthesis, for people: a column each, as many along the front as fit; names in full."""
    every = told["candidates"]
    longest = max(map(len, every[0]))
    most = max(1, (get_terminal_size().columns - longest) // _A_NUMBER)
    places = np.linspace(0, len(every) - 1, min(most, len(every))).round().astype(int).tolist()
    shown = [every[i] for i in places]
    table.add_column(no_wrap=True, min_width=longest)
    for what, count in (("looked at", "looked_at"), ("kept to all", "kept"), ("seed", "seed")):
        table.add_row(what, str(told[count]))
    table.add_row("found", f"{len(every)}, shown {len(shown)}")
    for name in every[0]:
        table.add_row(name, *(f"{each[name]:.4g}" for each in shown))
    return table
