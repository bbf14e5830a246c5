"""The report on a package: what was found, where in its files, and what it changes."""

from collections import defaultdict
from typing import NotRequired

from rapidfuzz import process
from typing_extensions import TypedDict

from app.catalogue.rows import Rows
from app.catalogue.tables import TABLES, Row
from app.exchange.cells import CellChange, CellCounts, cells_as_text
from app.exchange.package import File, Package
from app.exchange.reader import header, ids
from app.exchange.shown import letter
from app.rules.finding import FindingShape, Report


class RowCounts(TypedDict):
    """Rows of the package, and how they change the catalogue."""

    read: int
    added: int
    changed: int
    withdrawn: int


class OrdersAdded(TypedDict):
    """The common orders of work that come with the first package: their number, and all rows that they are made of."""

    procedures: int
    rows: int


class PackageReport(Report):
    """`revision` is the latest one; `opened` says whether this package opened it.

    `changed_cells` lists the changed cells of stored rows, cleared ones first. `orders` counts the common orders of
    work that are added besides the package. `replayed` says that a request with this idempotency key was already done.
    """

    changed_cells: list[CellChange]
    cell_counts: CellCounts
    revision: int
    opened: bool
    rows: RowCounts
    orders: NotRequired[OrdersAdded]
    replayed: NotRequired[bool]


def locate(report: PackageReport, package: Package) -> PackageReport:
    """Add the file, line and column to each listed finding about a row of the package."""
    wanted: dict[str, dict[str, list[FindingShape]]] = defaultdict(lambda: defaultdict(list))
    for finding in report["findings"]:
        if "row" not in finding and "id" in finding and "table" in finding:
            wanted[finding["table"]][finding["id"]].append(finding)
    for name, findings in wanted.items():
        file = package.files.get(TABLES[name])
        if file is not None:
            _locate_in(file, findings)
    return report


def suggest(report: PackageReport, package: Package, base: Rows) -> PackageReport:
    """Add to each listed unknown reference the most similar id of the package or the catalogue."""
    known: dict[type[Row], list[str]] = {}
    for finding in report["findings"]:
        if finding["rule"] != "reference-missing" or "column" not in finding:
            continue
        table = TABLES[finding["table"]]
        target = table.table if finding["column"] == "exception_to" else table.columns()[finding["column"]].refers_to
        if target is None:
            continue
        named = TABLES[target]
        if named not in known:
            file = package.files.get(named)
            known[named] = sorted({*base.values(named, "id"), *(id for _, id in (ids(file) if file else ()))})
        cell = finding.get("value", "").split(";")
        there = [process.extractOne(id, known[named], score_cutoff=80) for id in cell if id not in known[named]]
        if there and all(there):
            meant = dict(zip((id for id in cell if id not in known[named]), there, strict=True))
            whole = ";".join(near[0] if (near := meant.get(id)) else id for id in cell)
            finding["fix"] = f"write {whole} if that is what the page means; otherwise add the row to {target}"
    return report


def _locate_in(file: File, findings: dict[str, list[FindingShape]]) -> None:
    columns = header(file)
    for line, id in ids(file):
        for finding in findings.pop(id, ()):
            column = finding.get("column")
            where = f"{file.name} line {line}"
            if column is not None and column in columns:
                where += f", column {letter(columns.index(column))} ({column})"
            finding["row"] = line
            finding["text"] = f"{where}: {finding['text']}"
        if not findings:
            return


def as_text(report: PackageReport) -> str:
    """The report as lines for a person: cleared and changed cells, each finding with its place and fix, the totals."""
    lines = cells_as_text(report["changed_cells"], report["cell_counts"])
    for finding in report["findings"]:
        place = "/".join(part for part in (finding.get("table"), finding.get("id")) if part)
        said = finding["text"] if "row" in finding or not place else f"{place}: {finding['text']}"
        shown = f" [{finding['value']}]" if "value" in finding and finding["value"] not in said else ""
        if "places" in finding:
            more = ", …" if finding["count"] > len(finding["places"]) else ""
            shown += f" ({finding['count']} rows: {', '.join(finding['places'])}{more})"
        kind = "stood before" if finding.get("stood_before") else finding["severity"]
        lines.append(f"{kind}: {said}{shown}\n    {finding['rule']}: {finding['fix']}")
    rows, counts = report["rows"], report["counts"]
    emptied = f"{report['cell_counts']['emptied']} cells emptied; " if report["cell_counts"]["emptied"] else ""
    total = counts["reject"] + counts["warn"] + counts["accepted"] + counts["stood_before"]
    listed = sum(finding.get("count", 1) for finding in report["findings"])
    if listed < total:
        lines.append(f"… and {total - listed} more")
    lines.append(
        f"{rows['read']} rows read: {rows['added']} new, {rows['changed']} changed, {rows['withdrawn']} withdrawn; "
        f"{emptied}{counts['reject']} faults, {counts['warn']} warnings"
        + (f", {counts['accepted']} unusual, as printed." if counts["accepted"] else ".")
    )
    if "orders" in report and report["accepted"]:
        added = report["orders"]
        lines.append(
            f"{added['procedures']} orders of work for any fork ({added['rows']} rows) come with it, common practice "
            "of the trade. --no-orders leaves them out."
        )
    if counts["stood_before"]:
        lines.append(f"{counts['stood_before']} faults were there before, on rows that this does not change.")
    if not report["accepted"]:
        lines.append("Refused; nothing is stored.")
    elif report["opened"]:
        lines.append(f"Stored as revision {report['revision']}.")
    else:
        any_change = rows["added"] + rows["changed"] + rows["withdrawn"]
        lines.append("Nothing is stored." if any_change else "Nothing to change.")
    return "\n".join(lines)
