"""What is noticed on a bus, by frames dated by hand: nothing waits for a clock."""

import random
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from kinematics.errors import Fault
from service.bus.decoding import Decoder
from service.bus.frames import Frame
from service.bus.framing import ACCS, ARI, SSI2, Lack, identifier
from service.bus.layouts import BUILT_IN
from service.bus.reading import Reading
from service.bus.sensor_map import SensorMap
from service.bus.watch import DISTRUST_S, Watch
from service.simulation.frames_out import frame_for, map_for
from service.simulation.motion import plan
from service.simulation.signals import signals
from tests.service.simulation.digs import dig_of

from .rigs import map_of

MAP = """
sensor_map = 1
sensors = [
  { sensor = "boom", message = "SSI2", source = 0xA1, signals = ["pitch"] },
  { sensor = "stick", message = "SSI2", source = 0xA2, signals = ["pitch"] },
]
"""
RAW = """
sensor_map = 1
[[sensors]]
sensor = "bucket"
source = 0xA3
accelerometer = { message = "ACCS", signals = ["longitudinal", "lateral", "vertical"] }
gyro = { message = "ARI", signals = ["roll_rate", "pitch_rate", "yaw_rate"] }
"""
PERIOD_S = 0.01


class Rig:
    """Frames through decoder and watch, as a feed does it, with findings asked for ten times a second."""

    def __init__(self, by: SensorMap | None) -> None:
        self.watch, self._decoder = Watch(by), Decoder(SensorMap(()) if by is None else by)
        self.readings: list[Reading] = []
        self.told: list[tuple[float, Fault]] = []
        self._asked = 0.0

    def take(self, frames: Iterable[Frame]) -> None:
        for frame in sorted(frames, key=lambda each: each.at_s):
            self.until(frame.at_s)
            taken = self._decoder.take(frame) if self.watch.wanted(frame) else None
            self.readings += self.watch.take(frame, taken)

    def until(self, t: float) -> None:
        while self._asked < t:
            self.told += [(self._asked, fault) for fault in self.watch.findings(self._asked)]
            self._asked += 0.1

    def codes(self) -> list[str]:
        return [fault.code for _, fault in self.told]

    def when(self, code: str) -> list[float]:
        return [t for t, fault in self.told if fault.code == code]

    def errors(self, sensor: str) -> list[float]:
        return [
            each.t_s for each in self.readings if each.said.get("sensor") == sensor and "error" in each.said
        ]


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(map_of(MAP, tmp_path))


def slope(
    at_s: float, source: int, pitch: float | Lack, latency: float | Lack = 10.0, **more: float
) -> Frame:
    data = BUILT_IN["SSI2"].write({"pitch": pitch, "roll": Lack.NOT_AVAILABLE, "latency": latency, **more})
    return Frame(at_s, identifier(SSI2, source), extended=True, data=data)


def steady(
    source: int,
    pitch: float,
    since: float,
    until: float,
    period: float = PERIOD_S,
    seed: int = 1,
    phase: float = 0.0,
) -> list[Frame]:
    rng = random.Random(source + seed)  # noqa: S311 - no secret hangs on it
    count = int((until - since) / period)
    return [
        slope(since + phase + i * period + rng.uniform(0.0, 2e-4), source, pitch + rng.gauss(0.0, 0.02))
        for i in range(count)
    ]


def claim(at_s: float, source: int, identity: int) -> Frame:
    name = identity | 100 << 21 | 1 << 63
    return Frame(at_s, 0x18EEFF00 | source, extended=True, data=name.to_bytes(8, "little"))


def test_a_good_bus_has_nothing_to_tell(rig: Rig) -> None:
    rig.take([*steady(0xA1, 20.0, 0.0, 60.0), *steady(0xA2, -50.0, 0.0, 60.0)])
    rig.until(60.0)
    assert rig.told == []
    assert len(rig.readings) == 12_000
    assert (rig.watch.thinned, rig.watch.withheld, rig.watch.counts) == (0, 0, {})


