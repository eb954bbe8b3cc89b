"""The command `study`: geometry varied, every variant posed, the results in a folder that can be taken up again."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from .terminal import Json, refusals


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(study)


def study(
    file: Annotated[Path, typer.Argument(help="TOML file of the study; see the guide on studies.")],
    out: Annotated[
        Path | None, typer.Option(help="New or empty folder of the results.", show_default="FILE-results")
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on where it was stopped.")] = False,
    workers: Annotated[
        int | None, typer.Option(help="Threads of this machine.", show_default="one a core")
    ] = None,
    parquet: Annotated[Path | None, typer.Option(help="All results in one new Parquet file.")] = None,
    csv: Annotated[Path | None, typer.Option(help="All results in one new CSV file.")] = None,
    dask: Annotated[
        str | None,
        typer.Option(help="Address of a Dask scheduler in place of this machine.", envvar="TIPDATUM_DASK"),
    ] = None,
    as_json: Json = False,
) -> None:
    """Vary a machine's geometry and put every variant through the same poses; no service needed.

    Ctrl-C stops it after the parts under way; --resume goes on. Exit code 1 if it was refused or stopped.

    tipdatum study pins.toml --out pins --csv pins.csv
    """
    from .study_run import run_study, table_of  # noqa: PLC0415

    with refusals(as_json=as_json), _progress(quiet=as_json) as tell:
        told = run_study(
            file, out, resume=resume, workers=workers, parquet=parquet, csv=csv, dask=dask, tell=tell
        )
    if as_json:
        import json  # noqa: PLC0415

        typer.echo(json.dumps(told, allow_nan=False))
    else:
        Console().print(table_of(told))
        typer.echo(f"results: {told['folder']}")
        for path in told.get("written", []):
            typer.echo(f"written: {path}")
    if not told["finished"]:
        if not as_json and "parts_finished" in told:
            parts = f"{told['parts_finished']} of {told['parts']} parts"
            typer.echo(f"stopped: {parts} are finished and kept; go on with --resume", err=True)
        elif not as_json:
            typer.echo("stopped: what was found until then is kept; go on with --resume", err=True)
        raise typer.Exit(1)


@contextmanager
def _progress(*, quiet: bool) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error while it runs; nothing for programs."""
    console = Console(stderr=True)
    columns = (TextColumn("parts"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task("parts", total=None)

        def tell(done: int, of: int) -> None:
            bar.update(task, completed=done, total=of)

        yield tell
