"""Small described digs for tests."""

from pathlib import Path

from service.simulation.dig import Dig, read_dig

HEAD = """
dig = 1
name = "Trial pit"
machine = "crawler-14t"
attachment = "tilting-1800"
seed = 5

[slab]
elevation_m = 100.0

[pace]
joint_deg_s = 18

[laser]
plane_over_slab_m = 2.75

[datums]
footing = -1.5

[[stands]]
name = "first"
origin_over_slab_m = 1.62
pitch_deg = 0.6
roll_deg = -0.4

[[stands]]
name = "second"
origin_over_slab_m = 1.48
pitch_deg = 2.0
roll_deg = 1.0

[start]
stand = "first"
joints_deg = { boom = 25, stick = -90, bucket = 40, tilt = 0 }
"""


def steps(*each: str) -> str:
    """Steps as text, one a word: steps("wait", 'turn joint="bucket"; by_deg=10')."""
    lines = []
    for words in each:
        do, *rest = words.split(" ", 1)
        lines += ["[[steps]]", f'do = "{do}"', *(rest[0].split("; ") if rest else [])]
    return "\n" + "\n".join(lines) + "\n"


def dig_text(*each: str, more: str = "") -> str:
    return HEAD + more + steps(*each)


def dig_of(*each: str, more: str = "", folder: Path | None = None) -> Dig:
    """A dig of these steps, with further tables before them."""
    return read_dig(dig_text(*each, more=more), "pit.toml", folder)
