"""What is recorded on the jobs, over HTTP, each request under a key and sent again until it is answered.

The steps of a machine go round; how high it stands after each is known beforehand, from the poses alone.
"""

import asyncio
import random
import uuid
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import httpx

from service.clock import seconds
from tests.demo_machine import ATTACHMENT, MACHINE

from .pits import FLOOR_M, RECEIVER_M, SLAB_M, Json, Pit

IMPATIENT, IMPATIENT_S = 0.05, 0.004
"""So many hang up before the answer can come, and ask again."""
_PATIENCE_S, _AGAIN_S, _RESTED_S = 30.0, 0.5, 3.0
_NOT_AT_REST = frozenset({
    "arm-moves", "too-few-readings", "sensor-quiet", "too-noisy", "no-readings", "no-pose", "observed-before",
    "asked-too-long-ago",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """One entry that was: when (by the service's clock), on which job, as what."""

    at_s: float
    job: str
    seq: int
    uuid: str | None


class Unexpected(Exception):
    """An answer that no request of a clerk should get; where it stands afterwards nobody knows."""


class Clerk:
    """Records on every job. `pausing`: nothing new is begun; `over` ends it."""

    def __init__(self, client: httpx.AsyncClient, every_s: float, pausing: Callable[[], bool]) -> None:
        self._client, self._every_s, self._pausing = client, every_s, pausing
        self._random = random.Random(11)  # noqa: S311  # a schedule, no secret
        self.over = False
        self.ledger: list[Acknowledged] = []
        self.counts: Counter[str] = Counter()
        self.faults: list[str] = []
        self.longest_s = 0.0

    async def open(self, pit: Pit) -> None:
        """The job with all that its readouts need."""
        await self._told(pit, "", {"id": pit.job, "name": pit.job, "units": "m"}, None)
        slab = {"name": "slab", "elevation": SLAB_M, "units": "m"}
        await self._told(pit, "/benchmarks", slab, None)
        await self._told(pit, "/setups", {"machine": MACHINE, "attachment": ATTACHMENT}, None)
        await self._target(pit, "footing", None)
        await self._touch(pit)

    async def work(self, pit: Pit) -> None:
        """Round after round."""
        while not self.over:
            for step in (
                self._laser, self._rested, self._sheet, self._check, self._strike, self._move, self._carry, self._touch,
                self._undo, self._held_against,
            ):  # fmt: skip
                await asyncio.sleep(self._random.uniform(0.5, 1.5) * self._every_s)
                while self._pausing() and not self.over:
                    await asyncio.sleep(_AGAIN_S)
                if self.over:
                    return
                try:
                    await step(pit)
                except Unexpected as unexpected:
                    self.faults.append(str(unexpected))
                    return

    # Steps.

    async def _laser(self, pit: Pit) -> None:
        await self._told(pit, "/laser-setups", {"revolutions_per_s": 10.0, "fall_percent": 0.0}, _now(pit))

    async def _rested(self, pit: Pit) -> None:
        """A touch by the sensors, while the arm is held still."""
        pit.resting = True
        try:
            await asyncio.sleep(_RESTED_S)
            await self._told(pit, "/touches", _TOUCH, SLAB_M - pit.walk.edge[pit.at][1])
        finally:
            pit.resting = False

    async def _touch(self, pit: Pit) -> None:
        at = self._random.randrange(pit.walk.count)
        body = _TOUCH | {"pose": pit.walk.touching[at]}
        await self._told(pit, "/touches", body, SLAB_M - pit.walk.edge[at][1])

    async def _sheet(self, pit: Pit) -> None:
        await self._target(pit, f"layer {len(pit.heights)}", _now(pit))

    async def _target(self, pit: Pit, name: str, height: float | None) -> None:
        layers = [{"name": "floor", "thickness": FLOOR_M}]
        body = {
            "name": name,
            "benchmark": "slab",
            "units": "m",
            "layers": layers,
            "overdig": 0.0,
            "tolerance": 0.03,
        }
        await self._told(pit, "/targets", body, height)

    async def _check(self, pit: Pit) -> None:
        body = {"target": "footing", "line": "edge", "units": "m", "pose": self._any(pit)}
        await self._told(pit, "/checks", body, _now(pit))

    async def _strike(self, pit: Pit) -> None:
        await self._struck(pit, 0, _now(pit))

    async def _move(self, pit: Pit) -> None:
        await self._told(pit, "/moves", {"note": "a metre back"}, None)

    async def _carry(self, pit: Pit) -> None:
        """The strike before the move said where the plane is: the origin is as much lower as the receiver is higher."""
        before = pit.heights[max(pit.heights) - 1]
        assert before is not None
        await self._struck(pit, 1, before + RECEIVER_M[0] - RECEIVER_M[1])

    async def _struck(self, pit: Pit, which: int, height: float | None) -> None:
        body = {
            "crossings": [{"direction": "up", "pose": pit.walk.receiver[which]}], "vertical_speed_mm_s": 10.0,
            "tilt_spread_deg": 0.01, "steady_s": 2.0, "units": "m",
        }  # fmt: skip
        told = await self._told(pit, "/strikes", body, height)
        if told.get("verdict") != "taken":
            self.faults.append(f"{pit.job}: a strike was not taken: {told.get('because')}")

    async def _undo(self, pit: Pit) -> None:
        """The touch that came last was a mistake."""
        last = max(pit.heights)
        await self._told(
            pit, "/withdrawals", {"seq": last, "reason": "not on the slab"}, pit.heights[last - 1]
        )

    async def _held_against(self, pit: Pit) -> None:
        await self._told(pit, "/touches", _TOUCH | {"purpose": "check", "pose": self._any(pit)}, _now(pit))

    def _any(self, pit: Pit) -> Json:
        return self._random.choice(pit.walk.touching)

    # Asking until it is answered.

    async def _told(self, pit: Pit, what: str, body: Json, height: float | None) -> Json:
        """The answer; the entry stands in the ledger, and how high the machine stands after it in the pit's book."""
        url, key, began = f"/v1/jobs{f'/{pit.job}{what}' if what else ''}", uuid.uuid4().hex, seconds()
        patience_s = IMPATIENT_S if self._random.random() < IMPATIENT else _PATIENCE_S
        while True:
            self.counts["requests"] += 1
            try:
                answer = await self._client.post(
                    url, json=body, headers={"Idempotency-Key": key}, timeout=patience_s
                )
            except (httpx.TransportError, OSError):
                self.counts["unanswered"] += 1
                patience_s = _PATIENCE_S
                await asyncio.sleep(_AGAIN_S)
                continue
            if answer.status_code == 201:
                break
            if not self._again(pit, what, answer):
                raise Unexpected(f"{pit.job}{what}: status {answer.status_code}: {answer.text[:500]}")
            await asyncio.sleep(_AGAIN_S)
        told: Json = answer.json()
        seq = int(told["seq"])
        self.longest_s = max(self.longest_s, seconds() - began)
        self.counts["entries"] += 1
        self.counts["replayed"] += bool(told.get("replayed"))
        self.ledger.append(Acknowledged(seconds(), pit.job, seq, told.get("uuid")))
        if seq != max(pit.heights, default=0) + 1:
            self.faults.append(
                f"{pit.job}: entry {seq} was acknowledged after entry {max(pit.heights, default=0)}"
            )
        pit.heights[seq] = height
        return told

    def _again(self, pit: Pit, what: str, answer: httpx.Response) -> bool:
        """Whether what was refused may be asked again: the service is not ready, or the arm was not seen to rest yet."""
        if answer.status_code == 503:
            self.counts["not ready"] += 1
            return True
        if answer.status_code >= 500:
            self.faults.append(f"{pit.job}{what}: status {answer.status_code}: {answer.text[:500]}")
            return True
        codes = {each.get("code") for each in answer.json().get("errors", [])}
        self.counts["not at rest"] += 1
        return pit.resting and bool(codes) and codes <= _NOT_AT_REST


_TOUCH: Json = {"point": "slab", "purpose": "reference", "edge_point": "centre"}


def _now(pit: Pit) -> float | None:
    return pit.heights[max(pit.heights)]
