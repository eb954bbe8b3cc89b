"""An acceptance certificate as a document, in the job's units: what the builder hands over. From its entry alone."""

from kinematics.agreement import FACTOR
from kinematics.units import LengthUnit, show, show_number
from service.book.staff_payloads import CertificateIssued, CertifiedPoint
from service.paper.document import Document, Drawing, Heading, Paragraph, Part, Signatures, Table, Verdict

from .check_words import compared, size
from .residual_picture import residuals

_NONE = "\u2013"
CAUTIONS = (
    "Advisory, not a safety function (no performance level under ISO 13849): a readout must drive no valve, "
    "interlock or exclusion zone.",
    "This certificate says how tool and staff agreed at these points, with this machine, attachment, revision of "
    "their profiles and these sensors. A knock, a new bucket or edge, a sensor changed or a profile measured anew "
    "ends it.",
    "Check against a rod at the start of every shift, after any knock and before concrete. Local codes, the "
    "engineer of record and the competent person on site decide.",
    "Nobody in the swing radius or under a raised link. To read a staff beside the edge: bucket on the ground, "
    "hydraulics locked, hands off the levers, eye contact; to measure the machine: engine off, key out, pressure "
    "relieved, latch checked. Nobody in a hole without its protective system. Do not look into the laser's beam.",
)


def rule_words(told: CertificateIssued) -> str:
    """The rule in a sentence, with its numbers."""
    units, rule = LengthUnit(told.units), told.rule
    return (
        "Passed if |bias| + k \u00d7 spread is at most the agreed tolerance of "
        f"{size(told.agreed.tolerance_m, units)}, and no point is beyond it. k = {rule.factor:.3f} for "
        f"{len(told.points)} points: with {100 * rule.confidence:g} % confidence at least {100 * rule.share:g} % of "
        "all readings keep to bias \u00b1 k \u00d7 spread (two-sided statistical tolerance interval, normal "
        "distribution, ISO 16269-6). Needed: at least 20 points by level or total station, one at least in each "
        f"cell of near, middle and far by left, centre and right by two swings {rule.swings_apart_deg:g} deg apart "
        f"or more, the body leaning {rule.least_lean_deg:g} deg or more, all from one stand, no point twice. All rod "
        "checks of this stand count but those named as left out."
    )


def verdict_words(told: CertificateIssued) -> str:
    """What came out, in a sentence."""
    units = LengthUnit(told.units)
    reached, tolerance = compared(told.reached_m, told.agreed.tolerance_m, units)
    bias = size(told.bias_m, units)
    agrees = bias == size(0.0, units)
    reads = "agrees with the staff" if agrees else f"reads {bias} too {'high' if told.bias_m > 0 else 'low'}"
    many = len(told.beyond)
    past = "no point is" if many == 0 else f"{many} point{'s are' if many > 1 else ' is'}"
    return (
        f"The tool {reads} in the mean, with a spread of {size(told.spread_m, units)}; |bias| + k \u00d7 spread = "
        f"{reached} against {tolerance}; {past} beyond it."
    )


def certificate_document(
    job: str, seq: int, entry_hash: str, told: CertificateIssued, status: str
) -> Document:
    """A certificate from its entry, the same whenever it is printed, but for a `status` other than "counts".
    `entry_hash`: of the entry itself."""
    stood, agreed = told.stood, told.agreed
    head = f"{told.head_seq}:{told.head_hash}"
    return Document(
        title="Acceptance certificate",
        subtitle=f"{told.job_name}: {stood.machine} with {stood.attachment}, elevations of the edge against a staff",
        facts=(
            ("Date", _time(told.issued_utc)), ("Job", f"{job}, {told.job_name}"), ("Datum", told.datum or _NONE),
            ("Machine", f"{stood.machine}, serial number {agreed.machine_serial}"),
            ("Machine profile", f"revision {stood.machine_hash}"), ("Attachment", stood.attachment),
            ("Attachment profile", f"revision {stood.attachment_hash}"), ("Builder", agreed.builder),
            ("Customer", agreed.customer),
            ("Tolerance", f"\u00b1{size(agreed.tolerance_m, LengthUnit(told.units))}, agreed by {agreed.agreed_by}"),
            ("Certificate", f"entry {seq}, hash {entry_hash}"), ("Log before it", head),
        ),
        parts=(*_no_more(status), *_parts(told, f"{seq}:{entry_hash}")), cautions=told.cautions,
        footer=f"{told.release} \u00b7 job {job} \u00b7 entry {seq} \u00b7 hash {entry_hash}",
    )  # fmt: skip


def _no_more(status: str) -> tuple[Part, ...]:
    if status == "counts":
        return ()
    return (
        Verdict(ok=False, word="no longer valid", text=f"This certificate is {status} in the job's log."),
    )


