"""Every parser on thousands of bad inputs; thousands of requests made up from the OpenAPI document: no 5xx, and no
answer that it does not describe.

The requests by schemathesis (`pip install schemathesis`): its examples, every boundary of every field, and what it
makes up, the same each time. Streams are left out: they have no end; tests/service/live holds them.
"""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

from tests.fuzzing.engine import fuzz as fuzz_parser
from tests.fuzzing.parsers import PARSERS
from tests.service.running import service

CHECKS = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_schema_conformance",
)
# What slows a flood is not what is looked for.
_UNSLOWED = {"TIPDATUM_REQUESTS_PER_S": "1000000", "TIPDATUM_REQUESTS_AT_ONCE": "1000000"}
Say = Callable[[str], None]


def parsers(cases: int, seed: int, say: Say) -> list[str]:
    """Every parser of bytes from outside on so many cases; what none may do, each by the case that begets it again."""
    found: list[str] = []
    for parser in PARSERS:
        outcome = fuzz_parser(parser, cases, seed)
        told = ", ".join(f"{code} {count}" for code, count in outcome.told.most_common(6))
        say(f"{parser.name}: {outcome.cases} cases, seed {seed}: {told}")
        found += map(str, outcome.findings)
    return found


def fuzz(examples: int, say: Say) -> list[str]:
    """What did not hold, with where to read of it; `examples` made up for each route beside the boundaries."""
    program = shutil.which("schemathesis")
    if program is None:
        return ["the fuzzing needs schemathesis: pip install schemathesis"]
    with tempfile.TemporaryDirectory() as folder:
        with patch.dict(os.environ, _UNSLOWED), service(Path(folder) / "data") as address:
            done = subprocess.run(
                [program, "run", f"{address}/openapi.json", "--phases", "examples,coverage,fuzzing",
                 "--checks", ",".join(CHECKS), "--max-examples", str(examples), "--continue-on-failure",
                 "--suppress-health-check", "all", "--generation-deterministic", "--exclude-path-regex", "/live$",
                 "--request-timeout", "120"],
                cwd=folder, capture_output=True, text=True, check=False,
            )  # fmt: skip
        say(done.stdout[-2000:])
        return [] if done.returncode == 0 else [f"schemathesis ended with {done.returncode}, see above"]
