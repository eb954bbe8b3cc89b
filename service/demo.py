"""`tipdatum demo`: the real service in a process of its own, an invented shift through HTTP, the book in print."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from kinematics.errors import Fault, Refused

from .shift import Shift, failed, play_shift


def play(keep: Path | None, *, as_json: bool) -> None:
    """Play the shift and print it; `keep` is where the database stays, a new or empty folder."""
    console = Console(stderr=as_json, highlight=False)
    with _folder(keep) as folder, _service(folder) as address:
        console.print(f"A service of its own at {address}, database in {folder}.")
        shift = play_shift(address, console.print)
    if as_json:
        sys.stdout.write(json.dumps(as_object(shift, keep), allow_nan=False) + "\n")
        return
    print_shift(console, shift)
    if keep is not None:
        console.print(f"\nThe database is in {keep}; look around with: tipdatum serve --data {keep}")


def as_object(shift: Shift, keep: Path | None) -> dict[str, Any]:
    """The shift for programs."""
    return {
        "job": shift.job, "depth_sheet": shift.targets, "readouts": shift.readouts, "strikes": shift.strikes,
        "level_book": shift.level_book, "misclosure_m": shift.level_book["misclosure"]["m"],
        "watched": shift.watched, "age_s": shift.age_s, "off_at_reading": shift.at_reading.as_json(),
        "off_when_told": shift.when_told.as_json(),
        "data": None if keep is None else str(keep),
    }  # fmt: skip


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    if keep is None:
        with tempfile.TemporaryDirectory(prefix="tipdatum-demo-") as folder:
            yield Path(folder)
        return
    if keep.exists() and (not keep.is_dir() or any(keep.iterdir())):
        raise Refused(
            [Fault("folder-not-empty", "--keep", str(keep), "a new or empty folder", "name another")]
        )
    keep.mkdir(parents=True, exist_ok=True)
    yield keep


@contextmanager
def _service(folder: Path) -> Iterator[str]:
    """A real service on a free port; yields its address and stops it afterwards."""
    # -P: a folder named "service" where the user stands must not shadow the package.
    command = [sys.executable, "-P", "-m", "service.cli", "serve", "--data", str(folder), "--port", "0"]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("TIPDATUM_")}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:  # noqa: S603
        try:
            stdout = process.stdout
            line = "" if stdout is None else stdout.readline()
            words = [word for word in line.split() if word.startswith("http://")]
            if not words:
                raise failed(line.strip() or "a service that did not start")
            yield words[0]
        finally:
            process.terminate()


def print_shift(console: Console, shift: Shift) -> None:
    """The depth sheet, the readouts and the level book on paper's terms."""
    console.print()
    console.print(_depth_sheet(shift.targets))
    console.print()
    console.print(_readouts(shift.readouts))
    console.print(_trusted(shift.readouts))
    console.print(_advice(shift.readouts))
    console.print()
    console.print(_level_book(shift.level_book))
    misclosure = shift.level_book["misclosure"]
    console.print(f"\nMisclosure on the slab (computed minus known): {misclosure['m'] * 1000:+.1f} mm")
    console.print(_truly(shift))
    for strike in shift.strikes:
        if strike["verdict"] == "turned down":
            reasons = "; ".join(f"{why['found']} (expected {why['expected']})" for why in strike["because"])
            console.print(f"Strike {strike['seq']} was turned down because: {reasons}")
    console.print(
        "\nDigging beside or below a slab can undermine it: an engineer decides. This shift does exactly that, on paper."
    )
    console.print(shift.readouts[-1]["advisory"])


def _truly(shift: Shift) -> str:
    """How far what was watched was from the truth, which only a simulated machine knows."""
    then, now = shift.at_reading, shift.when_told
    return (
        f"Watched {shift.watched} readouts; their oldest reading was {shift.age_s * 1000:.0f} ms old (median). "
        f"Height shown against the true one, when it was read: {then.mean_absolute * 1000:.1f} mm off in the mean, "
        f"{abs(then.greatest) * 1000:.0f} mm at most; by the time it was shown: {now.mean_absolute * 1000:.1f} mm in the "
        f"mean, {abs(now.greatest) * 1000:.0f} mm where the bucket moved fastest."
    )


