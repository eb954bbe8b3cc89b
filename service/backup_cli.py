"""The commands on a whole data folder: kept in a file, brought back, held against itself."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .terminal import DATA, Data, Json, refusals

if TYPE_CHECKING:
    from .backup_run import Kept

File = Annotated[Path, typer.Argument(help="The backup, one file.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(backup)
    app.command()(restore)
    app.command()(verify)


def backup(to: File, data: Data = DATA, as_json: Json = False) -> None:
    """Keep a data folder in a new file, while it is served or not. Keep that file on another disk.

    tipdatum backup /media/stick/pump-house-monday.zip --data our-data
    """
    from .backup_run import back_up  # noqa: PLC0415

    with refusals(as_json=as_json):
        kept = back_up(data, to, _saying(as_json=as_json))
    _done(kept, f"kept in {to}", as_json=as_json)


def restore(file: File, data: Data = DATA, as_json: Json = False) -> None:
    """Bring a backup back into a new or empty folder; nothing is overwritten.

    tipdatum restore /media/stick/pump-house-monday.zip --data our-data-again
    """
    from .backup_run import restore as restored  # noqa: PLC0415

    with refusals(as_json=as_json):
        kept = restored(file, data, _saying(as_json=as_json))
    _done(kept, f"brought back to {data}", as_json=as_json)


def verify(data: Data = DATA, as_json: Json = False) -> None:
    """Hold a data folder against itself: its file, the log of every job, finished parts of studies.

    Exit code 0: holds. 1: something does not, or it cannot be read.

    tipdatum verify --data our-data
    """
    from .backup_run import verify as verified  # noqa: PLC0415

    with refusals(as_json=as_json):
        held = verified(data, _saying(as_json=as_json))
    broken = [
        f"{each.job}: broken at entry {each.broken.seq} ({each.broken.code}): expected {each.broken.expected}, "
        f"found {each.broken.found}"
        for each in held.jobs if each.broken is not None
    ]  # fmt: skip
    wrong = [*held.flaws, *broken, *held.studies]
    if as_json:
        told = {"ok": held.ok, "jobs": len(held.jobs), "wrong": wrong}
        typer.echo(json.dumps(told, allow_nan=False))
    else:
        for each in wrong:
            typer.echo(each, err=True)
        if held.ok:
            typer.echo(f"holds: {len(held.jobs)} jobs")
    if not held.ok:
        raise typer.Exit(1)


def _saying(*, as_json: bool) -> Any:
    def say(words: str) -> None:
        if not as_json:
            typer.echo(f"{words} ...", err=True)

    return say


def _done(kept: "Kept", words: str, *, as_json: bool) -> None:
    if as_json:
        told = {
            "ok": True,
            "made_utc": kept.made_utc,
            "files": kept.files,
            "bytes": kept.size,
            "heads": dict(kept.heads),
        }
        typer.echo(json.dumps(told, allow_nan=False))
    else:
        typer.echo(
            f"{words}: {len(kept.heads)} jobs, {kept.files} files, {kept.size / 1e6:.1f} MB, as of {kept.made_utc}"
        )
