"""The commands on logs and buses."""

from pathlib import Path
from typing import Annotated

import typer

from .feeding_options import Speed, TokenFile, done, say, token_of
from .terminal import Json, refusals


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(replay)


def replay(
    log: Annotated[Path, typer.Argument(help="Readings as .ndjson, or CAN frames .log, .asc, .blf, .trc.")],
    to: Annotated[str, typer.Option(help="Address of a running service.")] = "http://127.0.0.1:8311",
    job: Annotated[str, typer.Option(help="The job to feed.")] = ...,  # type: ignore[assignment]
    speed: Speed = 1.0,
    map_file: Annotated[
        Path | None, typer.Option("--map", help="Which source address is which sensor; else LOG.map.toml.")
    ] = None,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """Feed the readings of a log to a job, at their own pace or a multiple."""
    from .bus.run import run_replay  # noqa: PLC0415

    with refusals(as_json=as_json):
        told = run_replay(
            log, to=to, job=job, map_file=map_file, speed=speed, token=token_of(to, token_file),
            say=say,
        )  # fmt: skip
    done(told, as_json=as_json)
