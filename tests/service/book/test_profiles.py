"""One assembly and one set of sensors on it for everybody, whoever asks first."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from kinematics.assembly import Assembly, assemble
from kinematics.machine import Attachment, Machine
from kinematics.sensor_set import SensorSet
from service.book import profiles as of_profiles
from service.book.profiles import Profiles
from service.book.state import Named
from service.store import open_database, utc_now


@pytest.fixture
def profiles(tmp_path: Path) -> Iterator[Profiles]:
    with open_database(f"sqlite:///{tmp_path / 'tipdatum.sqlite'}") as database:
        found = Profiles(database, utc_now)
        found.load_shipped()
        yield found


def pair(profiles: Profiles) -> tuple[Named, Named]:
    return profiles.latest("machine", "crawler-14t"), profiles.latest("attachment", "tilting-1800")


def test_two_who_ask_at_once_get_the_same(profiles: Profiles, monkeypatch: pytest.MonkeyPatch) -> None:
    """As after a start, when every machine comes at once: sensors on another assembly than the pose would be refused as
    another machine's for as long as the service runs."""
    both = threading.Barrier(2)

    def at_once(machine: Machine, attachment: Attachment) -> Assembly:
        both.wait(10.0)
        return assemble(machine, attachment)

    monkeypatch.setattr(of_profiles, "assemble", at_once)
    asked, found = pair(profiles), list[SensorSet | None]()
    threads = [threading.Thread(target=lambda: found.append(profiles.sensed(*asked))) for _ in range(2)]
    for each in threads:
        each.start()
    for each in threads:
        each.join(20.0)
    one, other = found
    assert one is not None
    assert other is not None
    assert one.assembly is other.assembly is profiles.fitted(*asked)
    assert profiles.sensed(*asked) in (one, other)


def test_sensors_go_with_their_assembly(profiles: Profiles, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it was pushed out and made anew, so are they."""
    asked = pair(profiles)
    monkeypatch.setattr(of_profiles, "_KEPT", 1)
    assert profiles.sensed(*asked) is not None
    profiles.fitted(*asked, (0.7, 0.18, 0.26))
    found = profiles.sensed(*asked)
    assert found is not None
    assert found.assembly is profiles.fitted(*asked)
