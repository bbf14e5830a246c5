"""The reader against anything: rows of any values come back as written, and any bytes give findings, never an error.

LEGWORK_TEST_FUZZ_MINUTES tries each for longer."""

import csv
import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st

from app.catalogue.tables import TABLES, Row, from_cells
from app.exchange.package import DESCRIPTOR, File, open_package
from app.exchange.reader import Batch, read_file
from app.exchange.shown import letter
from app.rules.finding import Finding
from tests.at_random import hold

SLUGS = st.from_regex(r"[a-z0-9][a-z0-9-]{0,20}", fullmatch=True)
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=30)
CELLS = {
    "id": SLUGS,
    "whole number": st.integers(-999_999_999, 999_999_999).map(str),
    "number": st.decimals(-1000, 1000, places=2).map(str),
    "figure as published": st.decimals(-1000, 1000, places=3).map(str),
    "date": st.dates().map(str),
    "true or false": st.sampled_from(("true", "false")),
}


def file_of(table: type[Row], content: bytes) -> File:
    return File(table, f"{table.table}.csv", len(content), lambda: io.BytesIO(content))


def read(table: type[Row], content: bytes) -> tuple[list[Row], list[Finding]]:
    """The rows that could be read whole, and what was found."""
    rows: list[Row] = []
    findings: list[Finding] = []
    for item in read_file(file_of(table, content)):
        if isinstance(item, Batch):
            assert len(item.rows) == len(item.lines)
            rows += [row for row in item.rows if row.id not in item.doubtful]
        else:
            findings.append(item)
    return rows, findings


@st.composite
def written(draw: st.DrawFn) -> tuple[type[Row], list[dict[str, str]]]:
    """A table and some rows of cells: mostly values that the columns accept, sometimes any text."""
    table = draw(st.sampled_from(sorted(TABLES.values(), key=lambda each: each.table)))
    rows = []
    for _ in range(draw(st.integers(0, 4))):
        cells = {}
        for name, column in table.columns().items():
            fitting = st.sampled_from(column.options) if column.options else CELLS.get(column.kind.name, WORDS)
            empty = st.nothing() if column.required else st.just("")
            cells[name] = draw(st.one_of(fitting, fitting, empty))
        rows.append(cells)
    return table, rows


def lines_of(table: type[Row], rows: list[dict[str, str]]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, [*table.columns()], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def test_the_reader_takes_a_row_exactly_when_the_row_model_does() -> None:
    """Two readings of one description: cell by cell here, by pydantic there; writing gives the text back."""

    def holds(made: tuple[type[Row], list[dict[str, str]]]) -> None:
        table, rows = made
        expected: dict[str, Any] = {}
        valid = []
        for cells in rows:
            try:
                row = table.checked(from_cells(table, cells))
            except ValueError:  # pydantic's errors and ours are both
                continue
            valid.append(row.id)
            expected.setdefault(row.id, row)
        taken, findings = read(table, lines_of(table, rows))
        ids = [cells["id"] for cells in rows]
        found = {row.id: row for row in taken}
        assert {id: expected[id] for id in found} == found
        # An unreadable row whose id is on an earlier line is refused if ids do not ascend: found at random.
        assert all(ids.count(id) > 1 for id in expected.keys() - found.keys())
        assert bool(findings) == (len(taken) < len(rows))
        assert all(row.cells() == table.checked(from_cells(table, row.cells())).cells() for row in taken)
        assert sum(finding.rule == "id-twice" for finding in findings) >= len(valid) - len(expected)

    hold(holds, written(), few=40)


def test_any_bytes_give_findings_and_never_an_error() -> None:
    def holds(content: bytes, name: str) -> None:
        rows, findings = read(TABLES[name], content)
        assert rows == []
        assert findings
        assert all(finding.severity == "reject" for finding in findings)

    hold(holds, st.binary(max_size=300), st.sampled_from(sorted(TABLES)), few=40)


def test_bytes_in_the_midst_of_good_rows_never_raise() -> None:
    def holds(noise: bytes, at: int) -> None:
        content = b"id,name,volume_ml\nspacer-a,A,8.2\nspacer-b,B,8.2\n"
        rows, findings = read(TABLES["spacers"], content[:at] + noise + content[at:])
        assert len(rows) <= 4 + noise.count(b"\n") + noise.count(b"\r")
        assert all(len(finding.text) < 500 for finding in findings)

    hold(holds, st.binary(max_size=200), st.integers(0, 40), few=40)


JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.floats(), st.text(max_size=8), st.sampled_from(("spacers", "spacers.csv"))),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(("resources", "name", "path", "schema")), inner, max_size=4),
    ),
    max_leaves=12,
)
HURTS = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 6), st.binary(max_size=6)), max_size=4)
"""The place in a file, how many bytes are removed there, and their replacement."""


def hurt(content: bytes, hurts: list[tuple[float, int, bytes]]) -> bytes:
    for place, taken, put in hurts:
        at = int(place * len(content))
        content = content[:at] + put + content[at + taken :]
    return content


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_package_hurt_anywhere_is_read_or_said_to_be_hurt(tmp_path: Path) -> None:
    """A zip of tables and a descriptor, damaged inside its files, in the zip around them, or both."""

    def holds(
        made: list[tuple[type[Row], list[dict[str, str]]]], told: Any, names: list[str], packed: bool,
        within: list[tuple[float, int, bytes]], around: list[tuple[float, int, bytes]],
    ) -> None:  # fmt: skip
        content = io.BytesIO()
        with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED) as archive:
            for (table, rows), name in zip(made, names, strict=False):
                archive.writestr(name or f"{table.table}.csv", hurt(lines_of(table, rows), within))
            if told is not None:
                archive.writestr(DESCRIPTOR, hurt(json.dumps(told).encode(), within))
        (tmp_path / "package.zip").write_bytes(hurt(content.getvalue(), around))
        with open_package(tmp_path / "package.zip") as package:
            findings = [*package.findings]
            for file in package.files.values():
                findings += [item for item in read_file(file) if isinstance(item, Finding)]
        assert package.files or findings
        assert all(len(finding.text) < 500 and finding.text.isprintable() for finding in findings)
        assert [path.name for path in tmp_path.iterdir()] == ["package.zip"]

    names = st.one_of(st.just(""), st.just(""), st.text("spacer.csv/\\:", max_size=14))
    several = st.lists(written(), min_size=1, max_size=3)
    none_or = st.one_of(st.none(), JSON)
    named = st.lists(names, min_size=3, max_size=3)
    hold(holds, several, none_or, named, st.booleans(), HURTS, st.one_of(st.just([]), HURTS), few=60)


@pytest.mark.parametrize(
    ("position", "shown"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA"), (701, "ZZ"), (702, "AAA")]
)
def test_columns_have_the_letters_that_spreadsheets_show(position: int, shown: str) -> None:
    """Bijective base 26, as in ISO/IEC 29500-1 18.3.1 (cell references); checked by hand."""
    assert letter(position) == shown


def test_ids_out_of_order_are_taken_and_a_double_is_still_found(tmp_path: Path) -> None:
    lines = [f"spacer-{number:04},S" for number in (*range(500, 0, -1), 250)]
    rows, findings = read(TABLES["spacers"], ("id,name\n" + "\n".join(lines) + "\n").encode())
    assert len(rows) == 500
    assert [(finding.rule, finding.row) for finding in findings] == [("id-twice", 502)]
    assert "line 252" in findings[0].text
