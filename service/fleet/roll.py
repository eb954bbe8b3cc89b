"""Which services are there and which of them keeps a job, as the broker tells it to all of them in one order."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Roll:
    """As one service, `me`, has heard it: who is there, and the last name that was put on each job.

    A name counts while its service is there. Two that claim a job at once both hear both claims in the same order: the
    last one keeps it and the other steps down.
    """

    me: str
    services: set[str] = field(default_factory=set)
    _named: dict[str, str] = field(default_factory=dict)

    def forget(self) -> None:
        """The broker is away: what is true is heard anew."""
        self.services.clear()
        self._named.clear()

    def hear_service(self, service: str, *, there: bool) -> None:
        """A service's presence."""
        if there:
            self.services.add(service)
        else:
            self.services.discard(service)

    def hear_keeper(self, job: str, service: str | None) -> None:
        """The name that was put on a job; None: taken off."""
        if service is None:
            self._named.pop(job, None)
        else:
            self._named[job] = service

    def keeper(self, job: str) -> str | None:
        """Who keeps a job; None where nobody does who is there."""
        named = self._named.get(job)
        return named if named in self.services else None

    def mine(self, job: str) -> bool:
        """Whether this service keeps it."""
        return self.keeper(job) == self.me
