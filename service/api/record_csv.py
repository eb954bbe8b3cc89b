"""Checks as a table for spreadsheets: a line each, void ones too."""

import csv
import io

from kinematics.agreement import FACTOR
from kinematics.dug_summary import POINTS
from kinematics.units import LengthUnit, show_number
from service.book.dug_payloads import CheckTaken
from service.book.holding import Damage
from service.book.state import JobState

from . import answers as a
from .checks import dug_of, taken, word_of
from .level_book import withdrawn_directly

_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def as_csv(state: JobState, damage: Damage | None = None) -> str:
    """One line a check (RFC 4180); lengths in the job's units, named in the head, and elevations in metres unrounded.

    A text that a spreadsheet would take for a formula begins with an apostrophe. Where the log does not hold the last
    line says so, in the place of an entry.
    """
    unit, units = state.units.value, state.units
    out = io.StringIO()
    write = csv.writer(out)
    head = ["entry", "status", "observed_utc", "actor", "target", "line", "setup"]
    for name in POINTS:
        head += [f"{name}_{what}_{unit}" for what in ("reach", "lateral", "station", "elevation", "elevation_within",
                 "target_elevation", "above_target", "above_target_within")]  # fmt: skip
        head += [
            f"{name}_{what}"
            for what in ("word", "below_floor_limit", "elevation_unrounded_m", "cut_fill_standard_m")
        ]
    head += [f"tolerance_{unit}", "sureness", "cross_slope_percent", "cross_slope_within_percent", "machine",
             "machine_revision", "attachment", "attachment_revision", "pose_deg", "hangs_on", "assumed",
             "warnings", "note"]  # fmt: skip
    write.writerow(head)
    withdrawn = withdrawn_directly(state)
    for entry in taken(state):
        told = entry.payload
        assert isinstance(told, CheckTaken)  # noqa: S101
        row = [entry.seq, a.entry_status(entry, state, withdrawn), a.stamp(entry.observed_utc.isoformat()),
               _text(entry.actor), _text(told.target), told.line, told.setup]  # fmt: skip
        for point in told.points:
            row += [
                _length(point.reach_m, units), _length(point.lateral_m, units), _length(point.station_m, units),
                _length(point.elevation_m, units), _length(FACTOR * point.elevation_standard_m, units),
                _length(point.target_elevation_m, units), _length(point.above_target_m, units),
                _length(FACTOR * point.cut_fill_standard_m, units), word_of(point, told.tolerance_m),
                "yes" if point.below_floor_limit else "no", repr(point.elevation_m), repr(point.cut_fill_standard_m),
            ]  # fmt: skip
        row += [
            _length(told.tolerance_m, units), dug_of(told).sureness, f"{told.cross_slope_percent:.2f}",
            f"{FACTOR * told.cross_slope_standard_percent:.2f}", told.machine, told.machine_hash, told.attachment,
            told.attachment_hash, pose_words(told), " ".join(map(str, told.hangs_on)), told.assumed,
            " ".join(each.code for each in told.warnings), _text(told.note),
        ]  # fmt: skip
        write.writerow(row)
    if damage is not None:
        write.writerow([damage.seq, "not readable", *[""] * (len(head) - 3), damage.words])
    return out.getvalue()


def pose_words(told: CheckTaken) -> str:
    """The pose of a check: "boom 14.00, stick -70.00, pitch 0.60, roll -0.40"."""
    pose = told.pose
    lean = {"pitch": pose.pitch_deg, "roll": pose.roll_deg} | (
        {} if pose.swing_deg is None else {"swing": pose.swing_deg}
    )
    return ", ".join(
        f"{name.replace('_', ' ')} {angle:.2f}" for name, angle in (pose.joints_deg | lean).items()
    )


def _length(metres: float | None, units: LengthUnit) -> str:
    return "" if metres is None else show_number(metres, units)


def _text(text: str) -> str:
    """Nothing that a spreadsheet would take for a formula, spaces before it or not."""
    return f"'{text}" if text.lstrip().startswith(_FORMULA) or text.startswith(("\t", "\r")) else text
