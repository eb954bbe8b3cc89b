"""Which errors are one and the same in two stands: those of parts that stayed, revised, refitted or not."""

import dataclasses
import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.estimates import Estimates
from kinematics.levelling import Enters
from kinematics.machine import AttachmentUncertainty, MachineUncertainty
from kinematics.observed import Observed, chained
from kinematics.sensing import readings_of
from kinematics.sensing_block import program
from kinematics.sensor import Measure, Mounting
from kinematics.sensor_set import SensorSet
from kinematics.shared import Columns, Owners, keys_of
from kinematics.sources import KINDS, Kind, sources_of
from kinematics.trials import trials
from kinematics.trust import Trust
from kinematics.trust_block import NUMBERS
from kinematics.trust_desk import Owed, said_in

from .test_sensing_block import SENSED, unchecked
from .test_trust_monte_carlo import agree
from .trust_chains import postures

OURS = Owners("machine 7", "bucket 3")
OTHER_BUCKET = Owners("machine 7", "bucket 4")
OTHER_MACHINE = Owners("machine 1", "bucket 1")
ESTIMATES = Estimates()
STILL = Estimates(temperature=0.0)
LASTING = [KINDS.index(kind) for kind in (Kind.ZEROS, Kind.SKEW, Kind.DIMENSIONS, Kind.WEAR)]
DRIFT = KINDS.index(Kind.TEMPERATURE)
ROUNDING_M2 = 1e-18
"""Of a sum of squares of metres and rates of some metres: a nanometre squared."""


def known(name: str = "crawler-14t with digging-1500") -> SensorSet:
    return unchecked(SENSED[name])


def revised(
    sensors: SensorSet, *, machine: Mapping[str, Any] | None = None, attachment: Mapping[str, Any] | None = None,
    sensor: Mapping[str, Mapping[str, Any]] | None = None,
) -> SensorSet:  # fmt: skip
    """The same with some fields others."""
    was = sensors.assembly
    now = assemble(
        dataclasses.replace(was.machine, **(machine or {})), dataclasses.replace(was.attachment, **(attachment or {}))
    )  # fmt: skip
    every = {
        name: dataclasses.replace(one, **(sensor or {}).get(name, {}))
        for name, one in sensors.sensors.items()
    }
    return SensorSet(now, every, attached=sensors.attached)


def apart(one: SensorSet, other: SensorSet, owners: tuple[Owners, Owners] = (OURS, OURS)) -> set[str]:
    """Names of the uncertain sources, noise and what gives aside, that are not one thing in both."""
    of = [sources_of(each, ESTIMATES) for each in (one, other)]
    columns = Columns(one, of[0], owners[0])
    columns.meet(other, of[1], owners[1])
    at = columns.of(of[1], owners[1])
    stays = of[1].lasting.copy()
    stays[of[1].drifts] = True
    return {
        name
        for name, column, standard, counts in zip(of[1].names, at, of[1].standard, stays, strict=True)
        if counts and standard > 0.0 and (column >= columns.ours or of[0].names[column] != name)
    }


def all_of(sensors: SensorSet) -> set[str]:
    return apart(sensors, sensors, (OURS, Owners("machine 8", "bucket 9")))


def of_bucket(sensors: SensorSet) -> set[str]:
    return {name for name in all_of(sensors) if name.startswith(("pin_spacing", "edge_", "left_", "centre_", "right_",
                                                                 "tooth_", "heel_"))}  # fmt: skip


def test_a_dimension_measured_anew_to_the_same_value_errs_as_it_did() -> None:
    """How well it is known is no part of what it is, with or without owners."""
    sensors = known()
    better = revised(
        sensors, machine={"uncertainty": MachineUncertainty(lengths=0.001)},
        attachment={"uncertainty": AttachmentUncertainty(of={"pin_spacing": 0.0005})},
        sensor={"stick": {"zero_uncertainty": 1e-4, "noise": 1e-4, "latency_s": 0.01}},
    )  # fmt: skip
    assert apart(sensors, better) == set()
    assert apart(sensors, better, (Owners(), Owners())) == set()


def test_of_two_revisions_only_what_was_changed_is_another() -> None:
    sensors = known()
    was = sensors.assembly
    stick = {"stick_length": was.machine.stick_length + 0.01}
    assert apart(sensors, revised(sensors, machine=stick)) == {"stick_length"}
    pins = {"pin_spacing": was.attachment.pin_spacing + 0.002}
    assert apart(sensors, revised(sensors, attachment=pins)) == {"pin_spacing"}
    receiver = apart(sensors, reclamped(sensors))
    assert receiver
    assert {name.partition("_")[0] for name in receiver} <= {"receiver", "mast"}
    worn = [(x + 0.01, y, z) for x, y, z in was.attachment.edge]
    edge = apart(sensors, revised(sensors, attachment={"edge": tuple(worn)}))
    assert edge == {"left_x", "centre_x", "right_x", "edge_wear"}


