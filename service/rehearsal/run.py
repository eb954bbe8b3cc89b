"""What `tipdatum demo --fleet` does, apart from reading flags: a fleet to look at and to try, or a round by itself."""

import json
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any, NoReturn

import httpx
from rich.console import Console
from rich.table import Table

from kinematics.errors import Refused
from service.broker.address import parse
from service.bus.ways import Through, feeder_to
from service.shift import JOB
from service.simulation.dig import shipped_dig
from service.simulation.motion import plan
from service.simulation.play import play

from .fleet import Fleet, Say, fleet
from .keeping_up import KeepingUp
from .programs import programs
from .round import play_round
from .servers import MACHINE

PATIENCE_S = 30.0
_PAUSE_S = 5.0


def check_fleet(*, as_json: bool) -> bool:
    """A round by itself, printed; whether every check holds. Raises `Refused`."""
    found = programs()
    console = Console(stderr=as_json, highlight=False, markup=False)
    with _ended_as_by_ctrl_c(), fleet(found, console.print) as made:
        told = play_round(made, console.print)
    if as_json:
        sys.stdout.write(json.dumps(told, allow_nan=False) + "\n")
    else:
        _print_checks(console, told)
    return bool(told["ok"])


def show_fleet() -> None:
    """A fleet with a machine at work, until Ctrl-C. Raises `Refused`."""
    found = programs()
    console = Console(highlight=False, markup=False, soft_wrap=True)
    try:
        with _ended_as_by_ctrl_c(), fleet(found, console.print) as made, KeepingUp(made, console.print):
            _say_what_is_there(console, made)
            _dig_on(made, console.print)
    except KeyboardInterrupt:
        console.print("Ended; what was made is removed.")


def _dig_on(made: Fleet, say: Say) -> NoReturn:
    """The pump house, again and again."""
    dig = shipped_dig()
    course = plan(dig)
    by = Through(parse(made.machines_broker, "the broker"), MACHINE, made.folder / "machine")
    while True:
        try:
            with (
                httpx.Client(base_url=made.address, timeout=PATIENCE_S, trust_env=False) as client,
                feeder_to(made.address, JOB, None, say, by) as feeder,
            ):
                play(dig, client, feeder, JOB, say, course=course)
                feeder.settle()
        except Refused as refused:  # somebody tries what happens
            for fault in refused.faults:
                say(str(fault))
        say("The dig begins anew.")
        time.sleep(_PAUSE_S)


def _say_what_is_there(console: Console, made: Fleet) -> None:
    one, other = made.replicas
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for name, port, pid in (
        (one.name, one.port, one.pid), (other.name, other.port, other.pid),
        ("the broker", made.broker.port, made.broker.pid), ("the database", made.database.port, made.database.pid),
        ("the proxy", made.proxy.port, made.proxy.pid),
    ):  # fmt: skip
        table.add_row(name, f"127.0.0.1:{port}", f"process {pid}")
    console.print(f"\nLook here: {made.address}/seat?job={JOB}\n")
    console.print("Each request and each stream goes to one of the services in turn. What runs:\n")
    console.print(table)
    console.print(
        f"\nTry, and watch the seat (what ends is started again after {KeepingUp.after_s:g} s, as another process):\n"
    )
    tries = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for command, words in (
        (
            f"kill -9 {one.pid}",
            "a service goes; within some ten seconds the other asks for the readings, none is lost",
        ),
        (f"kill -STOP {other.pid}", f"one hangs; kill -CONT {other.pid} lets it go on"),
        (
            f"kill {made.broker.pid}",
            "readings wait at the machine; the number is blank until they are caught up with",
        ),
        (f"kill {made.database.pid}", "nothing can be recorded, and says so; what is shown goes on"),
    ):
        tries.add_row(command, words)
    console.print(tries)
    console.print(
        "\nA touch that comes meanwhile is refused and said here. Ctrl-C ends all and removes it.\n"
    )


def _print_checks(console: Console, told: dict[str, Any]) -> None:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for each in told["checks"]:
        found = "" if each["ok"] else f"found {each['found']}, expected {each['expected']}"
        table.add_row("holds" if each["ok"] else "FAILS", each["check"], found)
    console.print()
    console.print(table)
    blank = told["blank_s"]
    console.print(
        f"\n{told['entries']} entries, {told['sent']} readings in {told['frames_spooled']} frames, of which "
        f"{told['frames_repeated']} were sent again. Without a number: {blank['service_killed']:.1f} s after a service "
        f"was killed, {blank['broker_stopped']:.1f} s after the broker was stopped."
    )  # fmt: skip


@contextmanager
def _ended_as_by_ctrl_c() -> Iterator[None]:
    """Being told to end is Ctrl-C too: all that runs is stopped, and its folder removed."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(_: int, __: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
