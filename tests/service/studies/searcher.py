"""A search to be killed: ``python -m tests.service.studies.searcher FOLDER`` says a line after each generation."""

import os
import sys
from pathlib import Path

from service.studies.synthesis_file import begin, search_into

from .test_synthesis_file import asked


def say(done: int, _of: int) -> None:
    """One line, at once, in one write."""
    os.write(1, f"search {done}\n".encode())


if __name__ == "__main__":
    begin(asked(), Path(sys.argv[1]), resume=True)
    search_into(asked(), Path(sys.argv[1]), tell=say, stop=lambda: False)