def test_without_owners_another_geometry_is_another_machine() -> None:
    sensors = known()
    longer = revised(sensors, machine={"stick_length": sensors.assembly.machine.stick_length + 0.01})
    found = apart(sensors, longer, (Owners(), Owners()))
    assert {"boom_length", "boom.zero", "stick_length"} <= found
    assert not found & of_bucket(sensors)


def test_two_machines_alike_share_nothing() -> None:
    sensors = known()
    assert {"boom.zero", "boom_length", "pin_spacing", "edge_wear", "boom.drift"} <= all_of(sensors)
    lent = apart(sensors, sensors, (OURS, Owners("machine 8", "bucket 3")))
    assert lent == all_of(sensors) - of_bucket(sensors)


@pytest.mark.parametrize(
    ("mounting", "found"),
    [
        (lambda m: Mounting(m.nose_up + 0.01, m.left_up, m.to_left), {"boom.zero"}),
        (lambda m: Mounting(m.nose_up, m.left_up, m.to_left + 0.01), {"boom.zero", "boom.skew"}),
    ],
)
def test_a_zero_set_anew_is_another_and_the_sensor_drifts_as_before(
    mounting: Callable[[Mounting], Mounting], found: set[str]
) -> None:
    sensors = known()
    was = sensors.sensors["boom"].mounting
    assert isinstance(was, Mounting)
    assert apart(sensors, revised(sensors, sensor={"boom": {"mounting": mounting(was)}})) == found


def on_bucket(measures: Measure, *, attached: bool) -> SensorSet:
    """A set whose bucket is told by a sensor upon it, or at its pin."""
    sensors = known()
    gravity = measures != Measure.ANGLE
    like = sensors.sensors["stick"]
    own = dataclasses.replace(
        like, place="bucket", measures=measures, mounting=Mounting(0.1) if gravity else 0.1,
        skew_uncertainty=like.skew_uncertainty if gravity else None, branch=None,
    )  # fmt: skip
    every = {name: one for name, one in sensors.sensors.items() if one.place not in ("idler", "power_link")}
    names = frozenset({"curl"}) if attached else frozenset()
    return SensorSet(sensors.assembly, {**every, "curl": own}, attached=names)


@pytest.mark.parametrize(
    ("measures", "attached", "another"),
    [
        (Measure.GRAVITY_ANGLE, True, True),
        (Measure.GRAVITY_ANGLE, False, True),
        (Measure.ANGLE, True, True),
        (Measure.ANGLE, False, False),  # the machine's own, at its pin
    ],
)
def test_a_sensor_on_the_bucket_is_another_on_another_bucket(
    measures: Measure, *, attached: bool, another: bool
) -> None:
    sensors = on_bucket(measures, attached=attached)
    found = apart(sensors, sensors, (OURS, OTHER_BUCKET))
    assert ("curl.zero" in found) is another
    assert "stick.zero" not in found
    assert "curl.zero" not in apart(sensors, sensors)
    lent = apart(sensors, sensors, (OURS, Owners("machine 8", "bucket 3")))
    assert ("curl.zero" in lent) is not attached


def test_every_source_is_one_thing() -> None:
    """No two sources of one set have one key, shipped pairs."""
    for sensors in map(unchecked, SENSED.values()):
        keys = keys_of(sensors, sources_of(sensors, ESTIMATES), OURS)
        assert len(set(keys)) == len(keys)


Seen = dict[int, Observed]
SLAB, STONE, AGAIN = 2, 4, 6
TERMS = {(SLAB, Enters.EDGE): -1.0, (STONE, Enters.EDGE): 1.0, (AGAIN, Enters.EDGE): -1.0}
"""Touched the slab, set a stone, moved, touched the stone."""


def there(assembly: Assembly, **angles: float) -> Pose:
    return pose(assembly, **angles)


def stand(sensors: SensorSet, owners: Owners, where: str, setup: int, of: Estimates = ESTIMATES) -> Observed:
    at = postures(sensors.assembly)
    angles = {"touch": at.touch, "before": at.before[0], "after": at.after[0], "dig": at.dig}[where]
    return Observed(
        sensors, sources_of(sensors, of), [there(sensors.assembly, **angles)], "centre", setup, owners
    )


