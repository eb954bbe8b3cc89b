"""Measured machines and attachments as TOML files, and the loader that turns a file into geometry."""

from .catalogue import shipped
from .faults import ProfileFault, ProfileFaulty
from .loader import Profile, parse_profile
from .schema import json_schema
from .sensor_pair import sensor_set
from .verdict import Verdict, check_pair, check_profile

__all__ = [
    "Profile",
    "ProfileFault",
    "ProfileFaulty",
    "Verdict",
    "check_pair",
    "check_profile",
    "json_schema",
    "parse_profile",
    "sensor_set",
    "shipped",
]
