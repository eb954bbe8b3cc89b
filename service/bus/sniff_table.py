"""What was sniffed, as tables for people: 80 columns where nobody looks, the terminal's own where somebody does."""

from collections.abc import Iterator, Mapping
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table

PLAIN_WIDTH = 80
_WHOLE = ("number", "does", "least", "greatest", "last")


def print_sniffed(told: Mapping[str, Any], console: Console | None = None) -> None:
    """What each sensor does, bytes that nobody knows, frames by sender, their numbers, address claims, findings."""
    console = Console() if console is None else console
    if not console.is_terminal:
        console.width = PLAIN_WIDTH
    console.print(f"{told['of']}: {told['frames']} frames in {told['seconds']:.1f} s", highlight=False)
    console.print(_sensors(told))
    for line in _bytes(told):
        console.print(line, highlight=False, markup=False)
    console.print()
    console.print(_messages(told))
    numbers = _numbers(told)
    if numbers.row_count:
        console.print()
        console.print(numbers)
    for claim in told["claims"]:
        console.print(
            f"source 0x{claim['source']:02X} is claimed by {claim['name']}: identity {claim['identity']}, "
            f"manufacturer code {claim['manufacturer']}, function {claim['function']}", highlight=False,
        )  # fmt: skip
    for finding in told["findings"]:
        advice = f"; {finding['advice']}" if finding["advice"] else ""
        console.print(
            f"{finding['code']}: {finding['where']}: {finding['found']}, expected {finding['expected']}{advice}",
            highlight=False, markup=False,
        )  # fmt: skip


def _table(*columns: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, header_style="bold", pad_edge=False, padding=(0, 1, 0, 0))
    for column in columns:
        name, right = column.removesuffix(">"), column.endswith(">")
        table.add_column(name, justify="right" if right else "left", overflow="fold", no_wrap=name in _WHOLE)
    return table


def _sensors(told: Mapping[str, Any]) -> Table:
    table = _table("sensor", "does", "its numbers", "message", "from")
    for line in told["sensors"]:
        unnamed = "not in the map" if line["map"] else "no map"
        table.add_row(
            line["sensor"] or unnamed, line["does"], line["numbers"], line["message"], _sender(line)
        )
    return table


def _bytes(told: Mapping[str, Any]) -> Iterator[str]:
    """A line of each message that no layout describes: FE stood still, 00..7F moved."""
    rows = [row for row in told["messages"] if row["bytes"]]
    if rows:
        yield "Bytes 1, 2, ... of what no layout describes, in hexadecimal; from..to where one moved:"
    for row in rows:
        name = "" if row["message"] == "unknown" else f"{row['message']} from "
        name = f"PGN {row['pgn']} from " if row["pgn"] is not None and not name else name
        cells = (
            f"{b['from']:02X}..{b['to']:02X}" if b["moved"] else f"{b['from']:02X}" for b in row["bytes"]
        )
        yield f"{name}{_sender(row)}: {' '.join(cells)}"


def _messages(told: Mapping[str, Any]) -> Table:
    table = _table("message", "from", "PGN>", "frames>", "per s>", "gaps ms>", "bytes>", "late ms>")
    for row in told["messages"]:
        latency = row["latency_ms"]
        gaps = (
            ""
            if row["shortest_gap_ms"] is None
            else f"{row['shortest_gap_ms']:.1f}-{row['longest_gap_ms']:.1f}"
        )
        late = "" if latency is None else _span(latency[0], latency[1], ".1f")
        table.add_row(
            row["message"], _sender(row), "" if row["pgn"] is None else str(row["pgn"]),
            str(row["frames"]), "" if row["rate_hz"] is None else f"{row['rate_hz']:.1f}", gaps,
            ", ".join(row["lengths"]), late,
        )  # fmt: skip
    return table


def _numbers(told: Mapping[str, Any]) -> Table:
    """Under the name of each message its numbers."""
    table = _table("number", "least>", "greatest>", "last>", "unit", "not told", "merits")
    for row in told["messages"]:
        named = False
        for name, each in row["numbers"].items():
            if each["unit"] == "ms" and row["latency_ms"] is not None and name == "latency":
                continue  # stands with the message
            if not named:
                table.add_row(f"{row['message']} {_sender(row)}", style="bold")
                named = True
            last = "" if each["last"] in each["not_told"] else _figure(each["last"])
            table.add_row(
                f" {name}", _figure(each["least"]), _figure(each["greatest"]), last, each["unit"],
                _counted(each["not_told"]), _merits(each["merits"]),
            )  # fmt: skip
    return table


def _counted(words: Mapping[str, int]) -> str:
    return ", ".join(f"{word} {count}" for word, count in words.items())


def _merits(words: Mapping[str, int]) -> str:
    return "good" if list(words) == ["good"] else _counted(words)


def _sender(row: Mapping[str, Any]) -> str:
    return row["identifier"] or "" if row["source"] is None else f"0x{row['source']:02X}"


def _span(low: float, high: float, form: str) -> str:
    return f"{low:{form}}" if low == high else f"{low:{form}}-{high:{form}}"


def _figure(value: float | str | None) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    return f"{value:.0f}" if value == int(value) else f"{value:.3f}"
