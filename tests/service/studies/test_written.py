"""A part's file holds what was made, whichever way it went to the disk."""

import os
from pathlib import Path

import numpy as np
import pytest

from service.studies.folder import past_the_cache, write_all
from service.studies.parts import PAGE

SIZES = (0, 1, PAGE - 1, PAGE, PAGE + 1, 3 * PAGE, 100 * PAGE + 7)


def content_of(size: int, begins_at: int) -> memoryview:
    """So many bytes that begin so far behind a page's beginning."""
    space = np.random.default_rng(size).integers(0, 256, size + 2 * PAGE, dtype=np.uint8)
    start = -space.ctypes.data % PAGE + begins_at
    return space.data[start : start + size]


@pytest.mark.parametrize("begins_at", [0, 8])
@pytest.mark.parametrize("size", SIZES)
def test_to_the_byte(tmp_path: Path, size: int, begins_at: int) -> None:
    content = content_of(size, begins_at)
    write_all(tmp_path / "part", content)
    assert (tmp_path / "part").read_bytes() == content


def test_bytes_of_any_beginning(tmp_path: Path) -> None:
    """As a cluster sends them."""
    content = bytes(range(256)) * 100
    write_all(tmp_path / "part", content)
    assert (tmp_path / "part").read_bytes() == content


@pytest.mark.skipif(not hasattr(os, "O_DIRECT"), reason="this system has no O_DIRECT")
def test_whole_pages_go_straight_where_the_disk_takes_them(tmp_path: Path) -> None:
    path, content = tmp_path / "part", content_of(5 * PAGE + 9, 0)
    path.touch()
    straight = past_the_cache(path, content)
    assert straight in {0, 5 * PAGE}, "all whole pages, or a file system that knows no such way"
    assert path.read_bytes() == content[:straight]


def test_what_begins_inside_a_page_cannot(tmp_path: Path) -> None:
    path = tmp_path / "part"
    path.touch()
    assert past_the_cache(path, content_of(5 * PAGE, 8)) == 0
    assert path.read_bytes() == b""