def test_two_units_at_one_address_are_not_believed_until_one_is_gone(rig: Rig) -> None:
    one, other = steady(0xA1, 20.0, 0.0, 30.0), steady(0xA1, -40.0, 5.0, 8.0, seed=2, phase=0.0033)
    rig.take([*one, *other, *steady(0xA2, 7.0, 0.0, 30.0)])
    rig.until(30.0)
    [verdict] = rig.when("two-on-one-source")
    assert 5.0 < verdict < 6.0
    [again] = rig.when("believed-again")
    # The last 64 frames looked at hold the last of the other: 0.6 s.
    assert 8.0 <= again - DISTRUST_S <= 8.8
    errors = rig.errors("boom")
    # 0.4 s to be sure, 0.2 s more where the two overlap in a window.
    assert 5.0 < errors[0] < 5.7
    assert {each.said["error"] for each in rig.readings if "error" in each.said} == {
        "two units on source 0xA1"
    }
    between = [
        each for each in rig.readings if each.said["sensor"] == "boom" and errors[0] <= each.t_s <= errors[-1]
    ]
    assert len(between) == len(errors), "none is believed meanwhile"
    assert rig.errors("stick") == [], "others are"
    assert rig.watch.withheld == len(errors)
    fault = next(fault for _, fault in rig.told if fault.code == "two-on-one-source")
    assert fault.where == "source 0xA1"
    assert "jumps between" in fault.found


def test_two_names_are_not_believed_until_one_claims_another_address(rig: Rig) -> None:
    frames = [*steady(0xA1, 20.0, 0.0, 40.0), *steady(0xA2, 7.0, 0.0, 40.0)]
    rig.take([*frames, claim(5.0, 0xA1, 1), claim(6.0, 0xA1, 2), claim(30.0, 0xB0, 2)])
    rig.until(40.0)
    assert rig.when("two-on-one-source") == [pytest.approx(6.0, abs=0.2)]
    assert rig.when("believed-again") == [pytest.approx(30.0, abs=0.2)]
    errors = rig.errors("boom")
    assert errors[0] == pytest.approx(6.0, abs=0.02)
    assert errors[-1] == pytest.approx(30.0, abs=0.02)


def test_what_jumps_by_much_is_not_passed_on_though_it_may_be_one_unit(rig: Rig) -> None:
    """Shaken at half its rate, from an even clock: no proof of two, and of no use."""
    shaken = [slope(i * PERIOD_S, 0xA1, 20.0 + (6.0 if i % 2 else -6.0)) for i in range(800)]
    mildly = [slope(i * PERIOD_S, 0xA2, 7.0 + (1.0 if i % 2 else -1.0)) for i in range(800)]
    rig.take([*shaken, *mildly])
    rig.until(8.0)
    assert set(rig.codes()) == {"values-jump"}
    assert [fault.where for _, fault in rig.told] == [
        "PGN 61481 from source 0xA1",
        "PGN 61481 from source 0xA2",
    ]
    assert rig.errors("boom")[0] < 1.0
    assert rig.errors("stick") == []


def test_twice_the_rate_alone_is_a_hint(rig: Rig) -> None:
    rig.take([*steady(0xA1, 20.0, 0.0, 5.0, 0.005), *steady(0xA2, 7.0, 0.0, 5.0)])
    rig.until(5.0)
    assert rig.codes() == ["double-rate"]
    assert rig.errors("boom") == []


def test_a_silent_sensor_and_its_end(rig: Rig) -> None:
    boom = [*steady(0xA1, 20.0, 0.0, 3.0), *steady(0xA1, 20.0, 7.0, 9.0)]
    rig.take([*boom, *steady(0xA2, 7.0, 0.0, 9.0)])
    rig.until(9.0)
    assert rig.codes() == ["sensor-silent", "sensor-back"]
    assert rig.when("sensor-silent") == [pytest.approx(4.0, abs=0.2)]
    assert "boom (SSI2 of source 0xA1)" in rig.told[0][1].where
    assert rig.told[1][1].numbers["seconds"] == pytest.approx(4.0, abs=0.05)


def test_a_slow_sensor_is_silent_after_five_periods(rig: Rig) -> None:
    rig.take([*steady(0xA1, 20.0, 0.0, 10.0, 0.5), *steady(0xA2, 7.0, 0.0, 20.0)])
    rig.until(20.0)
    # Its last frame came at 9.5 s.
    assert rig.when("sensor-silent") == [pytest.approx(12.0, abs=0.2)]


