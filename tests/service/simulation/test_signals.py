"""What simulated sensors say: exactly the truth but for the errors that were described, and the same by one seed."""

import math
from pathlib import Path

import numpy as np
import pytest

from kinematics.sensing import readings_of
from machine_profiles import shipped
from service.bus.reading import Reading
from service.simulation.course import Course
from service.simulation.dig import Dig, read_dig
from service.simulation.motion import plan
from service.simulation.signals import instruments, signals

from .digs import dig_of, dig_text

EXACT = "[sensing]\nnoise_scale = 0\nbias_scale = 0\nstep_deg = 0\nrate_hz = 20\n"
MOVING = 'pass over="footing"; height_m=0.2; from_reach_m=5.5; to_reach_m=4.5; floor_deg=10'
# Six decimals of a degree are written.
WRITTEN_DEG = 1e-6


def said(dig: Dig, seed: int = 1) -> tuple[Course, list[Reading]]:
    course = plan(dig)
    return course, list(signals(dig, course, seed))


def of(told: list[Reading], sensor: str) -> list[tuple[float, float]]:
    return [(each.t_s, each.said["deg"]) for each in told if each.said.get("sensor") == sensor]


def test_without_errors_they_say_what_was_true_their_latency_ago() -> None:
    dig = dig_of(MOVING, more=EXACT + "[sensors.boom]\nlatency_ms = 200\n")
    course, told = said(dig)
    checked = 0
    for each in told:
        name = each.said.get("sensor")
        if name is None:
            continue
        late = 0.2 if name == "boom" else dig.sensors.all[name].latency_s
        true = readings_of(dig.sensors, course.at(each.t_s - late).pose)[name]
        numbers = each.said["deg"] if isinstance(true, tuple) else [each.said["deg"]]
        for number, angle in zip(numbers, true if isinstance(true, tuple) else (true,), strict=True):
            assert number == pytest.approx(math.degrees(angle), abs=WRITTEN_DEG)
            checked += 1
    assert checked > 500


def test_latency_shifts_a_sensor_and_nothing_else() -> None:
    now, late = (
        said(dig_of(MOVING, more=f"{EXACT}[sensors.boom]\nlatency_ms = {ms}\n"))[1] for ms in (0, 250)
    )
    boom = dict(of(now, "boom"))
    shifted = [(t, value, boom[round(t - 0.25, 6)]) for t, value in of(late, "boom") if t >= 0.25]
    assert len(shifted) > 50
    assert all(value == pytest.approx(before, abs=WRITTEN_DEG) for _, value, before in shifted)
    assert max(abs(value - boom[t]) for t, value, _ in shifted) > 0.1, "a boom that moves"
    assert of(now, "stick") == of(late, "stick")


def test_one_seed_one_word_and_another_another() -> None:
    dig = dig_of(MOVING)
    _, one = said(dig, 3)
    _, again = said(dig, 3)
    _, other = said(dig, 4)
    assert one == again
    assert [each.t_s for each in one] == [each.t_s for each in other]
    assert one != other


def test_more_noise_on_one_leaves_the_others_alone() -> None:
    _, one = said(dig_of(MOVING), 3)
    _, other = said(dig_of(MOVING, more="[sensors.stick]\nnoise_deg = 0.3\nrate_hz = 10\n"), 3)
    assert of(one, "boom") == of(other, "boom")
    assert of(one, "stick")[::5] != of(other, "stick")


def test_noise_bias_and_steps_are_as_described() -> None:
    more = "[sensing]\nrate_hz = 100\n[sensors.boom]\nnoise_deg = 0.05\nbias_deg = 0.12\nstep_deg = 0\n"
    more += "[sensors.stick]\nnoise_deg = 0\nbias_deg = 0\nstep_deg = 0.25\n"
    dig = dig_of("wait seconds=60", more=more)
    course, told = said(dig)
    true = readings_of(dig.sensors, course.at(0.0).pose)
    boom = np.array([value for _, value in of(told, "boom")]) - math.degrees(float(true["boom"]))  # type: ignore[arg-type]
    assert len(boom) == 6001
    # Five standard errors of a mean and of a deviation of 6001 readings.
    assert boom.mean() == pytest.approx(0.12, abs=5 * 0.05 / math.sqrt(6001))
    assert boom.std() == pytest.approx(0.05, abs=5 * 0.05 / math.sqrt(2 * 6001))
    stick = {value for _, value in of(told, "stick")}
    assert len(stick) == 1
    assert abs(stick.pop() - math.degrees(float(true["stick"]))) <= 0.125  # type: ignore[arg-type]
    assert all(abs(value / 0.25 - round(value / 0.25)) < 1e-9 for _, value in of(told, "stick"))


