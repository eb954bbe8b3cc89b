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
# The same model as an optimiser has it (its `excavatorModel` in Python, `actuatorLen` and `actuatorVelFactor`; digits
# read in the published text): cylinder lengths (m) as polynomials of the joint's own angle, highest power first, fitted
# over the stroke by whoever made it; and their derivatives, metres of cylinder a radian, by which it turns torques into
# forces.
LENGTHS: dict[str, tuple[float, ...]] = {
    "boom": (0.0086, -0.0459, -0.0104, 0.2956, 1.042),
    "stick": (0.0078, 0.0917, 0.2910, 0.0646, 1.0149),
    "bucket": (0.0048, 0.0288, 0.0225, -0.1695, 0.9434),
}
LEVERS: dict[str, tuple[float, ...]] = {
    "boom": (0.0344, -0.1377, -0.0208, 0.2956),
    "stick": (0.0312, 0.2751, 0.582, 0.0646),
    "bucket": (0.0192, 0.0864, 0.045, -0.1695),
}
# The assembly branch that the source does not use closes too: the bucket's angle at the short end.
OTHER_BRANCH_SHORT_END = 1.4377
