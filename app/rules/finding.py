"""The findings of the rules, and the report made of them; values only."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple, NotRequired

from typing_extensions import TypedDict

Severity = Literal["reject", "warn", "accepted"]
"""`accepted`: implausible, but the row carries the words of the page that print it."""


class Collision(NamedTuple):
    """The other statement of a finding that involves two."""

    table: str
    id: str
    source: str | None


PLACES = 5  # rows named for one cause


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault in one row. `row` is its line in the file it came from, if any (the header is line 1).

    A fault that `stood_before` the change, on a row the change does not touch, does not refuse the change.
    """

    rule: str
    severity: Severity
    table: str | None
    id: str | None
    column: str | None
    value: str | None
    text: str
    collides_with: Collision | None
    fix: str
    row: int | None = None
    stood_before: bool = False

    @property
    def refuses(self) -> bool:
        """True if this refuses the change."""
        return self.severity == "reject" and not self.stood_before


class CollisionShape(TypedDict):
    """The row that the finding contradicts."""

    table: str
    id: str
    source: NotRequired[str]


class FindingShape(TypedDict):
    """A finding as answered; what is not known is absent.

    One cause that shows in several rows is one finding: `count` says in how many, `places` names the first of them.
    `stood_before` is true of a fault that was there before, on an untouched row; it refuses nothing.
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
    fix: str
    count: NotRequired[int]
    places: NotRequired[list[str]]
    stood_before: NotRequired[bool]


class Report(TypedDict):
    """`counts` has each severity, `stood_before` and, under `rules`, how often each rule fired."""

    accepted: bool
    findings: list[FindingShape]
    counts: "FindingCounts"


class FindingCounts(TypedDict):
    """Numbers of findings: refusals, warnings, unusual as printed, and refusals that stood before."""

    reject: int
    warn: int
    accepted: int
    stood_before: int
    rules: dict[str, int]


def finding_shape(finding: Finding) -> FindingShape:
    """The finding as JSON."""
    shape = FindingShape(rule=finding.rule, severity=finding.severity, text=finding.text, fix=finding.fix)
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
    if finding.stood_before:
        shape["stood_before"] = True
    return shape


def refuses(finding: FindingShape) -> bool:
    """True if a finding, in its answered form, caused a refusal."""
    return finding["severity"] == "reject" and not finding.get("stood_before", False)


def report(findings: Iterable[Finding], most: int = 1000) -> Report:
    """The report: accepted if no finding refuses. Up to `most` findings are listed; all are counted.

    Refusals come first, then older refusals, then warnings, then unusual figures that are printed so. Findings with
    the same text for several rows of a table have one cause and are listed once.
    """
    listed: dict[str, dict[tuple[object, ...], FindingShape]]
    listed = {"reject": {}, "stood_before": {}, "warn": {}, "accepted": {}}
    kinds: Counter[str] = Counter()
    rules: Counter[str] = Counter()
    for finding in findings:
        kind = "stood_before" if finding.stood_before else finding.severity
        kinds[kind] += 1
        rules[finding.rule] += 1
        shapes = listed[kind]
        cause = _cause(finding)
        if (first := shapes.get(cause)) is not None:
            _add_place(first, finding)
        elif len(shapes) < most:
            shapes[cause] = finding_shape(finding)
    counts = FindingCounts(
        reject=kinds["reject"], warn=kinds["warn"], accepted=kinds["accepted"], stood_before=kinds["stood_before"],
        rules=dict(sorted(rules.items())),
    )  # fmt: skip
    shown = [shape for shapes in listed.values() for shape in shapes.values()]
    return Report(accepted=not kinds["reject"], findings=shown[:most], counts=counts)


def _cause(finding: Finding) -> tuple[object, ...]:
    """The key that findings of one cause share: everything except the row. Each reading fault has its own key."""
    own = finding.row if finding.id is None else None
    return finding.rule, finding.table, finding.column, finding.text, finding.fix, own


def _add_place(first: FindingShape, finding: Finding) -> None:
    first["count"] = first.get("count", 1) + 1
    places = first.setdefault("places", [first["id"]] if "id" in first else [])
    if finding.id is not None and len(places) < PLACES:
        places.append(finding.id)
