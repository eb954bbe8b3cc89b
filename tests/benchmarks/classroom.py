"""How often the classroom page draws while a joint moves, and what it weighs, in the system's Chromium."""

from tests.benchmarks.browsing import browser_there, browsing
from tests.benchmarks.started import BenchmarkFailed, started

MOVED_MS = 3000
# A slider to and fro, a little further with every picture of the browser's, as a hand would.
_MOVE = """(moved_ms) => new Promise((done) => {
  const slider = document.querySelector("#slide-boom"), sheets = document.querySelector("#sheets");
  const drawn = () => Number(sheets.dataset.drawn);
  const [before, begun, at] = [drawn(), performance.now(), Number(slider.value)];
  const step = (now) => {
    slider.value = String(at + 8 * Math.sin((now - begun) / 400));
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    if (now - begun < moved_ms) requestAnimationFrame(step);
    else done((drawn() - before) / ((performance.now() - begun) / 1000));
  };
  requestAnimationFrame(step);
})"""


def classroom() -> dict[str, float]:
    """Drawn updates a second on a notebook's window, and kilobytes loaded at the start; nothing where no browser is."""
    if not browser_there("classroom"):
        return {}
    with started("tests.benchmarks.servers") as [port, *_], browsing(1366, 768) as looking:
        looking.page.goto(f"http://127.0.0.1:{port}/classroom")
        looking.page.wait_for_selector("html[data-ready=yes]", state="attached")
        kilobytes = sum(len(each.body()) for each in looking.got) / 1e3
        drawn_per_s = float(looking.page.evaluate(_MOVE, MOVED_MS))
    if not drawn_per_s > 0.0:
        raise BenchmarkFailed(f"expected a drawing that moves, found {drawn_per_s} updates a second")
    return {"classroom_drawn_per_s": drawn_per_s, "classroom_kb": kilobytes}
