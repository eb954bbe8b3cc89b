"""`tipdatum access`: giving and taking access, on the database, while a service runs on it or not.

A token is printed once, alone on standard output; what is said about it goes to standard error.
"""

import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from kinematics.errors import Fault, Refused

from .access.caller import Role
from .access.holders import Holders, Holding, Issued
from .api.holders import HolderOut, holder_out
from .book.keeper import utc_now
from .settings import database_file, database_url
from .store import StoreError, open_database
from .terminal import DATA, Data, Json, refusals

app = typer.Typer(
    help="Who may do what: holders, their roles and their tokens. See /guide/access.", no_args_is_help=True
)
Name = Annotated[str, typer.Argument(help="Of a person, a tablet or a program; stands in every record.")]
Roles = Annotated[
    list[Role] | None,
    typer.Option("--role", help="viewer looks; operator records on assigned machines; builder adds profiles; "
                 "administrator does all. Once for each."),
]  # fmt: skip
MachineIds = Annotated[
    list[str] | None,
    typer.Option("--machine", help="Id of a machine the operator may record for; once for each."),
]
AllMachines = Annotated[
    bool, typer.Option("--all-machines", help="The operator may record for every machine.")
]
Days = Annotated[float, typer.Option(help="The token expires after so many days; 0: at once.")]
Never = Annotated[bool, typer.Option("--never-expires", help="The token does not expire by itself.")]
Out = Annotated[
    Path | None,
    typer.Option(help="Write the token into this file, for you alone to read, in place of printing it."),
]


@app.command()
def create(
    name: Name, role: Roles = None, machine: MachineIds = None, all_machines: AllMachines = False, days: Days = 180.0,
    never_expires: Never = False, out: Out = None, data: Data = DATA, as_json: Json = False,
) -> None:  # fmt: skip
    """Create a holder and print its token, once."""
    with _holders(data, as_json=as_json, new=True) as holders, _kept(out) as keep:
        machines = _machines(role or [], machine, every=all_machines)
        issued = holders.create(name, role or [], machines, None if never_expires else days)
        keep(issued)
        _print_token(issued, out, as_json=as_json)


@app.command("list")
def list_all(data: Data = DATA, as_json: Json = False) -> None:
    """Every holder there ever was: roles, machines, whether a token of it counts, until when."""
    with _holders(data, as_json=as_json) as holders:
        told = [_out(each) for each in holders.all()]
    if as_json:
        typer.echo(json.dumps({"holders": [each.model_dump() for each in told]}, allow_nan=False))
        return
    table = Table(show_header=True, box=None, header_style="bold")
    for column in ("name", "roles", "machines", "state", "until"):
        table.add_column(column, overflow="fold", no_wrap=column in {"state", "until"})
    for each in told:
        cells = (each.name, ", ".join(each.roles), _on(each), each.state, _until(each))
        table.add_row(*map(Text, cells))  # not as markup: a name is printed as it is
    Console().print(table)


@app.command()
def rotate(
    name: Name, days: Days = 180.0, never_expires: Never = False,
    overlap_hours: Annotated[float, typer.Option(help="How long the old token still counts.")] = 0.0,
    out: Out = None, data: Data = DATA, as_json: Json = False,
) -> None:  # fmt: skip
    """Print a new token for a holder; the old one ends, and pages signed in with it."""
    with _holders(data, as_json=as_json) as holders, _kept(out) as keep:
        issued = holders.rotate(name, None if never_expires else days, overlap_hours)
        keep(issued)
        _print_token(issued, out, as_json=as_json)


@app.command()
def expire(
    name: Name, days: Days = 0.0, never_expires: Never = False, data: Data = DATA, as_json: Json = False
) -> None:
    """Let a holder's token expire at another time: at once, unless --days says otherwise."""
    with _holders(data, as_json=as_json) as holders:
        _print_holding(holders.expire(name, None if never_expires else days), as_json=as_json)


@app.command()
def revoke(name: Name, data: Data = DATA, as_json: Json = False) -> None:
    """Revoke a holder for good: no token and no page of it counts from now on."""
    with _holders(data, as_json=as_json) as holders:
        _print_holding(holders.revoke(name), as_json=as_json)


