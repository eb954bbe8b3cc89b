"""Geometry, levelling, grade: numbers in, numbers out. The public names of the package.

Metres and radians. Frames right-handed, x forward, y left, z up; see DEVELOPERS.md for words and signs.
"""

from .arm import Pose, pose
from .assembly import Assembly, assemble
from .columns import STATUS, Columns, differentiate_columns, solve_columns
from .corrections import Correction, TiltCorrection, corrections, cross_slope_correction
from .crossing_seen import CrossingSeen, crossing_of
from .drives import (
    FourBarPose,
    cylinder_length,
    four_bar_from_bucket,
    four_bar_from_idler,
    four_bar_from_power_link,
    joint_angle,
)
from .errors import Fault, Refused
from .fitting import Doubt, Finding, Move, Moved, Verdict, judge, moves_for
from .fleet import Fleet, fleet, varied
from .grade import CutFill, Layer, Target, cut_fill, depth_below, target_elevation
from .leaf import Leaf
from .levelbook import (
    LevelBook,
    Sight,
    allowable_misclosure_m,
    curvature_and_refraction_m,
    laser_level_error_m,
    reduce_level_book,
    turn_test_error_m,
)
from .levelling import Book, Known, Laser, Outcome, Plane, Role
from .machine import Attachment, Axis, BucketLinkage, Cylinder, Machine, Offset, Range, Receiver
from .mounting import (
    Zeroed,
    with_zero,
    zero_by_half_turn,
    zero_by_line,
    zero_of_body,
    zero_of_encoder,
    zero_of_tilt,
    zero_of_wire,
)
from .mounting_lines import Level, PlumbLine, joint_of_lines, tilt_of_edge
from .passes import Pass, Place, Stop, longest_pass
from .reach import Line, Placement, place_edge
from .readout import Aim, PointReadout, Readout, readout
from .sensing import angles_from, misread, readings_of
from .sensitivity import Sensitivity, coupler_play, sensitivity
from .sensor import Measure, Mounting, Sensor
from .sensor_health import Health
from .sensor_set import SensorSet
from .stations import Anchor, anchor, station
from .still import Still, still
from .strikes import Crossing, StrikeRules, turned_down_because
from .striking import InPlane, Striking
from .tone import Tone, ToneWidths, tone
from .track import Track
from .units import LengthUnit, angle_from_slope_ratio, from_metres, show, to_metres

__all__ = [
    "STATUS",
    "Aim",
    "Anchor",
    "Assembly",
    "Attachment",
    "Axis",
    "Book",
    "BucketLinkage",
    "Columns",
    "Correction",
    "Crossing",
    "CrossingSeen",
    "CutFill",
    "Cylinder",
    "Doubt",
    "Fault",
    "Finding",
    "Fleet",
    "FourBarPose",
    "Health",
    "InPlane",
    "Known",
    "Laser",
    "Layer",
    "Leaf",
    "LengthUnit",
    "Level",
    "LevelBook",
    "Line",
    "Machine",
    "Measure",
    "Mounting",
    "Move",
    "Moved",
    "Offset",
    "Outcome",
    "Pass",
    "Place",
    "Placement",
    "Plane",
    "PlumbLine",
    "PointReadout",
    "Pose",
    "Range",
    "Readout",
    "Receiver",
    "Refused",
    "Role",
    "Sensitivity",
    "Sensor",
    "SensorSet",
    "Sight",
    "Still",
    "Stop",
    "StrikeRules",
    "Striking",
    "Target",
    "TiltCorrection",
    "Tone",
    "ToneWidths",
    "Track",
    "Verdict",
    "Zeroed",
    "allowable_misclosure_m",
    "anchor",
    "angle_from_slope_ratio",
    "angles_from",
    "assemble",
    "corrections",
    "coupler_play",
    "cross_slope_correction",
    "crossing_of",
    "curvature_and_refraction_m",
    "cut_fill",
    "cylinder_length",
    "depth_below",
    "differentiate_columns",
    "fleet",
    "four_bar_from_bucket",
    "four_bar_from_idler",
    "four_bar_from_power_link",
    "from_metres",
    "joint_angle",
    "joint_of_lines",
    "judge",
    "laser_level_error_m",
    "longest_pass",
    "misread",
    "moves_for",
    "place_edge",
    "pose",
    "readings_of",
    "readout",
    "reduce_level_book",
    "sensitivity",
    "show",
    "solve_columns",
    "station",
    "still",
    "target_elevation",
    "tilt_of_edge",
    "to_metres",
    "tone",
    "turn_test_error_m",
    "turned_down_because",
    "varied",
    "with_zero",
    "zero_by_half_turn",
    "zero_by_line",
    "zero_of_body",
    "zero_of_encoder",
    "zero_of_tilt",
    "zero_of_wire",
]
