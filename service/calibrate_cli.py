"""The command `calibrate`: zeros and dimensions from touches, rods and levels that a file describes."""

import json
from pathlib import Path
from typing import Annotated

import typer

from kinematics.errors import Refused

from .feeding_options import say, token_of
from .terminal import Json, leave


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(calibrate)


def calibrate(
    file: Annotated[Path, typer.Argument(help="TOML or JSON, as the body of POST /v1/calibrations.")],
    to: Annotated[
        str | None, typer.Option(help="Address of a running service: its profiles, in place of files here.")
    ] = None,
    write: Annotated[
        Path | None, typer.Option(help="Folder for the profiles' new texts, each a new file named by its id.")
    ] = None,
    apply: Annotated[bool, typer.Option("--apply", help="With --to: record it, as new revisions.")] = False,
    left_out: Annotated[
        list[str] | None,
        typer.Option(help="With --write or --apply: a suspect that was looked at; once for each."),
    ] = None,
    doubts_seen: Annotated[
        bool,
        typer.Option(
            "--doubts-seen", help="With --write or --apply: what is doubtful is to count all the same."
        ),
    ] = False,
    token_file: Annotated[
        Path | None,
        typer.Option(help="File with a token, of a builder's to apply; or put it into TIPDATUM_TOKEN."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Sensor zeros and dimensions from touches of a fixed point, staff readings and checks of single links.

    `machine` and `attachment` in the file are profile files beside it, or ids of shipped ones; with --to ids on record.
    Exit code 0: found; 1: with suspects or doubts, or postures that cannot tell the unknowns apart; 2: faulty.

    tipdatum calibrate touches.toml --write found
    """
    from .calibrate_run import Asked, lines, run_calibrate  # noqa: PLC0415

    try:
        asked = Asked(
            file, to, token_of(to, token_file), write, left_out or [], apply=apply, doubts_seen=doubts_seen
        )
        found = run_calibrate(asked, say=say)
    except Refused as refused:
        try:
            leave(refused.faults, as_json=as_json)
        except typer.Exit:
            raise typer.Exit(2) from None
    if as_json:
        typer.echo(json.dumps(found, allow_nan=False))
    else:
        for line in lines(found):
            typer.echo(line)
    if not found["ok"]:
        raise typer.Exit(1)
