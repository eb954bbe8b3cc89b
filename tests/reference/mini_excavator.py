"""A complete published mini excavator geometry with cylinder to angle pairs, as printed.

Origin: an open MATLAB model of a mini excavator (files `excavatorConstants`, `excavatorModel` and their
driver); digits read in the published text. The repository's name and licence are not known to us: these are its
numbers, none of its code. The source prints ranges; which end of a stroke belongs to which angle is by
recomputation, and all six agree to the four printed decimals.

Metres and radians, planar, x forward, second coordinate up; cumulative angles a, a+b, a+b+c.
"""

Pin = tuple[float, float]

# Boom frame, at the boom foot pin. C is fixed to the body.
BOOM_CYLINDER_FOOT_C: Pin = (0.135, -0.264)
STICK_PIN_A: Pin = (2.050, 0.0)
BOOM_CYLINDER_EYE_D: Pin = (1.025, 0.278)
STICK_CYLINDER_FOOT_E: Pin = (0.977, 0.737)

# Stick frame, at A.
STICK_CYLINDER_EYE_F: Pin = (-0.251, 0.158)
BUCKET_CYLINDER_FOOT_G: Pin = (-0.134, 0.320)
IDLER_PIVOT_J: Pin = (0.880, 0.0)
BUCKET_PIN_L: Pin = (1.050, 0.0)
IDLER_HJ = 0.240
POWER_LINK_HK = 0.240

# Bucket frame, at L, x towards the tip.
LINK_LUG_K: Pin = (-0.014, 0.164)
TIP_M: Pin = (0.567, 0.0)

# (cylinder, length, angle): shortest and longest. The bucket's angle is that of L to M in the stick's frame.
PAIRS: tuple[tuple[str, float, float], ...] = (
    ("boom", 0.905, -0.4737),
    ("boom", 1.305, 1.0923),
    ("stick", 1.046, -0.5103),
    ("stick", 1.556, -2.5848),
    ("bucket", 0.84, 0.7839),
    ("bucket", 1.26, -2.8659),
)
# The assembly branch that the source does not use closes too: the bucket's angle at the short end.
OTHER_BRANCH_SHORT_END = 1.4377
