"""The command line: serve, demo, simulate, replay, pose, budget, study, record, backup, profile, access.

Exit codes: 0 done, 1 refused or faulty (the reasons are printed), 2 wrong use of the command.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table

from kinematics.errors import Fault, refuse

from .access_cli import app as access_app
from .backup_cli import register as register_backup
from .budget_cli import register as register_budget
from .bus_cli import register as register_bus
from .calibrate_cli import register as register_calibrate
from .exchange_cli import register as register_exchange
from .fit_cli import register as register_fit
from .record_cli import app as record_app
from .simulate_cli import register as register_simulation
from .study_cli import register as register_study
from .terminal import DATA, Data, Json, leave, refusals

app = typer.Typer(
    help="Cutting-edge elevation, cut and fill from joint angles, a benchmark and laser strikes. Advisory only.",
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False,
)  # fmt: skip
profile_app = typer.Typer(help="Measured machines and attachments as TOML files.", no_args_is_help=True)
app.add_typer(profile_app, name="profile")
app.add_typer(access_app, name="access")
app.add_typer(record_app, name="record")


def main() -> None:
    """Run the command line."""
    app()


@app.command()
def version() -> None:
    """The version of this package."""
    from importlib.metadata import version as installed  # noqa: PLC0415

    typer.echo(installed("tipdatum"))


@app.command()
def serve(
    data: Data = DATA,
    host: Annotated[
        str | None,
        typer.Option(help="Address to bind; beyond loopback only with --access.", show_default="127.0.0.1"),
    ] = None,
    port: Annotated[
        int | None, typer.Option(help="0 to 65535; 0 takes a free port.", show_default="8311")
    ] = None,
    access: Annotated[
        bool | None, typer.Option("--access", help="Let nobody in without a token; see tipdatum access.")
    ] = None,
    name: Annotated[
        list[str] | None, typer.Option(help="A name or address it is asked by; once for each.")
    ] = None,
    tls_certificate: Annotated[Path | None, typer.Option(help="PEM file of certificate and chain.")] = None,
    tls_key: Annotated[Path | None, typer.Option(help="PEM file of its private key.")] = None,
    proxy: Annotated[
        str | None,
        typer.Option(help="Address of the proxy that ends TLS; its X-Forwarded headers are believed."),
    ] = None,
    unencrypted: Annotated[
        bool | None, typer.Option("--unencrypted", help="Beyond loopback without TLS, knowingly.")
    ] = None,
) -> None:
    """Run the service until Ctrl-C and print its address; the rest comes from TIPDATUM_... in the environment."""
    from .serving import run  # noqa: PLC0415

    with refusals(as_json=False):
        run(
            data_folder=data, host=host, port=port, access=access, names=None if name is None else tuple(name),
            tls_certificate=tls_certificate, tls_key=tls_key, proxy=proxy, unencrypted=unencrypted,
        )  # fmt: skip


@app.command()
def demo(
    as_json: Json = False,
    keep: Annotated[Path | None, typer.Option(help="Leave the database in this new or empty folder.")] = None,
    fleet: Annotated[
        bool,
        typer.Option(
            "--fleet", help="Two services on a database and a broker, behind a proxy, and a machine at work."
        ),
    ] = False,
    check_it: Annotated[
        bool,
        typer.Option("--check", help="With --fleet: a round by itself, that says whether all of it held."),
    ] = False,
) -> None:
    """Play a shift at the village pump house against the real service and print its level book.

    With --fleet: start a fleet of real servers on this computer, to look at and to try, until Ctrl-C.
    """
    with refusals(as_json=as_json):
        refuse(_demo_faults(keep, as_json=as_json, fleet=fleet, check_it=check_it))
        if not fleet:
            from .demo import play  # noqa: PLC0415

            play(keep, as_json=as_json)
            return
        from .rehearsal.run import check_fleet, show_fleet  # noqa: PLC0415

        if not check_it:
            show_fleet()
        elif not check_fleet(as_json=as_json):
            raise typer.Exit(1)


def _demo_faults(keep: Path | None, *, as_json: bool, fleet: bool, check_it: bool) -> Iterator[Fault]:
    if check_it and not fleet:
        yield Fault("bad-option", "--check", "--check alone", "--fleet with it")
    if fleet and keep is not None:
        yield Fault("bad-option", "--keep", str(keep), "nothing of a fleet is kept")
    if fleet and as_json and not check_it:
        yield Fault("bad-option", "--json", "--fleet, which goes on until Ctrl-C", "--check with it")


@app.command()
def pose(
    machine: Annotated[str, typer.Argument(help="Id of a shipped machine, or a TOML file.")],
    attachment: Annotated[str, typer.Argument(help="Id of a shipped attachment, or a TOML file.")],
    angle: Annotated[
        list[str] | None, typer.Option(help="JOINT=DEGREES, e.g. boom=32.5; once for each joint.")
    ] = None,
    cylinder: Annotated[
        list[str] | None, typer.Option(help="JOINT=MILLIMETRES pin to pin, in place of an angle.")
    ] = None,
    pitch: Annotated[float, typer.Option(help="Body pitch, degrees, nose up positive.")] = ...,  # type: ignore[assignment]
    roll: Annotated[float, typer.Option(help="Body roll, degrees, left side up positive.")] = ...,  # type: ignore[assignment]
    units: Annotated[str, typer.Option(help="m, mm, ft, ftUS or ftin.")] = "m",
    as_json: Json = False,
) -> None:
    """Solve one pose: where the cutting edge is, its slope, the floor, the pins.

    tipdatum pose crawler-14t tilting-1800 --angle boom=30 --angle stick=-100 --angle bucket=60 --angle tilt=0
    --pitch 0.4 --roll -0.2
    """
    from .prompt import solve_at_prompt, table_of  # noqa: PLC0415

    with refusals(as_json=as_json):
        answer = solve_at_prompt(machine, attachment, angle or [], cylinder or [], pitch, roll, units)
        if as_json:
            typer.echo(answer.model_dump_json())
        else:
            Console().print(table_of(answer))


@profile_app.command("check")
def check(
    profile: Annotated[
        str, typer.Argument(help="A machine's or attachment's TOML file, or the id of a shipped one.")
    ],
    fits: Annotated[
        str | None, typer.Option(help="Shipped id or file of the other half: assemble the pair.")
    ] = None,
    as_json: Json = False,
) -> None:
    """The verdict on a profile: every fault with its place, or what was computed from it.

    What is allowed but hardly true is printed as doubtful and refuses nothing.
    """
    from .prompt import verdict_of  # noqa: PLC0415

    with refusals(as_json=as_json):
        verdict = verdict_of(profile, fits)
    if as_json:
        typer.echo(json.dumps(verdict, allow_nan=False))
    else:
        _print_verdict(profile, verdict)
    if not verdict["ok"]:
        raise typer.Exit(1)


def _print_verdict(name: str, verdict: dict[str, Any]) -> None:
    from .prompt import facts_table, place_in  # noqa: PLC0415

    for fault in verdict["faults"]:
        place = place_in(name, fault["line"], fault["path"])
        told = Fault(fault["code"], place, fault["found"], fault["expected"], fault["advice"])
        typer.echo(str(told), err=True)
    if verdict["ok"]:
        typer.echo(f"{name}: good")
        Console().print(facts_table(verdict["facts"]))
    for doubt in verdict["doubts"]:
        typer.echo(f"doubtful: {doubt}")


@profile_app.command("add")
def add(
    file: Annotated[Path, typer.Argument(help="A machine's or attachment's TOML file.")],
    to: Annotated[str, typer.Option(help="Address of a running service.")] = "http://127.0.0.1:8311",
    token_file: Annotated[
        Path | None, typer.Option(help="File with a builder's token; or put it into TIPDATUM_TOKEN.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Add a profile to a running service, as a new revision of its id."""
    from .prompt import add_to_service, token_for  # noqa: PLC0415

    with refusals(as_json=as_json):
        answer = add_to_service(file, to, token_for(token_file))
    if as_json:
        typer.echo(json.dumps(answer, allow_nan=False))
    else:
        typer.echo(f"added {answer['kind']} {answer['id']}, revision {answer['revision'][:12]}")
        for doubt in answer["doubts"]:
            typer.echo(f"doubtful: {doubt}")


