"""What whoever sits at the machine puts on the job's record, over HTTP, as the steps of a dig say."""

import uuid
from collections.abc import Mapping
from typing import Any

import httpx

from kinematics.errors import Fault, Refused
from service.bus.any_feeder import Say, told

from .course import Mark
from .dig import Dig
from .tables import DigTarget, Swing, Touch, Travel


class Recorder:
    """Records one dig on one job. `refused`: what the service would not record, with the step's place.

    Touches are sent without a pose: the service takes the last still second of what it reads.
    """

    def __init__(self, dig: Dig, job: str, client: httpx.Client, say: Say) -> None:
        self._dig, self._job, self._client, self._say = dig, job, client, say
        self._run, self._count = uuid.uuid4().hex[:12], 0
        self.refused: list[Fault] = []
        self.recorded = 0

    def begin(self) -> None:
        """Open the job if there is none, and put on it what the description needs and it does not have yet.

        Raises `Refused` for what the service does not take: without it nothing that follows would mean anything.
        """
        dig, document = self._dig, self._dig.document
        job = self._job_now()
        if job is None:
            name = document.job_name or document.name
            self._say(f"Opening the job {self._job}: {name}.")
            job = self._must(
                "/v1/jobs", {"id": self._job, "name": name, "units": "m", "datum": self._datum()}
            )
        machine, attachment = dig.machine, dig.attachment
        on_it = [(job.get(kind) or {}).get("id") for kind in ("machine", "attachment")]
        if on_it not in ([None, None], [machine.id, attachment.id]):
            # Another machine may be at work there: it is not taken off for a simulated one.
            raise Refused([
                Fault("other-machine", "--job", " with ".join(map(str, on_it)),
                      f"a job without a machine, or with {machine.id} with {attachment.id}", "take another job")
            ])  # fmt: skip
        path = f"/v1/jobs/{self._job}"
        slab = document.slab
        if slab.name not in {point["name"] for point in job["points"]}:
            self._say(f"On the job: {slab.name} at {slab.elevation_m:.3f}.")
            self._must(f"{path}/benchmarks", {"name": slab.name, "elevation": slab.elevation_m, "units": "m"})
        if on_it == [None, None]:
            self._say(f"On the job: {machine.id} with {attachment.id}.")
            self._must(f"{path}/setups", {"machine": machine.id, "attachment": attachment.id})
        else:
            # It stands where the description begins, not where it stood when the job was played before.
            self._say("The machine is on the job already: a move, since it stands elsewhere now.")
            self._must(f"{path}/moves", {"note": "simulated anew"})
        laser = document.laser
        if laser is not None and job.get("laser") is None:
            self._say("On the job: the laser.")
            self._must(
                f"{path}/laser-setups", {"revolutions_per_s": laser.revolutions_per_s, "fall_percent": 0.0}
            )
        for target in document.targets:
            if target.name not in job["targets"]:
                self._say(f"On the job: the target {target.name}.")
                self._must(f"{path}/targets", self._target(target))

    def mark(self, mark: Mark) -> None:
        """Record the step of a mark. What the service refuses is said, kept in `refused`, and the dig goes on."""
        what, body = self._line(mark)
        answer = self._post(f"/v1/jobs/{self._job}/{what}", body)
        if answer.status_code == 201:
            self.recorded += 1
            self._say(f"Step {mark.number}: {_words(what, body)} recorded.")
            return
        where = f"steps.{mark.number - 1}"
        for fault in told(_json(answer), f"status {answer.status_code}").faults:
            # The pointer is into our own request, which whoever reads this has not seen.
            put = self._dig.places.put(
                Fault(fault.code, "", fault.found, fault.expected, fault.advice), where
            )
            self.refused.append(put)
            self._say(str(put))

    def _line(self, mark: Mark) -> tuple[str, dict[str, Any]]:
        step = mark.step
        if isinstance(step, Travel):
            return "moves", {"note": f"to the stand {step.stand}"}
        if isinstance(step, Swing):
            return "swings", {}
        if not isinstance(step, Touch):
            raise TypeError(step)
        body: dict[str, Any] = {"edge_point": step.point}
        if step.record == "turning-point":
            return "turning-points", body | {"name": step.name}
        if step.record == "station":
            return "stations", body | {"target": step.name, "station": step.station_m, "units": "m"}
        return "touches", body | {"point": step.over, "purpose": step.record}

    def _target(self, target: DigTarget) -> dict[str, Any]:
        body: dict[str, Any] = {
            "name": target.name, "benchmark": self._dig.document.slab.name, "units": "m",
            "layers": [{"name": each.name, "thickness": each.thickness_m} for each in target.layers],
            "overdig": target.overdig_m, "tolerance": target.tolerance_m, "along_percent": target.along_percent,
            "across_percent": target.across_percent,
        }  # fmt: skip
        if target.floor_limit_below_m is not None:
            body["floor_limit_below"] = target.floor_limit_below_m
        return body

    def _datum(self) -> str:
        slab = self._dig.document.slab
        return f"{slab.name} top {slab.elevation_m:.3f}"

    def _job_now(self) -> dict[str, Any] | None:
        answer = self._ask("GET", f"/v1/jobs/{self._job}")
        if answer.status_code == 404:
            return None
        job: dict[str, Any] = self._good(answer, 200)
        return job

    def _must(self, path: str, body: Mapping[str, Any]) -> dict[str, Any]:
        answer: dict[str, Any] = self._good(self._post(path, body), 201)
        self.recorded += 1
        return answer

    def _post(self, path: str, body: Mapping[str, Any]) -> httpx.Response:
        self._count += 1
        return self._ask("POST", path, body, {"Idempotency-Key": f"simulate-{self._run}-{self._count}"})

    def _ask(
        self,
        method: str,
        path: str,
        body: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> httpx.Response:
        try:
            return self._client.request(method, path, json=body, headers=headers)
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            raise Refused([
                Fault("no-service", "--to", f"{self._client.base_url}: {error}", "a running service",
                      "start one with: tipdatum serve")
            ]) from None  # fmt: skip

    @staticmethod
    def _good(answer: httpx.Response, expected: int) -> Any:
        body = _json(answer)
        if answer.status_code != expected or body is None:
            raise told(body, f"status {answer.status_code}")
        return body


def _json(answer: httpx.Response) -> Any:
    try:
        return answer.json()
    except ValueError:
        return None


def _words(what: str, body: Mapping[str, Any]) -> str:
    named = body.get("point") or body.get("name") or body.get("target")
    return _WORDS[what] + (f" {named}" if named else "")


_WORDS = {
    "moves": "move", "swings": "swing", "touches": "touch", "turning-points": "turning point", "stations": "station",
}  # fmt: skip