def test_a_sensor_never_heard_is_told(rig: Rig) -> None:
    rig.take(steady(0xA2, 7.0, 0.0, 3.0))
    rig.until(3.0)
    assert rig.codes() == ["sensor-silent"]
    assert "no frame yet" in rig.told[0][1].found


def test_a_silent_bus_is_told_once_and_its_sensors_not(rig: Rig) -> None:
    rig.until(2.0)
    assert rig.codes() == ["bus-silent"]
    rig.take([*steady(0xA1, 20.0, 2.0, 4.0), *steady(0xA2, 7.0, 2.0, 4.0)])
    rig.until(9.0)
    rig.take([*steady(0xA1, 20.0, 9.0, 12.0), *steady(0xA2, 7.0, 9.0, 12.0)])
    rig.until(12.0)
    assert rig.codes() == ["bus-silent", "bus-back", "bus-silent", "bus-back"]


def test_silence_in_a_log_that_nobody_looked_at_meanwhile(tmp_path: Path) -> None:
    by = map_of(MAP, tmp_path)
    watch, decoder = Watch(by), Decoder(by)
    frames = [*steady(0xA1, 20.0, 0.0, 3.0), *steady(0xA1, 20.0, 13.0, 15.0)]
    for frame in frames:
        watch.take(frame, decoder.take(frame))
    told = watch.end(frames[-1].at_s)
    assert sorted((fault.code, fault.where.split()[0]) for fault in told) == [
        ("bus-silent", "the"), ("sensor-silent", "stick"),
    ]  # fmt: skip
    assert next(f for f in told if f.code == "bus-silent").numbers["seconds"] == pytest.approx(10.0, abs=0.02)


def test_a_flood_is_told_and_thinned_and_the_others_are_whole(rig: Rig) -> None:
    flood = steady(0xA1, 20.0, 2.0, 3.0, 1e-4)
    rig.take(
        [*steady(0xA1, 20.0, 0.0, 2.0), *flood, *steady(0xA1, 20.0, 3.0, 6.0), *steady(0xA2, 7.0, 0.0, 6.0)]
    )
    rig.until(6.0)
    assert {"flood", "bus-flood"} <= set(rig.codes())
    passed = [each.t_s for each in rig.readings if each.said["sensor"] == "boom"]
    during = Counter(int(10 * t) for t in passed if 2.1 <= t < 3.0)
    # 200 a second; a bucket's worth of 100 frames passes before.
    assert max(during.values()) <= 22
    assert sum(2.0 <= t < 2.1 for t in passed) <= 130
    assert max(b - a for a, b in pairwise(passed)) < 0.02, "and always the newest"
    assert len([each for each in rig.readings if each.said["sensor"] == "stick"]) == 600
    assert rig.watch.thinned == 10_000 + 500 - len(passed)


def test_of_raw_frames_that_flood_more_are_passed(tmp_path: Path) -> None:
    rig = Rig(map_of(RAW, tmp_path))
    frames = []
    for i in range(2 * 4000):
        layout, pgn, values = (
            ("ACCS", ACCS, {"longitudinal": 0.1, "lateral": 0.2, "vertical": 9.8}),
            ("ARI", ARI, {"roll_rate": 0.1, "pitch_rate": 0.2, "yaw_rate": 0.0, "latency": 5.0}),
        )[i % 2]
        frames.append(
            Frame(i / 8000, identifier(pgn, 0xA3), extended=True, data=BUILT_IN[layout].write(values))
        )
    rig.take(frames)
    count = sum("gyro_rad_s" in each.said and each.t_s >= 0.2 for each in rig.readings)
    assert 500 <= count <= 830


def test_faulty_frames_are_told_once_and_then_seldom(rig: Rig) -> None:
    bad = [replace(each, data=each.data[:6]) for each in steady(0xA1, 20.0, 0.0, 70.0, 0.02)]
    rig.take([*bad, *steady(0xA2, 7.0, 0.0, 70.0)])
    rig.until(70.0)
    assert rig.when("wrong-length") == pytest.approx([0.0, 30.0, 60.0], abs=0.4)
    last = [fault for _, fault in rig.told if fault.code == "wrong-length"][-1]
    assert last.numbers["times"] == pytest.approx(3000, abs=10)
    assert rig.watch.counts["wrong-length"] == 3500


