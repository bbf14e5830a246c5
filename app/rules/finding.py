"""What a rule found, and the report that is made of findings; values only."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple, NotRequired

from typing_extensions import TypedDict

Severity = Literal["reject", "warn", "accepted"]
"""`accepted`: implausible, but the row carries the words of the page that print it."""


class Collision(NamedTuple):
    """The other statement of a finding that two are needed for."""

    table: str
    id: str
    source: str | None


PLACES = 5  # rows that are named of one cause


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault in one row. `row` is the line of the file it was read from, if any (the header is line 1)."""

    rule: str
    severity: Severity
    table: str | None
    id: str | None
    column: str | None
    value: str | None
    text: str
    collides_with: Collision | None
    mend: str
    row: int | None = None


class CollisionShape(TypedDict):
    """The row that a finding says is contradicted."""

    table: str
    id: str
    source: NotRequired[str]


class FindingShape(TypedDict):
    """A finding as answered; what is not known is absent.

    One cause that shows in several rows is one finding: `count` says in how many, `places` names the first of them.
    """

    rule: str
    severity: Severity
    table: NotRequired[str]
    row: NotRequired[int]
    id: NotRequired[str]
    column: NotRequired[str]
    value: NotRequired[str]
    text: str
    collides_with: NotRequired[CollisionShape]
    mend: str
    count: NotRequired[int]
    places: NotRequired[list[str]]


class Report(TypedDict):
    """`counts` has `reject`, `warn`, `accepted` and, under `rules`, how often each rule fired; all are counted."""

    accepted: bool
    findings: list[FindingShape]
    counts: "Counts"


class Counts(TypedDict):
    """How many findings there are."""

    reject: int
    warn: int
    accepted: int
    rules: dict[str, int]


def finding_shape(finding: Finding) -> FindingShape:
    """The finding as JSON."""
    shape = FindingShape(rule=finding.rule, severity=finding.severity, text=finding.text, mend=finding.mend)
    if finding.table is not None:
        shape["table"] = finding.table
    if finding.row is not None:
        shape["row"] = finding.row
    if finding.id is not None:
        shape["id"] = finding.id
    if finding.column is not None:
        shape["column"] = finding.column
    if finding.value is not None:
        shape["value"] = finding.value
    if finding.collides_with is not None:
        other = CollisionShape(table=finding.collides_with.table, id=finding.collides_with.id)
        if finding.collides_with.source is not None:
            other["source"] = finding.collides_with.source
        shape["collides_with"] = other
    return shape


def report(findings: Iterable[Finding], most: int = 1000) -> Report:
    """The report: accepted when nothing rejects. Rejects come first; at most `most` are listed, all are counted.

    Findings that say the same of several rows of a table have one cause and are listed once.
    """
    listed: dict[Severity, dict[tuple[object, ...], FindingShape]] = {"reject": {}, "warn": {}, "accepted": {}}
    severities: Counter[Severity] = Counter()
    rules: Counter[str] = Counter()
    for finding in findings:
        severities[finding.severity] += 1
        rules[finding.rule] += 1
        shapes = listed[finding.severity]
        cause = _cause(finding)
        if (first := shapes.get(cause)) is not None:
            _add_place(first, finding)
        elif len(shapes) < most:
            shapes[cause] = finding_shape(finding)
    counts = Counts(
        reject=severities["reject"], warn=severities["warn"], accepted=severities["accepted"],
        rules=dict(sorted(rules.items())),
    )  # fmt: skip
    shown = [shape for shapes in listed.values() for shape in shapes.values()]
    return Report(accepted=not severities["reject"], findings=shown[:most], counts=counts)


def _cause(finding: Finding) -> tuple[object, ...]:
    """What findings of one cause share: what is said, apart from the row. Each fault of reading is one of its own."""
    own = finding.row if finding.id is None else None
    return finding.rule, finding.table, finding.column, finding.text, finding.mend, own


def _add_place(first: FindingShape, finding: Finding) -> None:
    first["count"] = first.get("count", 1) + 1
    places = first.setdefault("places", [first["id"]] if "id" in first else [])
    if finding.id is not None and len(places) < PLACES:
        places.append(finding.id)