@profile_app.command("schema")
def schema(kind: Annotated[str, typer.Argument(help="machine or attachment")]) -> None:
    """JSON Schema of a profile file."""
    from machine_profiles import json_schema  # noqa: PLC0415

    if kind not in {"machine", "attachment"}:
        leave((Fault("wrong-kind", "kind", repr(kind), "machine or attachment"),), as_json=False)
    typer.echo(json.dumps(json_schema(kind), indent=2))


@profile_app.command("list")
def list_profiles() -> None:
    """The profiles that ship with this package."""
    from machine_profiles import shipped  # noqa: PLC0415

    table = Table(show_header=True, box=None, header_style="bold")
    for column in ("kind", "id", "name"):
        table.add_column(column)
    for profile in shipped().values():
        table.add_row(profile.kind, profile.id, profile.name)
    Console().print(table)


@profile_app.command("show")
def show_profile(profile_id: Annotated[str, typer.Argument(help="Id of a shipped profile.")]) -> None:
    """Print a shipped profile's TOML, as a start for a machine of your own."""
    from machine_profiles import shipped  # noqa: PLC0415

    found = [profile for (_, name), profile in shipped().items() if name == profile_id]
    if not found:
        names = ", ".join(name for _, name in shipped())
        leave((Fault("unknown-profile", "profile_id", repr(profile_id), f"one of: {names}"),), as_json=False)
    sys.stdout.write(found[0].source_text)


register_backup(app)
register_budget(app)
register_bus(app)
register_calibrate(app)
register_exchange(profile_app)
register_fit(app)
register_simulation(app)
register_study(app)

if __name__ == "__main__":
    main()
