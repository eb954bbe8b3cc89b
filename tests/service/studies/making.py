"""A small study of the pump-house machine, of several parts, some of whose variants are no machine."""

from service.prompt import find
from service.studies.plan import Plan
from service.studies.study_file import read_study

TEXT = """\
schema = 1
kind = "study"
name = "Pins of the bucket linkage"
machine = "crawler-14t"
attachment = "tilting-1800"

[units]
length = "mm"
angle = "deg"

[design]
kind = "latin"
rows = 1000
seed = 1

[vary.idler_length]
low = -60
high = 60
from_measured = true

[vary.boom_length]
standard = 5

[poses]
combine = "grid"
[poses.angles]
pitch = { at = 0 }
roll = { at = 0 }
tilt = { at = 0 }
[poses.travel]
boom = { low = 0, high = 1, count = 11 }
stick = { low = 0, high = 1, step = 0.25 }
bucket = { values = [0.5] }

[results]
each = "pose"
outputs = ["centre_height", "bucket_angle"]
"""
BY_VARIANT = TEXT.replace('each = "pose"\noutputs = ["centre_height", "bucket_angle"]', """\
each = "variant"
traits = ["bucket_travel", "least_transmission"]

[[metrics]]
name = "depth"
output = "centre_height"
how = "least"

[[metrics]]
name = "deep"
output = "centre_height"
how = "share_within"
high = -1500""")  # fmt: skip


def planned(text: str = TEXT) -> Plan:
    """The plan of a study's text."""
    return read_study(text, "pins.toml", find)