def test_lacks_merits_and_latencies_are_counted(rig: Rig) -> None:
    frames = [
        *(slope(0.01 * i, 0xA1, Lack.ERROR) for i in range(10)),
        *(slope(0.1 + 0.01 * i, 0xA1, Lack.NOT_AVAILABLE) for i in range(10)),
        *(slope(0.2 + 0.01 * i, 0xA1, 5.0, pitch_merit=1) for i in range(10)),
        *(slope(0.3 + 0.01 * i, 0xA1, 5.0, latency=120.0) for i in range(10)),
        *(slope(0.01 * i, 0xA2, 5.0, latency=Lack.NOT_AVAILABLE) for i in range(40)),
    ]
    rig.take(frames)
    rig.until(0.5)
    assert rig.watch.counts == {"no-value": 30, "degraded": 10, "latency-high": 10, "latency-not-told": 1}


def test_frames_of_other_kinds_are_counted(rig: Rig) -> None:
    frame = slope(0.0, 0xA1, 5.0)
    rig.take([replace(frame, kind=kind) for kind in ("error", "remote", "fd", "fd")])
    assert rig.watch.counts == {"error-frames": 1, "remote-frames": 1, "can-fd": 2}
    assert rig.readings == []


def test_a_unit_that_the_map_does_not_name_is_told_once(rig: Rig) -> None:
    rig.take([*steady(0xB7, 1.0, 0.0, 40.0), *steady(0xA1, 1.0, 0.0, 40.0), *steady(0xA2, 1.0, 0.0, 40.0)])
    rig.until(40.0)
    assert [(fault.code, fault.where) for _, fault in rig.told] == [
        ("not-mapped", "PGN 61481 from source 0xB7")
    ]


def test_random_frames_never_raise_and_do_not_fill_the_memory(rig: Rig) -> None:
    rng = random.Random(8)  # noqa: S311 - no secret hangs on it
    frames = [
        Frame(0.001 * i, rng.getrandbits(29), rng.random() < 0.9, rng.randbytes(rng.randrange(9)))
        for i in range(20_000)
    ]
    rig.take(frames)
    assert len(rig.watch._streams) <= 4096
    assert len(rig.watch._tallies._by) <= 600


@pytest.mark.parametrize("sensing", ["", "[sensing]\nnoise_scale = 10\nrate_hz = 100\n"])
def test_a_simulated_dig_has_nothing_to_tell(sensing: str) -> None:
    """Real courses of a machine at work, as noisy as no profile is: two units are never seen where there is one."""
    dig = dig_of(
        'touch reach_m=5; still_s=1.8; record="reference"',
        'pass over="footing"; height_m=0.6; from_reach_m=5.2; to_reach_m=3.4; floor_deg=10; speed_m_s=0.5',
        "swing by_deg=60",
        more=sensing,
    )  # fmt: skip
    by = map_for(dig)
    sources = {entry.sensor: entry.parts[0].source for entry in by.entries}
    rig = Rig(by)
    rig.take(
        Frame(each.t_s, identifier(SSI2, sources[each.said["sensor"]] or 0), extended=True, data=frame_for(each.said, 0))
        for each in signals(dig, plan(dig), 5) if "sensor" in each.said
    )  # fmt: skip
    assert len(rig.readings) > 1000
    assert rig.told == []


def test_each_kind_of_no_value_is_counted_by_itself(rig: Rig) -> None:
    def bits(i: int) -> bytes:
        # 0xFC.. and 0xFB.. in the highest of three bytes of pitch: two of J1939's reserved codes.
        return bytes([i, 0, 0xFC if i % 2 else 0xFB]) + bytes(3) + b"\0\0"

    rig.take(Frame(0.01 * i, identifier(SSI2, 0xA1), extended=True, data=bits(i)) for i in range(14))
    rig.take(slope(0.2 + 0.01 * i, 0xA1, Lack.ERROR) for i in range(5))
    rig.take(slope(0.3 + 0.01 * i, 0xA1, Lack.NOT_AVAILABLE) for i in range(37))
    rig.told += [(1.0, fault) for fault in rig.watch.end(1.0)]
    counts: dict[str, float] = {}
    for _, fault in rig.told:
        if fault.code == "no-value":
            counts[fault.found.partition(" 0x")[0].partition(";")[0]] = fault.numbers["times"]
    assert counts == {"the reserved code": 14.0, "error": 5.0, "not available": 37.0}
