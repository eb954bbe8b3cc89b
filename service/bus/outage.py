"""What is said of an outage: when it begins, what waits, when it is over, and when all of it was sent."""

from collections.abc import Callable

from .any_feeder import Say

TELL_EVERY_S = 30.0


class Outage:
    """Says so once each, and every 30 s while it lasts. `waiting` says how much waits, in words."""

    def __init__(self, say: Say, waiting: Callable[[], str]) -> None:
        self._say, self._waiting = say, waiting
        self._since: float | None = None
        self._back: float | None = None
        self._told = 0.0
        self.count = 0

    @property
    def lasts(self) -> bool:
        """Whether there is one."""
        return self._since is not None

    def away(self, why: str, now_s: float) -> None:
        """There is no service to be had, as seen now."""
        if self._since is None:
            self._since = self._told = now_s
            self._back = None
            self.count += 1
            self._say(f"Offline ({why}); readings wait.")
        elif now_s - self._told >= TELL_EVERY_S:
            self._told = now_s
            self._say(f"Offline for {now_s - self._since:.0f} s ({why}); {self._waiting()}.")

    def here(self, now_s: float) -> None:
        """A service answers."""
        if self._since is not None:
            self._say(f"Online again after {now_s - self._since:.0f} s; {self._waiting()}.")
            self._since, self._back = None, now_s

    def sent(self, now_s: float) -> None:
        """Nothing waits that was not sent."""
        if self._back is not None and self._since is None:
            self._say(f"Caught up in {now_s - self._back:.1f} s.")
            self._back = None
