"""Lines of standard input, fed to a job."""

import io
import json
import subprocess
from collections.abc import Iterator

import pytest

from service.bus.feed import LONGEST_LINE, LineSource
from tests.service.running import COMMAND, service

from .feeding import dug, quiet_sensors
from .units import waited_for


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with service(tmp_path_factory.mktemp("data")) as found:
        yield found


def test_seconds_end_it_and_lines_are_fed(address: str) -> None:
    dug(address, "lines")
    text = "\n".join([
        '{"sensor": "boom", "deg": 21.5}', "", "{", '{"sensor": "stick", "deg": -60.0, "at_s": 12.0}',
        '{"sensor": "stick", "deg": "much"}', '{"sensor": "body", "deg": [0.5, -0.25]}',
    ])  # fmt: skip
    done = subprocess.run(
        [*COMMAND, "feed", "-", "--to", address, "--job", "lines", "--json"], input=text, capture_output=True, text=True,
        timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["lines"], told["bad_lines"], told["sent"]) == (5, 3, 2)
    assert "line 5" in done.stderr, "the last bad one; at most one a second is told"
    assert quiet_sensors(address, "lines")["boom"]["last"] is not None


def test_a_line_dated_by_its_sender_is_refused_with_the_reason() -> None:
    with LineSource(io.StringIO('{"sensor": "stick", "deg": -60.0, "at_s": 12.0}\n'), lambda: 5.0) as source:
        waited_for(lambda: source._ended)
        assert source.take(1.0) == []
    [fault] = source.tell(5.0)
    assert fault.where == "line 1"
    assert "the service knows this program's clock" in fault.expected
    assert source.over()


def test_a_line_without_end_is_no_memory_hole() -> None:
    with LineSource(io.StringIO("x" * (3 * LONGEST_LINE)), lambda: 5.0) as source:
        waited_for(lambda: source._ended)
        assert source.take(1.0) == []
    assert (source.lines, source.bad) == (3, 3)
