"""How soon the page at the seat is seen, how often it draws while the edge moves, and what it weighs."""

import math

import httpx

from tests.benchmarks.browsing import browser_there, browsing
from tests.benchmarks.live import begin
from tests.benchmarks.started import BenchmarkFailed, started

JOB = "pump-house"
HZ = 50.0
MOVED_MS = 3000
_DRAWN = """(moved_ms) => new Promise((done) => {
  const drawn = () => Number(document.querySelector("#box").dataset.drawn);
  const [before, begun] = [drawn(), performance.now()];
  setTimeout(() => done((drawn() - before) / ((performance.now() - begun) / 1000)), moved_ms);
})"""


def seat() -> dict[str, float]:
    """Drawn updates a second and first paint on a tablet's window, kilobytes loaded; nothing where no browser is."""
    if not browser_there("seat"):
        return {}
    from tests.browser.seat_room import Machine, edge_at  # noqa: PLC0415  with it the browser's helpers

    with started("tests.benchmarks.servers") as [port, *_]:
        address = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=address, timeout=30) as client:
            begin(client, JOB)
        machine = Machine(address, JOB, *(edge_at(1.0 + 0.2 * math.sin(0.1 * k)) for k in range(63)), hz=HZ)
        try:
            with browsing(1280, 800) as looking:
                page = looking.page
                page.goto(f"{address}/seat?job={JOB}")
                page.locator("#before-done").click()
                page.wait_for_selector("html[data-ready=yes]", state="attached")
                page.wait_for_selector("#box[data-drawn]", state="attached")
                kilobytes = looking.kilobytes(f"job={JOB}")
                painted_ms = looking.painted_ms()
                drawn_per_s = float(page.evaluate(_DRAWN, MOVED_MS))
        finally:
            machine.end()
    if not drawn_per_s > 0.0:
        raise BenchmarkFailed(f"expected a number that moves, found {drawn_per_s} updates a second")
    return {"seat_drawn_per_s": drawn_per_s, "seat_first_paint_ms": painted_ms, "seat_kb": kilobytes}
