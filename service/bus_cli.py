"""The commands on logs and buses."""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from .feeding_options import (
    As,
    Broker,
    Speed,
    SpoolFile,
    TokenFile,
    Unencrypted,
    by_broker,
    done,
    say,
    token_of,
)
from .terminal import Json, refusals


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(replay)
    app.command()(sniff)
    app.command()(feed)


def replay(
    log: Annotated[
        Path, typer.Argument(help="Readings as .ndjson or .csv, or CAN frames .log, .asc, .blf, .trc.")
    ],
    to: Annotated[str, typer.Option(help="Address of a running service.")] = "http://127.0.0.1:8311",
    job: Annotated[str, typer.Option(help="The job to feed.")] = ...,  # type: ignore[assignment]
    speed: Speed = 1.0,
    map_file: Annotated[
        Path | None, typer.Option("--map", help="Which numbers are which sensor; else LOG.map.toml.")
    ] = None,
    as_far: Annotated[
        bool, typer.Option("--as-far-as-it-goes", help="Of a broken log feed what comes before the break.")
    ] = False,
    partly: Annotated[
        bool, typer.Option("--partly", help="The map need not name every sensor of the machine.")
    ] = False,
    broker: Broker = None,
    spool: SpoolFile = None,
    name: As = None,
    unencrypted: Unencrypted = False,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """Feed the readings of a log to a job, at their own pace or a multiple."""
    from .bus.run import run_replay  # noqa: PLC0415

    with refusals(as_json=as_json):
        told = run_replay(
            log, to=to, job=job, map_file=map_file, speed=speed, token=token_of(to, token_file),
            say=say, as_far=as_far, partly=partly, broker=by_broker(broker, spool, name, unencrypted=unencrypted),
        )  # fmt: skip
    done(told, as_json=as_json)


Bitrate = Annotated[
    int | None,
    typer.Option(help="Bits a second, as 250000 or 500000 of J1939; left out, as the interface is set up."),
]


def sniff(
    log: Annotated[
        Path | None, typer.Argument(help="CAN frames .log, .asc, .blf, .trc; left out, a live bus.")
    ] = None,
    bus: Annotated[
        str | None, typer.Option(help="Listen on INTERFACE:CHANNEL, such as socketcan:can0; nothing is sent.")
    ] = None,
    seconds: Annotated[float, typer.Option(help="How long to listen.")] = 10.0,
    bitrate: Bitrate = None,
    dbc: Annotated[
        list[Path] | None, typer.Option(help="A DBC file that names messages; once for each.")
    ] = None,
    map_file: Annotated[
        Path | None, typer.Option("--map", help="A sensor map: which sensor each message is.")
    ] = None,
    draft: Annotated[
        Path | None, typer.Option(help="Write a first sensor map, names to be filled in, of what was seen.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show what each sensor on a bus or in a log does, then senders, messages, rates, numbers, and what is wrong.

    tipdatum sniff --bus socketcan:can0 --draft rig.toml

    tipdatum sniff pit.log --map rig.toml
    """
    from .bus.sniff_run import run_sniff  # noqa: PLC0415
    from .bus.sniff_table import print_sniffed  # noqa: PLC0415

    with refusals(as_json=as_json):
        told = run_sniff(
            log, bus=bus, seconds=seconds, bitrate=bitrate, dbc=dbc or (), map_file=map_file, draft=draft, say=say
        )  # fmt: skip
    if as_json:
        typer.echo(json.dumps(told, allow_nan=False))
    elif told["ok"]:
        print_sniffed(told)
    if not told["ok"]:
        raise typer.Exit(1)


def feed(
    lines: Annotated[
        str | None, typer.Argument(metavar="[-]", help="- reads readings from standard input, one a line.")
    ] = None,
    bus: Annotated[
        str | None, typer.Option(help="Listen on INTERFACE:CHANNEL, such as socketcan:can0; nothing is sent.")
    ] = None,
    map_file: Annotated[
        Path | None, typer.Option("--map", help="The sensor map: which frames are which sensor.")
    ] = None,
    to: Annotated[str, typer.Option(help="Address of a running service.")] = "http://127.0.0.1:8311",
    job: Annotated[str, typer.Option(help="The job to feed.")] = ...,  # type: ignore[assignment]
    seconds: Annotated[float | None, typer.Option(help="How long; left out, until Ctrl-C.")] = None,
    bitrate: Bitrate = None,
    partly: Annotated[
        bool, typer.Option("--partly", help="Something else feeds the sensors that the map leaves out.")
    ] = False,
    broker: Broker = None,
    spool: SpoolFile = None,
    name: As = None,
    unencrypted: Unencrypted = False,
    token_file: TokenFile = None,
    as_json: Json = False,
) -> None:
    """Feed a live bus to a job until Ctrl-C, and say what is wrong on the bus as it is noticed.

    tipdatum feed --bus socketcan:can0 --map rig.toml --to http://127.0.0.1:8311 --job pump-house

    tipdatum feed - --job pump-house
    """
    from .bus.feed import run_feed  # noqa: PLC0415

    if lines not in (None, "-"):
        raise typer.BadParameter("- or nothing", param_hint="[-]")
    with refusals(as_json=as_json):
        told = run_feed(
            bus, map_file=map_file, to=to, job=job, seconds=seconds, bitrate=bitrate, partly=partly,
            token=token_of(to, token_file), say=say, lines=None if lines is None else sys.stdin,
            broker=by_broker(broker, spool, name, unencrypted=unencrypted),
        )  # fmt: skip
    done(told, as_json=as_json)
