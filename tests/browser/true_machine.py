"""A machine whose sensors are off by what is planted, with noise of their own, feeding a job of the page: what a fitter
has before him."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping

import numpy as np

from kinematics.arm import Pose
from kinematics.calibration_values import value_of, with_values
from kinematics.sensing import readings_of
from kinematics.sensor_set import SensorSet
from tests.service.api.doing import JobDoer
from tests.service.api.touching import ours
from tests.service.live.making import Said, in_unit

from . import room
from .seat_room import Machine

HZ = 40.0
FRAMES = 97
"""So many frames of noise, over and over: 2.4 s of them, so that no second is like the one before."""
_MORE_S = 0.3
"""What is read for a touch begins a little before what is read for a posture."""


def off_by(planted: Mapping[str, float]) -> SensorSet:
    """The sensors of the pair as they truly are: `planted` (rad) more than their profile says."""
    told = ours()[2]
    return with_values(told, {name: value_of(told, name) + off for name, off in planted.items()})


class TrueMachine(Machine):
    """Says what the true sensors would, each frame with the noise of their profile. `planted` (rad) by name."""

    def __init__(self, address: str, job: JobDoer, planted: Mapping[str, float], seed: int) -> None:
        self.sensors = off_by(planted)
        self._job_doer = job
        self._rng = np.random.default_rng(seed)
        super().__init__(address, job.id, hz=HZ)

    def stands(self, pose: Pose) -> None:
        """What the sensors say from now on; returns once the service has seen the arm rest there."""
        clean = {name: np.atleast_1d(value) for name, value in readings_of(self.sensors, pose).items()}
        self._said = [self._frame(clean) for _ in range(FRAMES)]
        end = time.monotonic() + room.WAIT_MS / 1e3
        while not self._seen(clean):
            assert time.monotonic() < end, self._asked.text
            self._ended.wait(0.05)
        self._ended.wait(_MORE_S)

    def _frame(self, clean: Mapping[str, np.ndarray]) -> Said:
        told: Said = {}
        for name, value in clean.items():
            noisy = value + self._rng.normal(0.0, self.sensors.all[name].noise, value.shape)
            told[name] = in_unit(
                self.sensors, name, tuple(noisy.tolist()) if noisy.size > 1 else float(noisy[0])
            )
        return told

    def _seen(self, clean: Mapping[str, np.ndarray]) -> bool:
        self._asked = self._job_doer.client.http.get(f"{self._job_doer.path}/fitting/posture")
        if self._asked.status_code != 200:
            return False
        said = self._asked.json()["said"]
        return all(
            np.allclose(np.radians(said[name]["deg"]), value, rtol=0.0, atol=self.sensors.all[name].noise)
            for name, value in clean.items()
        )


def degrees(values: Mapping[str, float]) -> dict[str, float]:
    """rad in degrees, by name."""
    return {name: math.degrees(value) for name, value in values.items()}
