"""What `tipdatum access` does, apart from reading flags: the database opened, tokens kept, holders told."""

import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from kinematics.errors import Fault, Refused

from .access.answers import HolderOut, holder_out
from .access.caller import Role
from .access.holders import Holders, Holding, Issued
from .settings import DATABASE, database_file, database_url, shared_database
from .store import StoreError, open_database, utc_now
from .terminal import DATA, refusals


@contextmanager
def holders_in(data: Path, *, as_json: bool, new: bool = False) -> Iterator[Holders]:
    """The holders in the shared database, or in a data folder, which only `new` may make: a slip in its name must not
    show an empty list."""
    with refusals(as_json=as_json):
        shared = shared_database(data, DATA)
        try:
            if shared is not None:
                pass
            elif new:
                data.mkdir(mode=0o700, parents=True, exist_ok=True)
            elif not database_file(data).is_file():
                raise Refused([
                    Fault("no-database", "--data", f"no database in {data}", "the data folder of a service",
                          "the folder that tipdatum serve names")
                ])  # fmt: skip
            with open_database(shared or database_url(data)) as database:
                yield Holders(database, utc_now)
        except StoreError as error:
            where = "--data" if shared is None else DATABASE
            raise Refused([Fault("database", where, str(error), "a database of this release")]) from None
        except OSError as error:
            found = f"{data}: {error.strerror or error}"
            raise Refused([
                Fault("bad-setting", "--data", found, "a folder that can be made and written")
            ]) from None  # fmt: skip


def lasting(days: float | None, usual: float, *, never: bool) -> float | None:
    """Days until a token expires, None for never. `Refused` where both are said."""
    if never and days is not None:
        raise Refused([Fault("bad-option", "--never-expires", f"--days {days:g} beside it", "one of them")])
    return None if never else usual if days is None else days


def assigned(roles: list[Role], named: list[str] | None, *, every: bool) -> list[str] | None:
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
def kept(out: Path | None) -> Iterator[Callable[[Issued], None]]:
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


def print_token(issued: Issued, out: Path | None, *, as_json: bool) -> None:
    told = _out(issued.holding)
    if as_json:
        token = {"token_file": str(out)} if out else {"token": issued.credential.text}
        typer.echo(json.dumps({**told.model_dump(), **token}, allow_nan=False))
    elif out:
        typer.echo(f"{_sentence(told)} The token is in {out}.", err=True)
    else:
        typer.echo(f"{_sentence(told)} The token is shown this once:", err=True)
        typer.echo(issued.credential.text)


def print_holding(holding: Holding, *, as_json: bool) -> None:
    told = _out(holding)
    typer.echo(json.dumps(told.model_dump(), allow_nan=False) if as_json else _sentence(told))


def _sentence(told: HolderOut) -> str:
    """anna: operator on crawler-14t; good until 2027-05-24."""
    return f"{told.name}: {', '.join(told.roles)}{' on ' if _on(told) else ''}{_on(told)}; {told.state} {_until(told)}."


def _on(told: HolderOut) -> str:
    return "every machine" if told.machines is None else ", ".join(told.machines)


def _until(told: HolderOut) -> str:
    if told.revoked_utc is not None:
        return f"since {told.revoked_utc[:16]}Z"
    return "without end" if told.expires_utc is None else f"until {told.expires_utc[:16]}Z"


def print_all(holders: Holders, *, as_json: bool) -> None:
    """Every holder there ever was."""
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
