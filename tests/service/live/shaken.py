"""What a raw case would send: true motions with an engine's shaking, noise and a gyro's faults.

From memory, of automotive and industrial MEMS at 100 samples a second: accelerometer 0.02 m/s2, gyro 0.08 deg/s from
sample to sample, a gyro's zero error of some tenths deg/s that wanders by 0.003 deg/s in a second, its scale 0.5 % off.
The engine: 0.5 m/s2 on each axis at 31.7 Hz and half of that at 63.1 Hz, 0.6 deg/s with it (invented; rms).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ZERO_DEG_S = np.array([0.4, -0.6, 0.3])
GRAVITY = 9.81


def shaken(
    rng: np.random.Generator, at_s: Floats, force: Floats, rates: Floats, *, shake: float = 0.5, scale: float = 1.005
) -> tuple[Floats, Floats]:  # fmt: skip
    """Specific force (n, 3) and rates (n, 3) as sent at times (n,)."""
    n, step = len(at_s), float(np.median(np.diff(at_s)))
    force, rates = force.copy(), scale * rates
    for hz, part in ((31.7, 1.0), (63.1, 0.5)):
        phase = rng.uniform(0.0, 2.0 * np.pi, 3)
        wave = np.sqrt(2.0) * part * np.sin(2.0 * np.pi * hz * at_s[:, None] + phase)
        force += shake * wave
        rates += np.radians(0.6) * wave
    force += rng.normal(0.0, 0.02, (n, 3))
    wander = np.cumsum(rng.normal(0.0, 0.003 * np.sqrt(step), (n, 3)), axis=0)
    return force, rates + np.radians(ZERO_DEG_S + wander + rng.normal(0.0, 0.08, (n, 3)))


def turning(at_s: Floats, angle: Floats, axis: int) -> tuple[Floats, Floats]:
    """A case on the level that turns by `angle` (n,) (rad) about its own axis 0 or 1, without other accelerations."""
    n = len(at_s)
    force, rates = np.zeros((n, 3)), np.zeros((n, 3))
    rates[:, axis] = np.gradient(angle, at_s)
    across = 1 - axis
    # By the right hand about y the nose goes down, about x the left side comes up.
    force[:, across] = GRAVITY * np.sin(angle) * (1.0 if axis == 0 else -1.0)
    force[:, 2] = GRAVITY * np.cos(angle)
    return force, rates


def raised(at_s: Floats, moves: list[tuple[float, float, float]]) -> Floats:
    """Angle (n,) that goes by moves (begin s, end s, by rad), each with a smooth beginning and end."""
    angle = np.zeros_like(at_s)
    for begin, end, by in moves:
        s = np.clip((at_s - begin) / (end - begin), 0.0, 1.0)
        angle += by * s**3 * (10.0 - 15.0 * s + 6.0 * s**2)
    return angle


def frame(name: str, force: Floats, rates: Floats) -> dict[str, Any]:
    """A raw frame without its time."""
    return {"sensor": name, "accelerometer_m_s2": force.tolist(), "gyro_rad_s": rates.tolist()}
