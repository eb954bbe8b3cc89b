"""The last seconds of a job's sensors, wherever they are: here, or in the service that keeps the job at a broker."""

from typing import Annotated, cast

from fastapi import Depends
from starlette.requests import HTTPConnection

from service.fleet.fleet import Fleet
from service.live.feed import Feed

from .live import HubDep, feed_of


async def fleet_of(connection: HTTPConnection) -> Fleet | None:
    """The service at its broker, if it has one."""
    return cast(Fleet | None, connection.app.state.fleet)


FleetDep = Annotated[Fleet | None, Depends(fleet_of)]


class Seconds:
    """For a route that names the job."""

    def __init__(self, hub: HubDep, fleet: FleetDep) -> None:
        self._hub, self._fleet = hub, fleet

    async def __call__(self, job: str) -> tuple[Feed, float]:
        """A job's feed, with the last seconds of its sensors wherever they are, and now by its clock.

        Raises the `Problem` "unknown-job", and `Refused` where the service that has them does not answer.
        """
        feed = await feed_of(self._hub, job)
        found = None if self._fleet is None else await self._fleet.seconds(job, feed)
        return found or (feed, self._hub.now())


SecondsDep = Annotated[Seconds, Depends(Seconds)]
