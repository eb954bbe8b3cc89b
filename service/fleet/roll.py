"""Which services are there and which of them keeps a job, as the broker tells it to all of them in one order."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Roll:
    """As one service, `me`, has heard it: who is there, and the last name that was put on each job.

    A name counts while its service is there: until it is told that it went, or has not said for long that it is there.
    A broker that keeps on disk what it was told, and ended together with a service, never tells that this one went.

    Two that claim a job at once both hear both claims in the same order: the
    last one keeps it and the other steps down.
    """

    me: str
    services: dict[str, float] = field(default_factory=dict)
    _named: dict[str, str] = field(default_factory=dict)

    def forget(self) -> None:
        """The broker is away: what is true is heard anew."""
        self.services.clear()
        self._named.clear()

    def hear_service(self, service: str, *, there: bool, at: float = 0.0) -> None:
        """A service's presence, told `at` some second."""
        if there:
            self.services[service] = at
        else:
            self.services.pop(service, None)

    def silent(self, since: float) -> list[str]:
        """Those that are there no longer: of other services, all that have not said so since some second."""
        gone = [each for each, at in self.services.items() if at < since and each != self.me]
        for each in gone:
            del self.services[each]
        return gone

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
