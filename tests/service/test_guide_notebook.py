"""The guide's page on notebooks: its programs run in order, as one, and make the very figures it shows."""

import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

from tests.need import need

GUIDE = files("service").joinpath("guide", "notebook.md").read_text(encoding="utf-8")
PROGRAMS = re.findall(r"^```python\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)
SHOWN = re.findall(r"^!\[[^]]+\]\(/guide/figures/([a-z]+\.svg)\)$", GUIDE, flags=re.MULTILINE)


def test_its_programs_make_its_figures(tmp_path: Path) -> None:
    need("xarray")
    script = tmp_path / "notebook.py"
    script.write_text("\n".join(PROGRAMS), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script)], cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    net, exact, units = done.stdout.splitlines()
    assert net.startswith("{'boom': 51, 'stick': 53} ")
    assert 0 < int(net.split()[-1]) < 51 * 53, "some of these poses cannot be"
    assert float(exact) == 0.0, "with the stick as measured the edge stands on the footing"
    assert units == "['m/rad', 'm/rad', 'm/rad']"
    assert SHOWN == ["net.svg", "footing.svg"]
    there = {each.name for each in files("service").joinpath("guide", "figures").iterdir()}
    assert there == set(SHOWN)
    for name in SHOWN:
        shown = files("service").joinpath("guide", "figures", name).read_text(encoding="utf-8")
        assert (tmp_path / name).read_text(encoding="utf-8") == shown, (
            f"make {name} anew with the page's programs"
        )


def test_what_it_names_is_public() -> None:
    import kinematics  # noqa: PLC0415 - only to look at its names

    for names in re.findall(r"from kinematics import (.+)", GUIDE):
        assert set(names.split(", ")) <= set(kinematics.__all__), names
