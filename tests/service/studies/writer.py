"""A study to be killed: ``python -m tests.service.studies.writer FOLDER`` says "part N" for each that is finished."""

import os
import sys
from pathlib import Path

from service.studies.runner import Threads, run

from .making import planned


def say(done: int, _of: int) -> None:
    """One line, at once, in one write."""
    os.write(1, f"part {done}\n".encode())


if __name__ == "__main__":
    run(planned(), Path(sys.argv[1]), Threads(1), resume=True, tell=say)
