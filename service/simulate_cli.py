"""The command `simulate`: a described dig as the readings of a machine."""

from pathlib import Path
from typing import Annotated

import typer

from .feeding_options import (
    As,
    Broker,
    Job,
    Speed,
    SpoolFile,
    To,
    TokenFile,
    Unencrypted,
    by_broker,
    done,
    say,
    token_of,
)
from .terminal import Json, refusals


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(simulate)


def simulate(
    dig: Annotated[
        Path | None, typer.Argument(help="A described dig (TOML); left out, the pump house that ships.")
    ] = None,
    to: To = None,
    job: Job = None,
    log: Annotated[
        Path | None, typer.Option(help="Write readings: .ndjson, or CAN frames .log, .asc, .blf, .trc.")
    ] = None,
    bus: Annotated[
        str | None, typer.Option(help="Send CAN frames: INTERFACE:CHANNEL, such as socketcan:can0.")
    ] = None,
    truth: Annotated[Path | None, typer.Option(help="Write where the edge truly was (NDJSON).")] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Of the sensors' errors; else the description's.")
    ] = None,
    speed: Speed = 1.0,
    broker: Broker = None,
    spool: SpoolFile = None,
    name: As = None,
    unencrypted: Unencrypted = False,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """Simulate a machine on a described dig: its sensors' readings to a service, a bus or a log, and the truth.

    tipdatum simulate --log pit.ndjson --truth pit.truth.ndjson

    tipdatum simulate --to http://127.0.0.1:8311 --job pump-house
    """
    from .simulation.run import run_simulation  # noqa: PLC0415

    with refusals(as_json=as_json):
        told = run_simulation(
            dig, to=to, job=job, log=log, bus=bus, truth=truth, seed=seed, speed=speed, token=token_of(to, token_file),
            say=say, broker=by_broker(broker, spool, name, unencrypted=unencrypted),
        )  # fmt: skip
    done(told, as_json=as_json)