@app.command()
def assign(
    name: Name, role: Roles = None, machine: MachineIds = None, all_machines: AllMachines = False, data: Data = DATA,
    as_json: Json = False,
) -> None:  # fmt: skip
    """Give a holder other roles and machines, in place of those it has; its token stays."""
    with _holders(data, as_json=as_json) as holders:
        _print_holding(
            holders.assign(name, role or [], _machines(role or [], machine, every=all_machines)),
            as_json=as_json,
        )


@contextmanager
def _holders(data: Data, *, as_json: bool, new: bool = False) -> Iterator[Holders]:
    """The holders in a data folder, which only `new` may make: a slip in its name must not show an empty list."""
    with refusals(as_json=as_json):
        try:
            if new:
                data.mkdir(mode=0o700, parents=True, exist_ok=True)
            elif not database_file(data).is_file():
                raise Refused([
                    Fault("no-database", "--data", f"no database in {data}", "the data folder of a service",
                          "the folder that tipdatum serve names")
                ])  # fmt: skip
            with open_database(database_url(data)) as database:
                yield Holders(database, utc_now)
        except StoreError as error:
            raise Refused([Fault("database", "--data", str(error), "a database of this release")]) from None
        except OSError as error:
            found = f"{data}: {error.strerror or error}"
            raise Refused([
                Fault("bad-setting", "--data", found, "a folder that can be made and written")
            ]) from None  # fmt: skip


def _machines(roles: list[Role], named: list[str] | None, *, every: bool) -> list[str] | None:
    """Assigned machines, None for every one. `Refused` where both are said, or nobody is there to record for them."""
    if every and roles and not {Role.OPERATOR, Role.ADMINISTRATOR}.intersection(roles):
        raise Refused([
            Fault("machines-useless", "--all-machines", ", ".join(roles), "the role of operator beside it")
        ])  # fmt: skip
    if every and named:
        raise Refused([
            Fault("bad-option", "--machine", ", ".join(named), "machines by name or --all-machines, not both")
        ])  # fmt: skip
    return None if every else (named or [])


def _out(holding: Holding) -> HolderOut:
    return holder_out(holding, utc_now())


@contextmanager
def _kept(out: Path | None) -> Iterator[Callable[[Issued], None]]:
    """Writes a token into `out`, which is made ready before: a token that cannot be kept must not be issued."""
    if out is None:
        yield lambda _issued: None
        return
    ready = out.with_name(f"{out.name}.new")
    try:
        descriptor = os.open(ready, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except OSError as error:
        found = f"{ready}: {error.strerror}"
        raise Refused([
            Fault("bad-option", "--out", found, "a file that can be made")
        ]) from None  # fmt: skip
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        try:
            yield lambda issued: print(issued.credential.text, file=file, flush=True)
            ready.replace(out)
        finally:
            ready.unlink(missing_ok=True)


def _print_token(issued: Issued, out: Path | None, *, as_json: bool) -> None:
    told = _out(issued.holding)
    if as_json:
        token = {"token_file": str(out)} if out else {"token": issued.credential.text}
        typer.echo(json.dumps({**told.model_dump(), **token}, allow_nan=False))
    elif out:
        typer.echo(f"{_sentence(told)} The token is in {out}.", err=True)
    else:
        typer.echo(f"{_sentence(told)} The token is shown this once:", err=True)
        typer.echo(issued.credential.text)


def _print_holding(holding: Holding, *, as_json: bool) -> None:
    told = _out(holding)
    fields: dict[str, Any] = told.model_dump()
    typer.echo(json.dumps(fields, allow_nan=False) if as_json else _sentence(told))


def _sentence(told: HolderOut) -> str:
    """anna: operator on crawler-14t; good until 2027-05-24."""
    return f"{told.name}: {', '.join(told.roles)}{' on ' if _on(told) else ''}{_on(told)}; {told.state} {_until(told)}."


def _on(told: HolderOut) -> str:
    return "every machine" if told.machines is None else ", ".join(told.machines)


def _until(told: HolderOut) -> str:
    if told.revoked_utc is not None:
        return f"since {told.revoked_utc[:16]}Z"
    return "without end" if told.expires_utc is None else f"until {told.expires_utc[:16]}Z"
