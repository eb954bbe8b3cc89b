"""Geometry, levelling, grade: numbers in, numbers out. The public names of the package.

Metres and radians. Frames right-handed, x forward, y left, z up; see DEVELOPERS.md for words and signs.
"""

from .account import Account, Help, account, helps
from .arm import Pose, pose
from .assembly import Assembly, assemble
from .calibration import Calibrated, Residual, Suspect, calibrate
from .calibration_next import Proposed, next_posture
from .calibration_separable import Separable, Together, separable
from .calibration_values import offered, value_of, with_values
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
from .envelope import Dimension, Envelope, Spot, digging_envelope
from .errors import Fault, Refused
from .estimates import Estimates
from .explain import (
    Change,
    Explanation,
    Side,
    TargetPlane,
    Turn,
    explain,
    explain_series,
    other_start,
    shapley,
    turn_between,
)
from .fitting import Doubt, Finding, Move, Moved, Verdict, judge, moves_for
from .fleet import Fleet, fleet, varied
from .forces import ForceMap, RatedForce, ToolForce, force_map, rated_force, tool_force
from .grade import CutFill, Layer, Target, cut_fill, depth_below, target_elevation
from .hydraulics import Hydraulics, Ram
from .labelled import along, differentiate_labelled, solve_labelled
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
from .levelling import Book, Enters, Known, Laser, Outcome, Plane, Role
from .linkage_course import LinkageCourse, Margin, Travel, joint_travels, linkage_course
from .machine import (
    Attachment,
    AttachmentUncertainty,
    Axis,
    BucketLinkage,
    Cylinder,
    Machine,
    MachineUncertainty,
    Offset,
    Range,
    Receiver,
)
from .monte_carlo import Spread, draws, shortest, spread
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
from .observed import Observed, chained
from .pass_speed import PassSpeed, pass_speed
from .passes import Pass, Place, Stop, longest_pass
from .propagation import Combined, Series, combine, coverage, rates_of
from .reach import Line, Placement, place_edge
from .readout import Aim, PointReadout, Readout, readout
from .sensing import angles_from, misread, readings_of
from .sensitivity import Sensitivity, coupler_play, sensitivity
from .sensor import Measure, Mounting, Sensor
from .sensor_health import Health
from .sensor_set import SensorSet
from .shared import Owners
from .sources import Kind, Sources, plain_sensors, sources_of, with_standard
from .stations import Anchor, anchor, station
from .still import Still, still
from .strikes import Crossing, StrikeRules, turned_down_because
from .striking import InPlane, Striking
from .tone import Tone, ToneWidths, tone
from .touched import HeightSeen, LineSeen
from .track import Track
from .trust import Trust
from .trust_desk import Owed
from .uncertain_inputs import Inputs
from .units import LengthUnit, angle_from_slope_ratio, from_metres, show, to_metres

__all__ = [
    "STATUS",
    "Account",
    "Aim",
    "Anchor",
    "Assembly",
    "Attachment",
    "AttachmentUncertainty",
    "Axis",
    "Book",
    "BucketLinkage",
    "Calibrated",
    "Change",
    "Columns",
    "Combined",
    "Correction",
    "Crossing",
    "CrossingSeen",
    "CutFill",
    "Cylinder",
    "Dimension",
    "Doubt",
    "Enters",
    "Envelope",
    "Estimates",
    "Explanation",
    "Fault",
    "Finding",
    "Fleet",
    "ForceMap",
    "FourBarPose",
    "Health",
    "HeightSeen",
    "Help",
    "Hydraulics",
    "InPlane",
    "Inputs",
    "Kind",
    "Known",
    "Laser",
    "Layer",
    "Leaf",
    "LengthUnit",
    "Level",
    "LevelBook",
    "Line",
    "LineSeen",
    "LinkageCourse",
    "Machine",
    "MachineUncertainty",
    "Margin",
    "Measure",
    "Mounting",
    "Move",
    "Moved",
    "Observed",
    "Offset",
    "Outcome",
    "Owed",
    "Owners",
    "Pass",
    "PassSpeed",
    "Place",
    "Placement",
    "Plane",
    "PlumbLine",
    "PointReadout",
    "Pose",
    "Proposed",
    "Ram",
    "Range",
    "RatedForce",
    "Readout",
    "Receiver",
    "Refused",
    "Residual",
    "Role",
    "Sensitivity",
    "Sensor",
    "SensorSet",
    "Separable",
    "Series",
    "Side",
    "Sight",
    "Sources",
    "Spot",
    "Spread",
    "Still",
    "Stop",
    "StrikeRules",
    "Striking",
    "Suspect",
    "Target",
    "TargetPlane",
    "TiltCorrection",
    "Together",
    "Tone",
    "ToneWidths",
    "ToolForce",
    "Track",
    "Travel",
    "Trust",
    "Turn",
    "Verdict",
    "Zeroed",
    "account",
    "allowable_misclosure_m",
    "along",
    "anchor",
    "angle_from_slope_ratio",
    "angles_from",
    "assemble",
    "calibrate",
    "chained",
    "combine",
    "corrections",
    "coupler_play",
    "coverage",
    "cross_slope_correction",
    "crossing_of",
    "curvature_and_refraction_m",
    "cut_fill",
    "cylinder_length",
    "depth_below",
    "differentiate_columns",
    "differentiate_labelled",
    "digging_envelope",
    "draws",
    "explain",
    "explain_series",
    "fleet",
    "force_map",
    "four_bar_from_bucket",
    "four_bar_from_idler",
    "four_bar_from_power_link",
    "from_metres",
    "helps",
    "joint_angle",
    "joint_of_lines",
    "joint_travels",
    "judge",
    "laser_level_error_m",
    "linkage_course",
    "longest_pass",
    "misread",
    "moves_for",
    "next_posture",
    "offered",
    "other_start",
    "pass_speed",
    "place_edge",
    "plain_sensors",
    "pose",
    "rated_force",
    "rates_of",
    "readings_of",
    "readout",
    "reduce_level_book",
    "sensitivity",
    "separable",
    "shapley",
    "shortest",
    "show",
    "solve_columns",
    "solve_labelled",
    "sources_of",
    "spread",
    "station",
    "still",
    "target_elevation",
    "tilt_of_edge",
    "to_metres",
    "tone",
    "tool_force",
    "turn_between",
    "turn_test_error_m",
    "turned_down_because",
    "value_of",
    "varied",
    "with_standard",
    "with_values",
    "with_zero",
    "zero_by_half_turn",
    "zero_by_line",
    "zero_of_body",
    "zero_of_encoder",
    "zero_of_tilt",
    "zero_of_wire",
]
