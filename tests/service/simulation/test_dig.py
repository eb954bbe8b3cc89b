"""A description with faults is refused with all of them, each at its place; a good one names only what there is."""

from pathlib import Path

import pytest

from kinematics.errors import Fault, Refused
from machine_profiles import shipped
from service.simulation.dig import read_dig, shipped_dig

from .digs import HEAD, dig_of, dig_text


def faults_of(text: str) -> dict[str, Fault]:
    with pytest.raises(Refused) as caught:
        read_dig(text, "pit.toml", None)
    return {fault.where: fault for fault in caught.value.faults}


def line_of(text: str, words: str) -> int:
    return 1 + text[: text.index(words)].count("\n")


def test_shipped_one_is_the_pump_house_beside_its_slab() -> None:
    dig = shipped_dig()
    assert (dig.machine.id, dig.attachment.id) == ("crawler-14t", "tilting-1800")
    assert dig.over_slab("footing", 0.35) == pytest.approx(-1.17)
    assert dig.document.slab.elevation_m == 100.0
    assert {step.do for step in dig.document.steps} >= {"strike", "touch", "pass", "travel", "swing", "turn"}


def test_keys_and_numbers_all_at_once_with_their_lines() -> None:
    text = dig_text(
        "pass from_reach_m=6; to_reach_m=4; height=0.1; sped_m_s=0.2",
        "wait seconds=-1",
        "fly",
        'turn joint="bucket"',
    )
    found = faults_of(text)
    first = line_of(text, 'do = "pass"') - 1
    assert found[f"pit.toml:{first + 4}: step 1: height"].code == "unknown-field"
    assert "height_m" in found[f"pit.toml:{first + 4}: step 1: height"].advice
    assert "speed_m_s" in found[f"pit.toml:{first + 5}: step 1: sped_m_s"].advice
    assert found[f"pit.toml:{first}: step 1: height_m"].code == "missing-field"
    assert found[f"pit.toml:{line_of(text, 'seconds=-1')}: step 2: seconds"].code == "out-of-range"
    assert found[f"pit.toml:{line_of(text, 'fly')}: step 3: do"].code == "not-a-choice"
    assert found[f"pit.toml:{line_of(text, 'turn') - 1}: step 4: by_deg"].expected == "the field by_deg"
    assert len(found) == 6


def test_names_that_are_not_there_all_at_once() -> None:
    text = dig_text(
        'travel stand="frist"', 'place over="footng"; height_m=0; reach_m=5', 'quiet sensor="bom"; seconds=1',
        'knock sensor="boom"; more_mm=3', 'touch reach_m=5; record="turning-point"',
        'place height_m=0; reach_m=5; point="tooth_left"', 'turn joint="fore_boom"; by_deg=3',
        more='[sensors.boom]\nnoise_mm = 1\n[sensors.nose]\nrate_hz = 5\n',
    )  # fmt: skip
    codes = {fault.where.partition(": ")[2]: (fault.code, fault.advice) for fault in faults_of(text).values()}
    assert codes["step 1: stand"] == ("no-such-stand", "did you mean first?")
    assert codes["step 7: joint"] == ("no-such-joint", "")
    assert codes["step 2: over"] == ("no-such-datum", "did you mean footing?")
    assert codes["step 3: sensor"] == ("no-such-sensor", "did you mean boom?")
    assert codes["step 4: more_mm"][0] == "unknown-field"
    assert codes["step 5: name"][0] == "missing-field"
    assert codes["step 6: point"][0] == "no-such-point"
    assert codes["sensors.boom.noise_mm"][0] == "wrong-units"
    assert codes["sensors.nose"][0] == "no-such-sensor"
    assert len(codes) == 9


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("dig = [", "broken-toml"), (HEAD, "missing-field"),
        (dig_text("wait seconds=1").replace("crawler-14t", "crawler-14"), "unknown-machine"),
        (dig_text("wait seconds=1").replace("boom = 25, ", ""), "missing-joint"),
        (dig_text("wait seconds=1").replace("elevation_m = 100.0", "elevation_m = nan"), "not-finite"),
        (dig_text("wait seconds=1").replace('name = "second"', 'name = "first"'), "name-taken"),
        (dig_text("wait seconds=1", more="[sensors.boom]\nbias = 1\n"), "unknown-field"),
        (dig_text("strike").replace("[laser]\nplane_over_slab_m = 2.75", ""), "no-laser"),
    ],
)  # fmt: skip
def test_what_else_is_refused(text: str, code: str) -> None:
    assert code in {fault.code for fault in faults_of(text).values()}


def test_machine_from_a_file_beside_it(tmp_path: Path) -> None:
    text = shipped()["machine", "crawler-14t"].source_text.replace('id = "crawler-14t"', 'id = "our-crawler"')
    (tmp_path / "ours.toml").write_text(text, encoding="utf-8")
    described = dig_text("wait seconds=1").replace('"crawler-14t"', '"ours.toml"')
    assert read_dig(described, "pit.toml", tmp_path).machine.id == "our-crawler"
    with pytest.raises(Refused, match="a profile file beside"):
        read_dig(described, "pit.toml", None)
    (tmp_path / "ours.toml").write_text(text.replace("length = 4600", "length = -1"), encoding="utf-8")
    with pytest.raises(Refused, match=r"ours\.toml:\d+"):
        read_dig(described, "pit.toml", tmp_path)


def test_defaults_are_those_that_the_tables_say() -> None:
    [step] = dig_of("strike").document.steps
    assert step.do == "strike"
    assert step.ways == ["up", "down"]
