"""The seat of a job whose log does not hold: no number, and in words why; asking again would not help."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import TYPE_CHECKING

import pytest

from tests.need import need_program
from tests.service.on_disk import FILE, two_jobs
from tests.service.running import service

from .conftest import _CHROMIUM
from .looking import axe, not_sideways
from .view import PHONE, View, Watch

if TYPE_CHECKING:
    from playwright.sync_api import Page


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a service whose pump house has an entry that was altered."""
    need_program(*_CHROMIUM)
    with ThreadPoolExecutor(1) as crew:  # the browser may run on this one
        folder = crew.submit(two_jobs, tmp_path_factory.mktemp("damaged") / "data", ("slab",)).result()
    with closing(sqlite3.connect(folder / FILE)) as raw, raw:
        raw.execute("UPDATE event SET payload = replace(payload, '100.0', '101.0') WHERE seq = 2")
    with service(folder) as address:
        yield address


@pytest.mark.parametrize("page", [View(PHONE)], indirect=True, ids=str)
def test_it_is_told_in_words_and_shows_no_number(page: Page, watch: Watch) -> None:
    watch.expect("status of 500")
    page.goto("/seat?job=pump-house")
    trouble = page.locator("#trouble")
    trouble.get_by_text("entry 2 of job").wait_for()
    words = trouble.inner_text()
    assert "from no other a number is computed" in words
    assert "bring back the last good backup" in words
    assert "tries again by itself" not in words
    assert page.locator("#box").is_hidden()
    axe(page)
    not_sideways(page)
