"""A document with one of everything."""

from datetime import UTC, datetime

from service.paper.document import Document, Drawing, Heading, Paragraph, Signatures, Table, Verdict

WHEN = datetime(2026, 5, 4, 7, 31, 12, tzinfo=UTC)
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="600" height="200" viewBox="0 0 600 200" '
    'font-family="Georgia,\'DejaVu Serif\',serif"><rect width="600" height="200" fill="#ffffff"/>'
    '<text x="10" y="40" font-size="20">target 98.580 m</text><line x1="0" y1="90" x2="600" y2="90" stroke="#000"/></svg>'
)


def document(name: str = "pump house", rows: int = 3, **changed: object) -> Document:
    """`name` stands in every place where a text may; `rows`: of the table."""
    fields: dict[str, object] = {
        "title": f"Record of {name}",
        "subtitle": name,
        "facts": (("Job", name), (name, "value")),
        "parts": (
            Heading(name), Paragraph(name), Paragraph(name, strong=True), Verdict(True, "holds", name),  # noqa: FBT003
            Verdict(None, name, "x"), Verdict(False, "beyond", name),  # noqa: FBT003
            Table(("entry", "target", name), tuple((str(i), name, "98.580") for i in range(rows)),
                  ("right", "left", "right"), name, frozenset({1})),
            Drawing(SVG, name, name, 120.0), Signatures((name, "inspector", "witness")),
        ),
        "cautions": (name, "Nobody under a raised link."),
        "footer": f"job {name}",
    }  # fmt: skip
    return Document(**(fields | changed))  # type: ignore[arg-type]