def test_biases_left_open_are_drawn_with_the_profiles_spread() -> None:
    dig = dig_of("wait seconds=1", more="[sensing]\nbias_scale = 0.8\n")
    drawn = [instruments(dig, seed)["boom"].bias[0] / dig.sensors.all["boom"].noise for seed in range(400)]
    assert np.std(drawn) == pytest.approx(0.8, abs=5 * 0.8 / math.sqrt(800))
    assert instruments(dig, 1)["body"].bias[0] != instruments(dig, 1)["body"].bias[1]


def test_a_quiet_sensor_says_nothing_until_it_speaks_again() -> None:
    _, told = said(dig_of("wait seconds=2", 'quiet sensor="boom"; seconds=1.5', "wait seconds=4", more=EXACT))
    times = [t for t, _ in of(told, "boom")]
    assert not [t for t in times if 2.0 <= t < 3.5]
    assert {2.0 - 0.05, 3.5} <= {round(t, 6) for t in times}
    assert len(of(told, "stick")) == len(times) + 30


def test_a_knock_shows_from_then_on_in_one_sensor() -> None:
    dig = dig_of("wait seconds=2", 'knock sensor="boom"; nose_up_deg=1.5', "wait seconds=2", more=EXACT)
    _, told = said(dig)
    boom = of(told, "boom")
    late = dig.sensors.all["boom"].latency_s
    before = {value for t, value in boom if t - late < 2.0}
    after = {value for t, value in boom if t - late >= 2.0}
    assert len(before) == len(after) == 1
    assert after.pop() - before.pop() == pytest.approx(1.5, abs=2 * WRITTEN_DEG)
    assert len({value for _, value in of(told, "stick")}) == 1


def test_the_receivers_bit_is_on_within_its_dead_band_once_a_turn() -> None:
    course, told = said(dig_of("strike speed_mm_s=18", more=EXACT))
    bits = [(each.t_s, each.said["receiver_hit"]) for each in told if "receiver_hit" in each.said]
    assert np.allclose(np.diff([t for t, _ in bits]), 0.1)
    for t, hit in bits:
        assert hit == (abs(course.at(t).over_slab("receiver") - 2.75) <= 0.003 * course.at(t).pose.plumb[2])
    hits = [t for t, hit in bits if hit]
    # 6 mm at 18 mm/s are three turns of the head, up and down.
    assert 6 <= len([t for t in hits if t > 3.0]) <= 8


def test_a_receiver_of_heights_tells_the_beam_over_its_centre_while_it_sees_it() -> None:
    dig = dig_of("strike", more=EXACT)
    text = dig.document.laser
    assert text is not None
    object.__setattr__(
        dig,
        "document",
        dig.document.model_copy(update={"laser": text.model_copy(update={"tells": "height"})}),
    )
    course, told = said(dig)
    above = [(each.t_s, each.said["receiver_above_mm"]) for each in told if "receiver_above_mm" in each.said]
    assert len(above) > 80
    for t, mm in above:
        off = 1e3 * (2.75 - course.at(t).over_slab("receiver"))
        assert mm == pytest.approx(off / math.cos(course.at(t).pose.mast_angle), abs=0.051)
        assert abs(mm) <= 100.0


def test_what_a_sensors_range_does_not_hold_is_an_error_not_a_number(tmp_path: Path) -> None:
    # The boom's sensor sits 3.2 deg nose up: at 25 deg, body 0.6 deg nose up, it would say 28.8.
    text = shipped()["machine", "crawler-14t"].source_text
    boom = text.partition("[sensors.boom]")[2]
    narrow = boom.replace("low = -180, high = 180", "low = -28, high = 28", 1)
    (tmp_path / "crawler.toml").write_text(text.replace(boom, narrow), encoding="utf-8")
    dig = read_dig(
        dig_text("wait seconds=1", more=EXACT).replace("crawler-14t", "crawler.toml"), "pit.toml", tmp_path
    )
    _, told = said(dig)
    assert {str(each.said) for each in told if each.said.get("sensor") == "boom"} == {
        "{'sensor': 'boom', 'error': 'out of range'}"
    }