def owed(seen: Seen, here: Observed, of: Estimates, terms: Mapping[Any, float] = TERMS) -> Owed:
    return chained(terms, seen, {}, of, here.sensors, here.sources, here.owners)


def judged_and_drawn(seen: Seen, here: Observed, of: Estimates, terms: Mapping[Any, float] = TERMS) -> float:
    """The standard uncertainty of elevation, by rates; repetition agrees with it."""
    found = there(here.sensors.assembly, **postures(here.sensors.assembly).dig)
    trust = Trust(here.sensors, here.sources, of, owed(seen, here, of, terms), None)
    assert trust.judge(said_in(program(here.sensors).numbers, readings_of(here.sensors, found)), found.q)
    told = float(trust.numbers[NUMBERS.index("centre_elevation_u")])
    drawn = trials(
        here.sensors, here.sources, of, terms, seen, {}, found, count=60_000, seed=3, owners=here.owners
    )
    agree(drawn.deviations, told)
    return told


def reclamped(sensors: SensorSet) -> SensorSet:
    was = sensors.assembly.machine.receiver
    assert was is not None
    return revised(sensors, machine={"receiver": dataclasses.replace(was, place=(1.5, 0.1, 0.3))})


def test_a_bucket_that_two_former_stands_share_cancels() -> None:
    """Slab and stone touched in one posture with a bucket that is gone since, the receiver clamped elsewhere between: no
    error of what lasts is left of the two."""
    first, now = known(), known("crawler-14t with ditching-1800")
    terms = {(SLAB, Enters.EDGE): -1.0, (STONE, Enters.EDGE): 1.0}
    seen = {
        SLAB: stand(first, OURS, "touch", 1),
        STONE: stand(reclamped(first), OURS, "touch", 1),
    }
    left = owed(seen, stand(now, OTHER_BUCKET, "dig", 1), ESTIMATES, terms)
    assert np.all(np.isfinite(left.rest))
    assert max(left.rest[kind] for kind in LASTING) <= ROUNDING_M2
    assert np.max(np.abs(left.edge)) <= math.sqrt(ROUNDING_M2)
    lent = {SLAB: seen[SLAB], STONE: dataclasses.replace(seen[STONE], owners=Owners("machine 8", "bucket 9"))}
    apart_now = owed(lent, stand(now, OTHER_BUCKET, "dig", 1), ESTIMATES, terms)
    assert apart_now.rest[KINDS.index(Kind.DIMENSIONS)] > 1e-6


def test_a_receiver_clamped_elsewhere_changes_no_touch() -> None:
    first, now = known(), known("crawler-14t with ditching-1800")
    here = stand(now, OTHER_BUCKET, "dig", 2)
    told = []
    for between in (first, reclamped(first)):
        seen = {
            SLAB: stand(first, OURS, "touch", 1),
            STONE: stand(between, OURS, "before", 1),
            AGAIN: stand(now, OTHER_BUCKET, "after", 2),
        }
        told.append(judged_and_drawn(seen, here, ESTIMATES))
    assert told[1] == pytest.approx(told[0], rel=1e-9)


def test_a_revision_between_touches_leaves_the_rest_shared() -> None:
    """One bucket, its pin spacing measured anew after the move: Monte Carlo and rates agree, and little is added."""
    first = known()
    spacing = first.assembly.attachment.pin_spacing + 0.002
    now = revised(first, attachment={"pin_spacing": spacing})
    here = stand(now, OURS, "dig", 2)
    seen = {
        SLAB: stand(first, OURS, "touch", 1), STONE: stand(first, OURS, "before", 1),
        AGAIN: stand(now, OURS, "after", 2),
    }  # fmt: skip
    told = judged_and_drawn(seen, here, ESTIMATES)
    unknown = {seq: dataclasses.replace(each, owners=Owners()) for seq, each in seen.items()}
    assert judged_and_drawn(unknown, dataclasses.replace(here, owners=Owners()), ESTIMATES) > told * 1.01


