"""From a check that was asked for to the entry it becomes: the readout of that moment, kept whole, or refused."""

from dataclasses import dataclass

from kinematics.arm import Pose
from kinematics.errors import Fault, Refused
from kinematics.parameters import EDGE_POINTS
from kinematics.readout import LINES, Aim, Readout
from kinematics.units import percent_from_ratio

from .dug_payloads import CheckedPoint, CheckTaken, Warned
from .dug_requests import CheckIn
from .posing import as_record
from .requests import PoseIn
from .state import JobState


@dataclass(frozen=True, slots=True)
class Doubt:
    """Standard uncertainties of a readout: of elevation and of cut or fill (m) at left, centre and right, of the
    cross-slope (ratio); how many sources were taken as usual."""

    elevation: tuple[float, float, float]
    cut_fill: tuple[float, float, float]
    cross_slope: float
    assumed: int


def resting(asked: CheckIn) -> PoseIn:
    """The pose of a check. `Refused` "no-pose" where neither the request nor a stream gives one."""
    if asked.pose is None:
        raise Refused([
            Fault("no-pose", "pose", "none, and no stream of readings", "a pose, or sensors that feed readings",
                  "give the pose, or connect the sensors (/guide/live)")
        ])  # fmt: skip
    return asked.pose


def check(
    state: JobState, asked: CheckIn, found: Pose, aim: Aim, told: Readout, doubt: Doubt | None, why_not: list[Fault],
    warned: list[Fault],
) -> CheckTaken:  # fmt: skip
    """A check of a pose that was read against a target; `doubt`: how far it is to be trusted, else `why_not`.

    Raises `Refused` with the readout's own reasons where it has no number, or none that can be trusted.
    """
    stand = state.stand
    if told.why_not or doubt is None:
        raise Refused([*told.why_not, *why_not])
    height = state.book.height
    if stand is None or height is None:
        raise AssertionError("a readout without a setup or a height says so")
    left, centre, right = (
        _point(found, told, doubt, name, place, i)
        for i, (name, place) in enumerate(zip(EDGE_POINTS, LINES[asked.line], strict=True))
    )
    across = told.target_cross_slope
    return CheckTaken(
        target=asked.target, line=asked.line, left=left, centre=centre, right=right, tolerance_m=aim.target.tolerance_m,
        cross_slope_percent=percent_from_ratio(found.cross_slope),
        cross_slope_standard_percent=percent_from_ratio(doubt.cross_slope),
        target_cross_slope_percent=None if across is None else percent_from_ratio(across),
        entered_station_m=aim.entered_station, pose=as_record(found, resting(asked)), setup=state.book.setup,
        machine=stand.machine.id, machine_hash=stand.machine.hash, attachment=stand.attachment.id,
        attachment_hash=stand.attachment.hash, assumed=doubt.assumed,
        warnings=tuple(
            Warned(code=each.code, found=each.found, expected=each.expected, advice=each.advice)
            for each in (*told.warnings, *warned)
        ),
        hangs_on=tuple(sorted(height.hangs_on | aim.benchmark.hangs_on | aim.hangs_on)), note=asked.note,
    )  # fmt: skip


def _point(found: Pose, told: Readout, doubt: Doubt, name: str, place: str, i: int) -> CheckedPoint:
    read = told.points[name]
    compared = read.cut_fill
    if read.elevation is None or read.target is None or compared is None:
        raise AssertionError("a readout without a reason for a missing number has all of them")
    x, y, _ = found.level(place)
    return CheckedPoint(
        reach_m=x, lateral_m=y, station_m=read.station, elevation_m=read.elevation,
        elevation_standard_m=doubt.elevation[i], target_elevation_m=read.target, above_target_m=compared.value_m,
        cut_fill_standard_m=doubt.cut_fill[i], below_floor_limit=compared.below_floor_limit,
    )  # fmt: skip
