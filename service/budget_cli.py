"""The command `budget`: how far readouts may be off over a working zone, before anything is bought or dug."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from .terminal import Json, refusals

Several = list[str] | None


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(budget)


def budget(
    machine: Annotated[str, typer.Argument(help="Id of a shipped machine, or a TOML file.")],
    attachment: Annotated[str, typer.Argument(help="Id of a shipped attachment, or a TOML file.")],
    reach: Annotated[str, typer.Option(help="NEAR:FAR of the zone, from the swing axis.")] = ...,  # type: ignore[assignment]
    depth: Annotated[str | None, typer.Option(help="UPPER:LOWER of the zone, below the ground.")] = None,
    height: Annotated[
        str | None, typer.Option(help="LOW:HIGH over the body origin, in place of --depth.")
    ] = None,
    touch: Annotated[
        str, typer.Option(help="REACH:DEPTH (with --height REACH:HEIGHT) of the benchmark.")
    ] = ...,  # type: ignore[assignment]
    tolerance: Annotated[
        str | None, typer.Option(help="Half width to keep to with 95 %, such as 15mm.")
    ] = None,
    units: Annotated[str, typer.Option(help="m, mm, ft, ftUS or ftin.")] = "m",
    floor: Annotated[float, typer.Option(help="Floor angle held everywhere, deg; 0 flat.")] = 0.0,
    pitch: Annotated[float, typer.Option(help="Body pitch, deg, nose up positive.")] = 0.0,
    roll: Annotated[float, typer.Option(help="Body roll, deg, left side up positive.")] = 0.0,
    fore_boom: Annotated[float | None, typer.Option(help="Of a machine with one: its angle, deg.")] = None,
    columns: Annotated[int, typer.Option(help="Reaches in the zone.")] = 60,
    rows: Annotated[int, typer.Option(help="Depths in the zone.")] = 40,
    carried: Annotated[int, typer.Option(help="Moves since the touch, the height carried by laser.")] = 0,
    by: Annotated[
        str | None, typer.Option(help="gravity or encoder: a plain set in place of the profile's sensors.")
    ] = None,
    figure: Annotated[Several, typer.Option(help="With --by: noise_deg=0.05; once for each.")] = None,
    sensor: Annotated[Several, typer.Option(help="boom.zero_uncertainty_deg=0.03; once for each.")] = None,
    uncertainty: Annotated[
        Several, typer.Option(help="PARAMETER=NUMBER, mm or deg, such as boom_length=2; once for each.")
    ] = None,
    csv: Annotated[Path | None, typer.Option(help="Write a line a place into a new file.")] = None,
    svg: Annotated[Path | None, typer.Option(help="Draw the zone into a new file.")] = None,
    png: Annotated[Path | None, typer.Option(help="The same as PNG.")] = None,
    as_json: Json = False,
) -> None:
    """How far a readout may be off over a zone, and how good the sensors must be; no service needed.

    Exit code 1 if a tolerance is asked for that the sensors alone cannot meet.

    tipdatum budget crawler-14t digging-1500 --reach 3:8 --depth 0:3 --touch 6:0 --tolerance 15mm --svg zone.svg
    """
    from .budget_run import Words, new_files, run_budget, table_of, write_files  # noqa: PLC0415

    files = {"--csv": csv, "--svg": svg, "--png": png}
    words = Words(
        machine, attachment, reach, depth, height, touch, tolerance, units, floor, pitch, roll, fore_boom, columns, rows,
        carried, by, figure or [], sensor or [], uncertainty or [],
    )  # fmt: skip
    with refusals(as_json=as_json):
        new_files(files)
        with _progress(quiet=as_json) as tell:
            told, found = run_budget(words, progress=tell)
        written = write_files(told, files)
    if as_json:
        typer.echo(found.model_dump_json())
    else:
        Console().print(table_of(found))
        for path in written:
            typer.echo(f"written: {path}")
    if found.tolerance is not None and found.tolerance.beyond_sensors:
        raise typer.Exit(1)


@contextmanager
def _progress(*, quiet: bool) -> Iterator[Callable[[float], None]]:
    """A bar on standard error while it is reckoned; nothing for programs."""
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task("reckoning", total=1.0)

        def tell(share: float) -> None:
            bar.update(task, completed=share)

        yield tell
