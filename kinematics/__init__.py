"""Geometry, levelling, grade: numbers in, numbers out. The public names of the package.

Metres and radians. Frames right-handed, x forward, y left, z up; see DEVELOPERS.md for words and signs.
"""

from .arm import Pose, pose
from .assembly import Assembly, assemble
from .drives import (
    FourBarPose,
    cylinder_length,
    four_bar_from_bucket,
    four_bar_from_idler,
    four_bar_from_power_link,
    joint_angle,
)
from .errors import Fault, Refused
from .grade import CutFill, Layer, Target, cut_fill, depth_below, target_elevation
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
from .readout import Aim, PointReadout, Readout, readout
from .stations import Anchor, anchor, station
from .strikes import Crossing, StrikeRules, turned_down_because
from .units import LengthUnit, angle_from_slope_ratio, from_metres, show, to_metres

__all__ = [
    "Aim",
    "Anchor",
    "Assembly",
    "Attachment",
    "Axis",
    "Book",
    "BucketLinkage",
    "Crossing",
    "CutFill",
    "Cylinder",
    "Fault",
    "FourBarPose",
    "Known",
    "Laser",
    "Layer",
    "LengthUnit",
    "LevelBook",
    "Machine",
    "Offset",
    "Outcome",
    "Plane",
    "PointReadout",
    "Pose",
    "Range",
    "Readout",
    "Receiver",
    "Refused",
    "Role",
    "Sight",
    "StrikeRules",
    "Target",
    "allowable_misclosure_m",
    "anchor",
    "angle_from_slope_ratio",
    "assemble",
    "curvature_and_refraction_m",
    "cut_fill",
    "cylinder_length",
    "depth_below",
    "four_bar_from_bucket",
    "four_bar_from_idler",
    "four_bar_from_power_link",
    "from_metres",
    "joint_angle",
    "laser_level_error_m",
    "pose",
    "readout",
    "reduce_level_book",
    "show",
    "station",
    "target_elevation",
    "to_metres",
    "turn_test_error_m",
    "turned_down_because",
]
