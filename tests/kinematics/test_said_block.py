"""What sensors would read, compiled, against the door for one pose; and back to the angles it came from."""

import math

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.errors import Refused
from kinematics.said_block import say
from kinematics.sensing import readings_of
from kinematics.sensing_block import program, sense
from kinematics.trust_desk import said_in

from .plainly import in_plain_python
from .sensor_sets import random_set
from .zones import PAIRS, arm_of

SAME = 1e-12  # rad or m: the same formulas


def said_and_wanted(machine: str, attachment: str, seed: int) -> list[tuple[list[float], list[float]]]:
    arm, rng = arm_of(machine, attachment), np.random.default_rng(seed)
    found: list[tuple[list[float], list[float]]] = []
    while len(found) < 12:
        joints = {name: rng.uniform(span.low, span.high) for name, span in arm.ranges.items()}
        try:
            there = pose(arm, pitch=rng.uniform(-0.2, 0.2), roll=rng.uniform(-0.2, 0.2), **joints)
            sensors = random_set(rng, arm, {"pitch": there.q[0], "roll": there.q[1]} | joints)
            wanted = readings_of(sensors, there)
        except Refused:
            continue
        steps = program(sensors)
        said, again = np.full(len(steps.numbers), math.nan), np.empty(9)
        say(steps.rows, steps.bar, steps.cylinders, there.q, said)
        if sense(steps.rows, steps.bar, steps.cylinders, said, again) == 0:
            assert np.max(np.abs(again - there.q)) <= 1e-6
        found.append((said.tolist(), said_in(steps.numbers, wanted).tolist()))
    return found


@pytest.mark.parametrize(("machine", "attachment", "by"), PAIRS)
def test_any_set_reads_the_same(machine: str, attachment: str, by: str) -> None:
    for said, wanted in said_and_wanted(machine, attachment, 20_251):
        assert np.isfinite(said).all()
        assert np.max(np.abs(np.subtract(said, wanted))) <= SAME


def plain_said() -> list[float]:
    return [each for said, _ in said_and_wanted("crawler-14t", "tilting-1800", 7) for each in said]


def test_without_the_compiler_it_is_the_same() -> None:
    assert in_plain_python("test_said_block", "plain_said") == pytest.approx(plain_said(), abs=SAME)
