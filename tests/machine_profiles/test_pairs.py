"""Which shipped attachment closes on which shipped machine, so that a change shows."""

import pytest

from machine_profiles import check_pair, shipped

PINS_420 = {
    "trenching-600", "digging-1500", "tilting-1800", "tilt-rotator-1600", "ditching-1800", "v-bucket-1200", "coupled-900",
}  # fmt: skip
SMALL = {"compact-bucket-400", "midi-bucket-700", "published-mini-bucket"}
MEANT = {
    "compact-1t8": {"compact-bucket-400"},
    "midi-8t": {"midi-bucket-700"},
    "crawler-14t": PINS_420,
    "wheeled-16t": PINS_420,
    "crawler-21t": PINS_420,
    "long-reach-22t": PINS_420,
    "published-mini": {"published-mini-bucket"},
}
# Other pins than the machine's are no hindrance to a linkage that closes over its stroke with them.
CLOSES_TOO = {
    "compact-1t8": {"midi-bucket-700", "published-mini-bucket"},
    "midi-8t": PINS_420,
    "published-mini": {"compact-bucket-400", "midi-bucket-700"},
}


@pytest.mark.parametrize("machine", MEANT)
@pytest.mark.parametrize("attachment", sorted(PINS_420 | SMALL))
def test_every_pair_of_the_table(machine: str, attachment: str) -> None:
    verdict = check_pair(shipped()["machine", machine], shipped()["attachment", attachment])
    assert verdict.ok == (attachment in MEANT[machine] | CLOSES_TOO.get(machine, set()))
    if verdict.ok:
        assert not verdict.faults
        assert verdict.facts["joint_ranges_deg"]["bucket"]
    else:
        assert [fault.code for fault in verdict.faults] == ["no-closure"]


def test_the_table_has_every_shipped_profile() -> None:
    assert set(shipped()) == {
        *(("machine", name) for name in MEANT),
        *(("attachment", name) for name in PINS_420 | SMALL),
    }


@pytest.mark.parametrize(
    ("machine", "attachment"),
    [(machine, tool) for machine in MEANT if machine != "published-mini" for tool in sorted(MEANT[machine])],
)
def test_joints_of_a_pair_meant_for_each_other(machine: str, attachment: str) -> None:
    """Proportions usual for the classes, from memory: bucket, stick and boom ranges, and links well off a line."""
    facts = check_pair(shipped()["machine", machine], shipped()["attachment", attachment]).facts
    widths = {name: high - low for name, (low, high) in facts["joint_ranges_deg"].items()}
    assert 150 <= widths["bucket"] <= 180
    assert 100 <= widths["stick"] <= 130
    assert 80 <= widths["boom"] <= 130
    least, most = facts["transmission_deg"]
    assert 25 <= least < most <= 155
    least, most = facts["bucket_per_idler"]
    assert 0.5 <= least < most <= 2.5


@pytest.mark.parametrize("machine", sorted(MEANT))
def test_a_cylinder_is_not_longer_than_twice_its_closed_length(machine: str) -> None:
    """Its rod goes into its barrel: the stroke is shorter than the closed length, by piston, gland and eyes."""
    document = shipped()["machine", machine].document
    cylinders = {
        name: part["cylinder"]
        for name, part in document.items()
        if isinstance(part, dict) and "cylinder" in part
    }
    assert {"boom", "stick", "bucket"} <= set(cylinders)
    for name, cylinder in cylinders.items():
        assert cylinder["shortest"] < cylinder["longest"] < 1.9 * cylinder["shortest"], name