def test_a_sensor_drifts_once_in_a_stand_whatever_hangs_on_the_stick() -> None:
    """In a later stand touched with two buckets in one posture: the drift of boom and stick is that of one stand."""
    first, now = known(), known("crawler-14t with ditching-1800")
    terms = {(SLAB, Enters.EDGE): 0.0, (STONE, Enters.EDGE): 1.0, (AGAIN, Enters.EDGE): -1.0}
    seen = {
        SLAB: stand(first, OURS, "touch", 1), STONE: stand(first, OURS, "touch", 2),
        AGAIN: stand(reclamped(first), OURS, "touch", 2),
    }  # fmt: skip
    here = stand(now, OTHER_BUCKET, "dig", 3)
    assert owed(seen, here, ESTIMATES, terms).rest[DRIFT] <= ROUNDING_M2
    later = seen | {AGAIN: stand(reclamped(first), OURS, "touch", 3)}
    assert owed(later, here, ESTIMATES, terms).rest[DRIFT] > 1e-6
    warm = Estimates(temperature=30.0)
    changed = {
        SLAB: stand(first, OURS, "touch", 1, warm), STONE: stand(first, OURS, "before", 2, warm),
        AGAIN: stand(now, OTHER_BUCKET, "after", 2, warm),
    }  # fmt: skip
    judged_and_drawn(changed, stand(now, OTHER_BUCKET, "dig", 3, warm), warm)


def test_what_was_thought_sure_is_as_uncertain_as_it_is_now_known_to_be() -> None:
    """A stick's length called exact when the slab was touched, and known to 5 mm now: still one length, one error."""
    now = revised(known(), machine={"uncertainty": MachineUncertainty(of={"stick_length": 0.005})})
    sure = revised(known(), machine={"uncertainty": MachineUncertainty(of={"stick_length": 0.0})})
    here = stand(now, OURS, "dig", 1, STILL)
    told, exact = (
        owed({SLAB: stand(each, OURS, "touch", 1, STILL)}, here, STILL, {(SLAB, Enters.EDGE): -1.0})
        for each in (now, sure)
    )
    at = here.sources.names.index("stick_length")
    assert abs(told.edge[at]) > 0.1
    assert exact.edge[at] == pytest.approx(told.edge[at], rel=1e-12)


def test_of_other_machines_what_was_known_last_counts() -> None:
    first = known()
    better = revised(first, machine={"uncertainty": MachineUncertainty(lengths=0.001, angles=0.001)})
    now = known("midi-8t with digging-1500")
    terms = {(SLAB, Enters.EDGE): -1.0, (STONE, Enters.EDGE): 1.0}
    here = stand(now, OTHER_MACHINE, "dig", 2)

    def of(one: SensorSet, other: SensorSet) -> float:
        seen = {SLAB: stand(one, OURS, "touch", 1), STONE: stand(other, OURS, "dig", 1)}
        return float(owed(seen, here, ESTIMATES, terms).rest[KINDS.index(Kind.DIMENSIONS)])

    assert of(first, better) == pytest.approx(of(better, better), rel=1e-12)
    assert of(better, first) == pytest.approx(of(first, first), rel=1e-12)
    assert of(better, better) < of(first, first)


def test_what_another_machine_touched_and_struck_it_did_with_one_arm() -> None:
    """Its zeros enter by the difference of both places, though nothing of them is here any more."""
    first = known()
    seen = {
        SLAB: stand(first, OURS, "touch", 1),
        STONE: dataclasses.replace(stand(first, OURS, "before", 1), point="receiver"),
        AGAIN: dataclasses.replace(
            stand(known("midi-8t with tilting-1800"), OTHER_MACHINE, "after", 2), point="receiver"
        ),
    }
    terms = {(SLAB, Enters.EDGE): -1.0, (STONE, Enters.RECEIVER): 1.0, (AGAIN, Enters.RECEIVER): -1.0}
    here = dataclasses.replace(seen[AGAIN], point="centre")
    told = judged_and_drawn(seen, here, STILL, terms)
    strangers = seen | {STONE: dataclasses.replace(seen[STONE], owners=Owners("machine 8", "bucket 9"))}
    assert judged_and_drawn(strangers, here, STILL, terms) > 1.02 * told


def test_a_drift_is_as_large_as_it_is_now_known_to_be() -> None:
    """Drifts said to be nothing by the revision of a stand in between, and usual by that of now."""
    now, warm = known(), Estimates(temperature=60.0)
    sure = revised(now, sensor={name: {"per_kelvin": 0.0} for name in now.sensors})
    here = stand(now, OURS, "dig", 3, warm)
    seen = {
        SLAB: stand(now, OURS, "touch", 1, warm), STONE: stand(sure, OURS, "before", 2, warm),
        AGAIN: stand(now, OURS, "after", 3, warm),
    }  # fmt: skip
    told = judged_and_drawn(seen, here, warm)
    seen[STONE] = stand(now, OURS, "before", 2, warm)
    assert judged_and_drawn(seen, here, warm) == pytest.approx(told, rel=1e-12)
