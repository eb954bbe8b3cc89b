"""The command `record`: is a job's log as it was written, and the as-dug record out of it.

Exit codes of `verify`: 0 all holds, 1 a chain is broken (which job, which entry, what does not fit), 2 cannot be read.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn

from kinematics.errors import Fault, Refused

from .terminal import DATA, Data, Json, leave, refusals

if TYPE_CHECKING:
    from .record_run import Verdict

app = typer.Typer(help="The as-dug record: is it as it was written; print it.", no_args_is_help=True)


@app.command()
def verify(
    file: Annotated[Path | None, typer.Argument(help="A record exported as JSON.")] = None,
    data: Annotated[Path | None, typer.Option(help="Folder of a database, in place of a file.")] = None,
    job: Annotated[str | None, typer.Option(help="With --data: this job alone.")] = None,
    head: Annotated[
        list[str] | None, typer.Option(help="SEQ:HASH noted elsewhere; once for each. Shows an end cut off.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Hold a record's chain, or those of all jobs of a database, against itself; no service needed.

    Exit code 0: holds. 1: broken, with the entry. 2: cannot be read.

    tipdatum record verify as-dug-pump-house.json --head 23:96dd...
    """
    from .book.record_file import head_of  # noqa: PLC0415
    from .record_run import verify_data, verify_file  # noqa: PLC0415
    from .settings import shared_database  # noqa: PLC0415

    if file is not None and data is not None:
        raise typer.BadParameter("name a file, or --data and a folder, and not both")
    if file is None and data is None and shared_database(DATA, DATA) is None:
        raise typer.BadParameter("name a file, or --data and a folder, or TIPDATUM_DATABASE")
    if file is not None and job is not None:
        raise typer.BadParameter("--job goes with --data")
    if file is None and head and job is None:
        raise typer.BadParameter("--head is of one job: name it with --job")
    try:
        noted = [head_of(each) for each in head or []]
        with _counting(quiet=as_json) as tell:
            verdicts = (
                [verify_file(file, noted, tell)] if file else verify_data(data or DATA, job, noted, tell)
            )
    except Refused as refused:
        _unreadable(refused, as_json=as_json)
    if as_json:
        typer.echo(
            json.dumps(
                {"ok": all(each.broken is None for each in verdicts), "jobs": list(map(_told, verdicts))}
            )
        )
    else:
        for each in verdicts:
            typer.echo(_line(each), err=each.broken is not None)
        if not verdicts:
            typer.echo("no job")
    if any(each.broken for each in verdicts):
        raise typer.Exit(1)


@app.command()
def export(
    job: Annotated[str, typer.Argument(help="The job's id.")],
    output: Annotated[Path, typer.Option("--output", "-o", help="A new file.")] = ...,  # type: ignore[assignment]
    data: Data = DATA,
    wanted: Annotated[Literal["json", "csv", "html", "pdf"], typer.Option("--format")] = "pdf",
    as_json: Json = False,
) -> None:
    """Write a job's as-dug record into a new file, out of the database; no service needed.

    Of a log that does not hold it goes as far as that holds, and says so; exit code 1.

    tipdatum record export pump-house --format pdf -o as-dug.pdf --data our-data
    """
    from .record_run import export as exported  # noqa: PLC0415

    with refusals(as_json=as_json):
        content, damage = exported(data, job, wanted)
        try:
            with output.open("xb") as out:
                out.write(content)
        except OSError as error:
            found = f"{output}: {error.strerror or error}"
            leave(
                (Fault("bad-option", "--output", found, "a new file in a folder that can be written"),),
                as_json=as_json,
            )
    told = {} if damage is None else {"ends_because": damage.words}
    typer.echo(
        json.dumps({"ok": damage is None, "written": str(output), **told})
        if as_json
        else f"written: {output}"
    )
    if damage is not None:
        if not as_json:
            typer.echo(damage.words, err=True)
        raise typer.Exit(1)


def _unreadable(refused: Refused, *, as_json: bool) -> None:
    try:
        leave(refused.faults, as_json=as_json)
    except typer.Exit:
        raise typer.Exit(2) from None


def _line(told: "Verdict") -> str:
    if told.broken is not None:
        broken = told.broken
        where = f"{told.job}: broken at entry {broken.seq} ({broken.code})"
        return f"{where}: expected {broken.expected}, found {broken.found}"
    assert told.head is not None  # noqa: S101
    return f"{told.job}: holds, {told.head.seq} entries, head {told.head.seq}:{told.head.hash}"


def _told(told: "Verdict") -> dict[str, object]:
    broken, head = told.broken, told.head
    return {
        "job": told.job, "ok": broken is None,
        "head": None if head is None else {"seq": head.seq, "hash": head.hash},
        "broken": None if broken is None else {
            "seq": broken.seq, "code": broken.code, "found": broken.found, "expected": broken.expected},
    }  # fmt: skip


@contextmanager
def _counting(*, quiet: bool) -> Iterator[Callable[[int], None]]:
    """How many entries are done, on standard error of a terminal; nothing for programs."""
    console = Console(stderr=True)
    columns = SpinnerColumn(), TextColumn("{task.description}")
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task("reading", total=None)

        def tell(done: int) -> None:
            bar.update(task, description=f"{done} entries hold")

        yield tell
