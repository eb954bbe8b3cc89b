"""Run what takes minutes and print one object of named numbers; exit code 1 where something does not hold.

`soak`: the memory of the live door. `load`: how many machines one service holds, and a fleet of two. `fuzz`: bad input to
every parser, requests made up from the OpenAPI document.
`long-run`: an hour of all that happens to a service, and nothing lost or wrong.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

from tests.endurance import fleet_load, fuzz, live_memory, load
from tests.endurance.long_run.run import long_run

PARTS = ("soak", "load", "fuzz", "long-run")
MINUTES = {"soak": 10.0, "long-run": 60.0}


def main() -> int:
    """Print the numbers; exit code 1 if memory grew, a stream stopped, an answer was not as described, an entry was
    lost, or a number was wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.endurance", description=__doc__)
    parser.add_argument("--only", choices=PARTS, help="one part; else all")
    parser.add_argument(
        "--minutes", type=float, help="of the soak of the live door (10) and the long run (60)"
    )
    parser.add_argument(
        "--seconds", type=float, default=load.SECONDS, help="of the load, each count of machines"
    )
    parser.add_argument("--cases", type=int, default=3000, help="of the fuzzing, for each parser")
    parser.add_argument("--seed", type=int, default=0, help="of the fuzzing of parsers")
    parser.add_argument("--examples", type=int, default=100, help="of the fuzzing, for each route")
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")
    asked = parser.parse_args()
    numbers: dict[str, float] = {}
    faults: list[str] = []
    if asked.only in (None, "soak"):
        numbers, faults = live_memory.soak(60.0 * (asked.minutes or MINUTES["soak"]), _say)
    if asked.only in (None, "load"):
        with tempfile.TemporaryDirectory() as folder:
            for name, form in (
                ("embedded", load.embedded(Path(folder))),
                ("fleet", fleet_load.through_broker(_say)),
            ):
                numbers |= load.numbers(name, load.load(form, name, load.MACHINES, asked.seconds, _say))
    if asked.only in (None, "fuzz"):
        faults += fuzz.parsers(asked.cases, asked.seed, _say)
        faults += fuzz.fuzz(asked.examples, _say)
    if asked.only in (None, "long-run"):
        found, wrong = long_run(60.0 * (asked.minutes or MINUTES["long-run"]), _say)
        numbers, faults = numbers | found, faults + wrong
    if asked.json:
        sys.stdout.write(json.dumps(numbers, allow_nan=False) + "\n")
    else:
        for name, value in numbers.items():
            sys.stdout.write(f"{name:28} {value:12.3f}\n")
    for fault in faults:
        sys.stderr.write(f"missed: {fault}\n")
    return 1 if faults else 0


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")


if __name__ == "__main__":
    raise SystemExit(main())
