"""Run every soak and print one object of named numbers; exit code 1 where one does not hold."""

import argparse
import json
import sys

from tests.endurance import live_memory


def main() -> int:
    """Print the numbers; exit code 1 if memory grew or a stream stopped."""
    parser = argparse.ArgumentParser(prog="python -m tests.endurance", description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0, help="of the soak of the live door")
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")
    asked = parser.parse_args()
    numbers, faults = live_memory.soak(asked.minutes * 60.0, lambda text: print(text, file=sys.stderr))
    if asked.json:
        sys.stdout.write(json.dumps(numbers, allow_nan=False) + "\n")
    else:
        for name, value in numbers.items():
            sys.stdout.write(f"{name:28} {value:12.3f}\n")
    for fault in faults:
        sys.stderr.write(f"missed: {fault}\n")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
