"""What was sniffed, as tables for people: 100 columns where nobody looks, the terminal's own where somebody does."""

from collections.abc import Mapping
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table

PLAIN_WIDTH = 100


def print_sniffed(told: Mapping[str, Any], console: Console | None = None) -> None:
    """Frames by sender, their numbers, address claims, findings."""
    console = Console() if console is None else console
    if not console.is_terminal:
        console.width = PLAIN_WIDTH
    console.print(f"{told['of']}: {told['frames']} frames in {told['seconds']:.1f} s", highlight=False)
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
    table = Table(box=box.SIMPLE_HEAD, header_style="bold", pad_edge=False, padding=(0, 1))
    for column in columns:
        name, right = column.removesuffix(">"), column.endswith(">")
        table.add_column(
            name, justify="right" if right else "left", overflow="fold", no_wrap=name == "number"
        )
    return table


def _messages(told: Mapping[str, Any]) -> Table:
    table = _table("from", "PGN>", "message", "sensor", "frames>", "per s>", "gaps ms>", "bytes>", "late ms>")
    for row in told["messages"]:
        latency = row["latency_ms"]
        gaps = (
            ""
            if row["shortest_gap_ms"] is None
            else f"{row['shortest_gap_ms']:.1f}-{row['longest_gap_ms']:.1f}"
        )
        late = "" if latency is None else _span(latency[0], latency[1], ".1f")
        table.add_row(
            _sender(row), "" if row["pgn"] is None else str(row["pgn"]), row["message"], ", ".join(row["sensors"]),
            str(row["frames"]), "" if row["rate_hz"] is None else f"{row['rate_hz']:.1f}", gaps,
            ", ".join(row["lengths"]), late,
        )  # fmt: skip
    return table


def _numbers(told: Mapping[str, Any]) -> Table:
    table = _table("from", "message", "number", "least>", "greatest>", "last>", "unit", "not told", "merits")
    for row in told["messages"]:
        for name, each in row["numbers"].items():
            if each["unit"] == "ms" and row["latency_ms"] is not None and name == "latency":
                continue  # stands with the message
            last = "" if each["last"] in each["not_told"] else _figure(each["last"])
            table.add_row(
                _sender(row), row["message"], name, _figure(each["least"]), _figure(each["greatest"]),
                last, each["unit"], _counted(each["not_told"]), _merits(each["merits"]),
            )  # fmt: skip
    return table


def _counted(words: Mapping[str, int]) -> str:
    return ", ".join(f"{word} {count}" for word, count in words.items())


def _merits(words: Mapping[str, int]) -> str:
    return "good" if list(words) == ["good"] else _counted(words)


def _sender(row: Mapping[str, Any]) -> str:
    return row["identifier"] if row["source"] is None else f"0x{row['source']:02X}"


def _span(low: float, high: float, form: str) -> str:
    return f"{low:{form}}" if low == high else f"{low:{form}}-{high:{form}}"


def _figure(value: float | str | None) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    return f"{value:.0f}" if value == int(value) else f"{value:.3f}"
