"""The command budget: the same as the service, in words, as files, with exit codes."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from machine_profiles import shipped
from service.cli import app

BUDGET = (
    "budget", "crawler-14t", "digging-1500", "--reach", "3:8", "--depth", "0:3", "--touch", "6:0", "--columns", "26",
    "--rows", "16",
)  # fmt: skip


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, list(words))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_in_print_and_for_programs() -> None:
    code, out, err = run(*BUDGET, "--tolerance", "30mm")
    assert code == 0, err
    assert "worst" in out
    assert "dimensions" in out
    assert "Advisory only" in out
    code, out, _ = run(*BUDGET, "--tolerance", "30mm", "--json")
    told = json.loads(out)
    assert code == 0
    assert told["tolerance"]["half_width"]["m"] == pytest.approx(0.03)
    assert len(told["standard_mm"]) == 16


def test_a_tolerance_that_no_sensor_can_keep_to_is_exit_code_1() -> None:
    code, out, _ = run(*BUDGET, "--tolerance", "10mm", "--json")
    assert code == 1
    assert json.loads(out)["tolerance"]["beyond_sensors"]


def test_lengths_have_a_unit_of_their_own_or_the_usual_one() -> None:
    metres = json.loads(run(*BUDGET, "--json")[1])
    words = [
        *BUDGET[:3],
        "--reach",
        "3000mm:8",
        "--depth",
        "0:300000mm",
        "--touch",
        "6m:0",
        "--columns",
        "26",
        "--rows",
        "16",
    ]
    words[6] = "0:3000mm"
    assert json.loads(run(*words, "--json")[1])["standard_mm"] == metres["standard_mm"]
    feet = json.loads(
        run(*BUDGET[:3], "--reach", "10:20", "--depth", "0:9", "--touch", "19:0", "--units", "ft", "--json")[
            1
        ]
    )
    assert feet["reach_m"][0] == pytest.approx(3.048)
    inches = run(
        *BUDGET[:3],
        "--reach",
        "10':20'",
        "--depth",
        "0':9'",
        "--touch",
        "19' 0\":0'",
        "--units",
        "ftin",
        "--json",
    )
    assert json.loads(inches[1])["standard_mm"] == feet["standard_mm"]


def test_files_are_new_ones(tmp_path: Path) -> None:
    names = {"--csv": "zone.csv", "--svg": "zone.svg", "--png": "zone.png"}
    options = [word for option, name in names.items() for word in (option, str(tmp_path / name))]
    code, out, _ = run(*BUDGET, *options)
    assert code == 0
    assert out.count("written: ") == 3
    assert (
        (tmp_path / "zone.csv").read_text(encoding="utf-8").startswith("reach_m,height_m,depth_m,standard_mm")
    )
    assert (tmp_path / "zone.svg").read_text(encoding="utf-8").startswith("<svg")
    assert (tmp_path / "zone.png").read_bytes().startswith(b"\x89PNG")
    code, out, err = run(*BUDGET, *options)
    assert code == 1
    assert out == ""
    assert err.count("a new file") == 3
    code, _, err = run(*BUDGET, "--csv", str(tmp_path / "nowhere" / "zone.csv"))
    assert code == 1
    assert "--csv" in err


def test_one_path_for_two_files_is_refused_first(tmp_path: Path) -> None:
    path = tmp_path / "zone.svg"
    other = tmp_path / "." / "zone.svg"
    code, out, err = run(*BUDGET, "--svg", str(path), "--png", str(other))
    assert code == 1
    assert out == ""
    assert "--png" in err
    assert "the file of --svg too" in err
    assert not path.exists()


def test_the_table_speaks_the_units_asked_for() -> None:
    code, out, err = run(
        *BUDGET[:3], "--reach", "10':20'", "--depth", "0:9'", "--touch", "19':0", "--units", "ftin", "--tolerance",
        '1"', "--carried", "1",
    )  # fmt: skip
    assert code == 0, err
    assert " mm" not in out
    assert "1 move by laser" in out
    assert "dimensions (taped" in out
    code, out, _ = run(
        *BUDGET[:3],
        "--reach",
        "10:20",
        "--depth",
        "0:9",
        "--touch",
        "19:0",
        "--units",
        "ft",
        "--tolerance",
        "5mm",
    )
    assert code == 1
    assert " mm" not in out
    assert "±0.0164 ft" in out
    code, _, err = run(*BUDGET[:3], "--reach", "10:20", "--depth", "0:9", "--touch", "39:0", "--units", "ft")
    assert code == 1
    assert "a reach of 39.00 ft" in err
    assert "19.74 ft" in err


def test_a_file_of_your_own_and_a_plain_set(tmp_path: Path) -> None:
    own = tmp_path / "ours.toml"
    text = shipped()["machine", "crawler-14t"].source_text.replace('id = "crawler-14t"', 'id = "ours"')
    own.write_text(text, encoding="utf-8")
    code, out, err = run(
        "budget", str(own), *BUDGET[2:], "--by", "gravity", "--figure", "noise_deg=0.02", "--sensor",
        "stick.zero_uncertainty_deg=0.3", "--uncertainty", "boom_length=2", "--uncertainty", "mast_x=0.1", "--json",
    )  # fmt: skip
    assert code == 0, err
    told = json.loads(out)
    assert told["machine"]["id"] == "ours"
    now = {each["figure"]: each["now"] for each in told["sensors"]["stick"]}
    assert now["zero_uncertainty_deg"] == pytest.approx(0.3)
    assert now["noise_deg"] == pytest.approx(0.02)


@pytest.mark.parametrize(
    ("words", "needles"),
    [
        (["--touch", "6"], ["--touch", "3:8"]),
        (["--touch", "12:0"], ["--touch", "the nearest reach"]),
        (["--reach", "8:3"], ["--reach", "lower end below the upper"]),
        (["--reach", "x:3", "--touch", "y:0"], ["--reach", "--touch"]),
        (["--height", "0:1"], ["--depth", "both"]),
        (["--tolerance", "-5mm"], ["--tolerance", "above 0"]),
        (["--tolerance", "inf"], ["--tolerance"]),
        (["--units", "cubits"], ["cubits"]),
        (["--by", "sonar"], ["--by", "gravity"]),
        (["--figure", "noise_deg=0.1"], ["--figure", "by"]),
        (["--sensor", "bom.noise_deg=0.1"], ["--sensor bom", "did you mean boom?"]),
        (["--sensor", "boom.noise_deg=-0.1"], ["--sensor boom.noise_deg"]),
        (["--sensor", "boom=0.1"], ["--sensor"]),
        (["--uncertainty", "boom_lenght=2"], ["--uncertainty boom_lenght", "did you mean boom_length?"]),
        (["--uncertainty", "boom_length=nan"], ["--uncertainty", "NAME=NUMBER"]),
        (["--columns", "1"], ["--columns"]),
        (["--columns", "400", "--rows", "400"], ["--columns", "62500"]),
        (["--carried", "-1"], ["--carried"]),
    ],
)
def test_refusals(words: list[str], needles: list[str]) -> None:
    code, out, err = run(*BUDGET, *words)
    assert code == 1
    assert out == ""
    for needle in needles:
        assert needle in err
    code, out, _ = run(*BUDGET, *words, "--json")
    assert code == 1
    assert json.loads(out)["faults"]


def test_unknown_profiles_are_both_told() -> None:
    code, _, err = run("budget", "crawler-14", "diging-1500", *BUDGET[3:])
    assert code == 1
    assert "did you mean crawler-14t?" in err
    assert "did you mean digging-1500?" in err