def _table(title: str, *columns: str) -> Table:
    """A table without rules; words to the left, figures (columns that end in a unit or name a point) to the right."""
    table = Table(
        title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0)
    )
    for column in columns:
        words = column in {"", "target", "line", "layers", "remark"}
        table.add_column(column, justify="left" if words else "right", no_wrap=column != "layers")
    return table


def _depth_sheet(targets: list[dict[str, Any]]) -> Table:
    table = _table("Depth sheet (below the slab)", "target", "layers", "depth", "elevation", "tolerance")
    for target in targets:
        layers = " + ".join(f"{layer['name']} {layer['thickness']['shown']}" for layer in target["layers"])
        if target["overdig"]["m"]:
            layers += f" + overdig {target['overdig']['shown']}"
        if target["across_percent"]:
            layers += f", across {target['across_percent']:+g} %"
        shown = (target[key]["shown"] for key in ("depth_below", "elevation", "tolerance"))
        table.add_row(target["name"], layers, *shown)
    return table


def _readouts(readouts: list[dict[str, Any]]) -> Table:
    table = _table(
        "Readouts (m); on grade: + stands above the target, - below it",
        "target",
        "",
        "left",
        "centre",
        "right",
    )
    for told in readouts:
        edges = [told["points"][name] for name in ("left", "centre", "right")]
        compared = [_to_target(edge["cut_fill"]) for edge in edges]
        slope = (
            f"{told['cross_slope_percent']:+.1f} %",
            "wanted",
            f"{told['target_cross_slope_percent'] + 0.0:+.1f} %",
        )
        table.add_row(told["target"], "elevation", *(_bare(edge["elevation"]) for edge in edges))
        table.add_row("", "to target", *compared)
        table.add_row("", "may be off", *(_within(edge["cut_fill"]) for edge in edges))
        table.add_row("", "across", *slope)
        table.add_row()
    return table


def _trusted(readouts: list[dict[str, Any]]) -> str:
    """What the first readout's uncertainty is made of, and what would help."""
    trust = readouts[0]["trust"]
    parts = ", ".join(f"{part['part']} {_bare(part['within'])}" for part in trust["parts"])
    helps = "" if trust["would_help"] is None else f"; {trust['would_help']}"
    whole, target = _bare(trust["within"]), readouts[0]["target"]
    return (
        f"The {target} may be off by {whole} m, 95 times in 100 no further. Parts, which add up by squares: "
        f"{parts}{helps}"
    )


def _advice(readouts: list[dict[str, Any]]) -> str:
    """What one joint alone would do, of the first readout."""
    told = readouts[0]
    return (
        f"{told['target']}, where it still has {_to_target(told['points']['centre']['cut_fill'])}: "
        + "; ".join(each["words"] for each in told["corrections"] if each["joint"] == "boom")
    )


def _to_target(compared: dict[str, Any]) -> str:
    """cut 0.342, fill 0.120; within the tolerance with its sign: on grade -0.020 is 20 mm too deep."""
    if compared["word"] == "on grade":
        metres = round(compared["above_target"]["m"], 3) + 0.0
        return f"on grade {metres:+.3f}"
    return f"{compared['word']} {_bare(compared['amount'])}"


def _within(compared: dict[str, Any]) -> str:
    """Half the 95 % coverage interval of a cut or fill."""
    return "" if compared["within"] is None else _bare(compared["within"])


def _bare(length: dict[str, Any]) -> str:
    """A length without its unit, which the title names."""
    return str(length["shown"]).removesuffix(" m")


_LEVELLED = {"benchmark", "setup", "touch", "check touch", "strike", "turning point", "move"}


def _level_book(book: dict[str, Any]) -> Table:
    columns = ("no.", "line", "staff", "plane", "elevation", "misclosure", "remark")
    table = _table("Level book (m), lines that level something; plane: height of instrument", *columns)
    for row in book["rows"]:
        if row["what"] not in _LEVELLED:
            continue
        point = row["point"] if row["what"] in {"benchmark", "touch", "check touch", "turning point"} else ""
        shown = [
            row[key]["shown"] if row[key] else "" for key in ("staff", "plane", "elevation", "misclosure")
        ]
        remark = "" if row["status"] == "counts" else row["status"]
        table.add_row(str(row["seq"]), f"{row['what']} {point}".strip(), *shown, remark)
    return table
