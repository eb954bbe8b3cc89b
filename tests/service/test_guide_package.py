"""The guide on the package: its programs run in order, as one, and say what the text says."""

import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

GUIDE = files("service").joinpath("guide", "package.md").read_text(encoding="utf-8")
PROGRAMS = re.findall(r"^```python\n(.*?)^```$", GUIDE, flags=re.DOTALL | re.MULTILINE)


def test_the_programs(tmp_path: Path) -> None:
    script = tmp_path / "package.py"
    script.write_text("\n".join(PROGRAMS), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    *lines, varied = done.stdout.splitlines()
    assert 0.0 < float(varied.split()[0]) < 0.05
    assert varied.endswith(" True"), "a stick off by 3 mm is still a machine"
    assert lines[0].startswith("{'boom': ["), lines[0]
    assert float(lines[1].split()[0]) < 0.0, "the edge stands below the boom foot pin"
    assert lines[2].startswith("beyond-joint stick stick: expected ")
    solved, words = lines[3].split(" ", 1)
    assert 0 < int(solved) < 1000
    assert set(re.findall(r"'([a-z-]+)'", words)) == {"ok", "beyond-joint"}
    assert lines[4] == "(21, 1000)"
    assert lines[6].startswith("{'pitch': 0.573, 'roll': 5.0, 'boom': 40.107, "), lines[6]
    assert lines[7].startswith("impossible-reading boom: expected ")
    # At 42 deg over the horizontal, leaned 5 deg: asin(cos 5 sin 42.2) is 42.0.
    assert abs(float(lines[8]) + 0.2) <= 0.005
    assert [line.split()[0] for line in lines[-9:-5]] == ["boom", "fore_boom", "stick", "bucket"]
    assert float(lines[-5].split()[0]) > 2.0
    assert re.match(r"within \d+ mm \('zero of cab: ", lines[-4])
    assert lines[-3].startswith("{'sensors skewed': "), "5 deg of roll apart"
    assert lines[-2].startswith("[('"), lines[-2]
    assert lines[-1].startswith("[0.005] "), lines[-1]


def test_what_it_names_is_public() -> None:
    import kinematics  # noqa: PLC0415 - only to look at its names
    import machine_profiles  # noqa: PLC0415

    for module, names in re.findall(r"from (kinematics|machine_profiles) import (.+)", GUIDE):
        public = {"kinematics": kinematics, "machine_profiles": machine_profiles}[module].__all__
        assert set(names.split(", ")) <= set(public), names
