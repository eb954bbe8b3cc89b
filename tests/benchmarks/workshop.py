"""How soon the workshop is seen, how soon its sheet is there, and what it weighs, in the system's Chromium."""

import time

from tests.benchmarks.browsing import browser_there, browsing
from tests.benchmarks.started import started


def workshop() -> dict[str, float]:
    """First paint, and the sheet there to be filled in (ms), on a tablet; kilobytes; nothing without a browser."""
    if not browser_there("workshop"):
        return {}
    with started("tests.benchmarks.servers") as [port, *_], browsing(1280, 800) as looking:
        begun = time.perf_counter()
        looking.page.goto(f"http://127.0.0.1:{port}/workshop")
        looking.page.wait_for_selector("html[data-ready=yes]", state="attached")
        looking.page.wait_for_selector("#sheet .steps")
        there_ms = 1e3 * (time.perf_counter() - begun)
        return {
            "workshop_first_paint_ms": looking.painted_ms(), "workshop_sheet_ms": there_ms,
            "workshop_kb": looking.kilobytes("/workshop"),
        }  # fmt: skip
