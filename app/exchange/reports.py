"""The report on a package: what was found, where in its files, and what it changes."""

from collections import defaultdict

from typing_extensions import TypedDict

from app.catalogue.tables import TABLES
from app.exchange.faults import letter
from app.exchange.package import File, Package
from app.exchange.reader import header, ids
from app.rules.finding import FindingShape, Report


class RowCounts(TypedDict):
    """Rows of the package, and what they do to the catalogue."""

    read: int
    added: int
    changed: int
    withdrawn: int


class PackageReport(Report):
    """`revision` is the one that holds now; `opened` says whether this package opened it."""

    revision: int
    opened: bool
    rows: RowCounts


def locate(report: PackageReport, package: Package) -> PackageReport:
    """Say of each listed finding about a row of the package in which line and column of which file it stands."""
    wanted: dict[str, dict[str, list[FindingShape]]] = defaultdict(lambda: defaultdict(list))
    for finding in report["findings"]:
        if "row" not in finding and "id" in finding and "table" in finding:
            wanted[finding["table"]][finding["id"]].append(finding)
    for name, findings in wanted.items():
        file = package.files.get(TABLES[name])
        if file is not None:
            _locate_in(file, findings)
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
