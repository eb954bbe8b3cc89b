"""A calibrated pair in a stream: printed fast or told slowly, a readout counts what was found together alike."""

import math

from kinematics.arm import pose
from machine_profiles import parse_profile
from machine_profiles.recalibrated import NewValue
from tests.machine_profiles.test_recalibrated import write
from tests.service.api.doing import as_asked
from tests.service.api.touching import BUCKET, MACHINE, ours, sensors_of

from .making import Door
from .test_plate import Both

FOUND = {
    "boom.zero": NewValue(math.radians(3.4), math.radians(0.3)),
    "stick.zero": NewValue(math.radians(-1.5), math.radians(0.2)),
}


def test_both_ways_count_what_hangs_together(door: Door) -> None:
    plain, bucket, _ = ours()
    job, within = door.job("m"), {}
    door.http.post("/v1/attachments", {"toml": bucket.source_text})
    job.benchmark("slab", 100.0)
    for coefficient in (0.0, -0.9):
        text = write(plain, FOUND, correlations=[[coefficient]]).text
        sensors = sensors_of(parse_profile(text), bucket)
        assert len(sensors.correlations) == (coefficient != 0.0)
        door.http.post("/v1/machines", {"toml": text})
        job.setup(MACHINE, BUCKET)
        first = pose(sensors.assembly, pitch=0.01, roll=0.0, boom=0.35, stick=-1.6, bucket=0.3)
        touch = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": as_asked(first)}
        job.post("touches", touch)
        both = Both(door, job, sensors, None, "edge")
        for k in range(6):
            both.hear(
                pose(sensors.assembly, pitch=0.01, roll=0.0, boom=0.75, stick=-1.2 + 1e-4 * k, bucket=0.3)
            )
            told = both.compare()
        assert both.printed > 2
        within[coefficient] = told["readout"]["points"]["centre"]["elevation_within"]["m"]
    assert abs(within[-0.9] - within[0.0]) > 1e-3