def _parts(told: CertificateIssued, own: str) -> tuple[Part, ...]:
    units = LengthUnit(told.units)
    word = "passed" if told.passed else "not passed"
    caption = (
        "Tool minus staff of every point over its reach. Triangles point to their corner, circles "
        "are the centre, hollow marks the second swing. Dashed: the tolerance; dotted: bias \u00b1 k \u00d7 spread."
    )
    return (
        Verdict(ok=told.passed, word=word, text=told.verdict_text), *_earlier(told, units), *_left_out(told, units),
        Heading("The rule"), Paragraph(told.rule_text),
        Heading("Result"), _result(told, units),
        Heading("Sensors"),
        Table(("sensor", "serial number"), tuple(sorted(told.sensors.items()))),
        Drawing(residuals(told), caption, f"{caption} The table of points has every number drawn here.", 180.0),
        Heading("Points"), _points(told, units),
        Paragraph(
            "Difference: tool minus staff, + the tool reads too high. Within: half the 95 % interval that the "
            f"difference was to be expected in. Reaches below {100 * told.rule.near_to:g} % of boom and stick "
            f"stretched out, {show(told.rule.longest_reach_m, units)}, are near, from {100 * told.rule.far_from:g} % "
            "on far. Left and right are the bucket's own."
        ),
        Heading("To verify"),
        Paragraph(
            "Each entry of the job's log holds the hash of the one before. Export the record as JSON and run  "
            f"tipdatum record verify FILE --head {own}  , which names this certificate's own entry. Printed again, it "
            "reads the same."
        ),
        Signatures((f"builder: {told.agreed.builder}", f"customer: {told.agreed.customer}")),
    )  # fmt: skip


def _earlier(told: CertificateIssued, units: LengthUnit) -> tuple[Part, ...]:
    if not told.earlier:
        return ()
    each = "; ".join(
        f"entry {one.seq} at \u00b1{size(one.tolerance_m, units)}, {'passed' if one.passed else 'not passed'}"
        for one in told.earlier
    )
    return (Paragraph(f"Issued before of this stand: {each}.", strong=True),)


def _left_out(told: CertificateIssued, units: LengthUnit) -> tuple[Part, ...]:
    """What of the same stand is no point of it: whoever signs has to see it."""
    if not told.left_out:
        return ()
    many = len(told.left_out)
    rows = tuple((str(each.seq), _signed(each.difference_m, units), each.because) for each in told.left_out)
    return (
        Paragraph(
            f"Left out: {many} rod check{'s' if many > 1 else ''} of this stand. Ask why.", strong=True
        ),
        Table(("entry", "difference", "because"), rows, ("right", "right", "left")),
    )


def _result(told: CertificateIssued, units: LengthUnit) -> Table:
    rows = (
        ("points", str(len(told.points))), ("bias (mean of tool minus staff)", _signed(told.bias_m, units)),
        ("spread (sample standard deviation)", size(told.spread_m, units)), ("rms", size(told.rms_m, units)),
        ("worst", f"{_signed(told.worst_m, units)}, entry {told.worst_seq}"),
        ("|bias| + k \u00d7 spread", compared(told.reached_m, told.agreed.tolerance_m, units)[0]),
        ("beyond the tolerance", ", ".join(f"entry {seq}" for seq in told.beyond) or "none"),
    )  # fmt: skip
    return Table(("number", "value"), rows, ("left", "right"))


def _points(told: CertificateIssued, units: LengthUnit) -> Table:
    beyond = frozenset(i for i, point in enumerate(told.points) if point.seq in told.beyond)
    return Table(
        ("entry", "read, UTC", "cell", "swing, deg", "lean, deg", "reach", "tool", "staff", "by", "difference", "within"),
        tuple(_row(point, units) for point in told.points),
        ("right", "left", "left", *("right",) * 5, "left", "right", "right"), "", beyond,
    )  # fmt: skip


def _row(point: CertifiedPoint, units: LengthUnit) -> tuple[str, ...]:
    cell = _NONE if point.distance is None else f"{point.distance}, {point.side}, {point.swing}"
    return (
        str(point.seq), _time(point.observed_utc)[:16], cell,
        _NONE if point.swing_deg is None else f"{point.swing_deg:.0f}".replace("-", "\u2212"), f"{point.lean_deg:.1f}",
        show_number(point.reach_m, units), _minus(show_number(point.tool_m, units)),
        _minus(show_number(point.staff_m, units)), "level" if point.staff_by == "level" else "total station",
        _signed(point.difference_m, units), size(FACTOR * point.expected_m, units),
    )  # fmt: skip


def _signed(metres: float, units: LengthUnit) -> str:
    figure = size(metres, units)
    if not any(c in "123456789" for c in figure):
        return figure
    return f"{'+' if metres > 0 else chr(0x2212)}{figure}"


def _minus(figure: str) -> str:
    return figure.replace("-", "\u2212")


def _time(utc: str) -> str:
    """ "2026-05-04 07:31:12 UTC"."""
    return f"{utc[:10]} {utc[11:19]} UTC"
