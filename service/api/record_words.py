"""What a printed record says besides its numbers."""

CAUTIONS = (
    "Advisory, not a safety function and not a survey: these are the machine's own readouts. Check against a "
    "rod on a known point at the start of the shift, after any knock to arm, laser or sensors, and before "
    "concrete.",
    "Local codes, the engineer of record and the competent person on site decide. This record stands in for no "
    "inspection.",
    "A cave-in kills: nobody goes into a hole without the protective system its depth and ground call for, a "
    "way out, and spoil set back from the edge. Water, bad air and loads at the edge need their own answer.",
    "Digging beside or below a slab or footing can undermine it: an engineer decides before the bucket does.",
    "Call before you dig; dig by hand in the locator's tolerance zone. A floor limit protects no pipe and no "
    "cable. Keep 10 ft (3.05 m) or more from overhead lines.",
    "Nobody in the swing radius or under a raised link. Before anyone comes near the bucket to check or "
    "measure: bucket on the ground, hydraulics locked, hands off the levers, eye contact; to measure: engine "
    "off, key out, pressure relieved, coupler latch checked. Do not look into the laser's beam.",
)
CHECKS = (
    "Above target: edge minus target, + is cut (must go down), \u2212 is fill (too deep). Within: half the "
    "interval that holds the true value 95 times in 100, the widest of the three points. Left and right are the"
    " bucket's own."
)
INTERVAL = (
    "Share within: checks with all three points in the tolerance as told; the interval in brackets holds the "
    "true share 95 times in 100 (Clopper and Pearson) if the checks were taken by chance all over. It cannot "
    "see what is wrong with all checks alike, such as the height they hang on: a rod does."
)
VERIFY = (
    "Every entry carries the hash of the one before, so that a change anywhere shows. To verify: export the "
    "record as JSON and run  tipdatum record verify FILE --head {head}  ; the guide says how to do it with "
    "other tools. Note the head elsewhere (in a diary, a mail): an end that was cut off shows only against "
    "that."
)
