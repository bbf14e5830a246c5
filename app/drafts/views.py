"""The answers about drafts: a draft with everything that follows from it, and the list of drafts."""

import datetime as dt
from collections.abc import Mapping
from typing import Annotated, NotRequired, cast

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.bench.shapes import Moment
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Source
from app.drafts.content import DraftStart, ReaderVerdict
from app.drafts.draft_rows import DerivedDraft, DraftRow, RowEffect, derived
from app.drafts.grid import TableGrid
from app.drafts.kept import HeldDraft
from app.drafts.load import open_points
from app.drafts.meaning import Meaning
from app.drafts.report import QuestionView, RemarkView
from app.errors import Fault, Invalid
from app.exchange.cells import CellChange, cell_changes
from app.exchange.editing import check_edits
from app.exchange.shown import letter
from app.questions.answers.cautions import cautions
from app.questions.answers.views import Caution
from app.rules.finding import FindingShape, refuses


class DraftSummary(TypedDict):
    """A draft of the shop. `loaded` is the revision that it became; a draft is erased on `expires_on`."""

    id: str
    title: str
    version: int
    opened_at: Moment
    opened_by: str
    changed_at: Moment
    expires_on: str
    loaded: NotRequired[int]


class GridColumnView(TypedDict):
    """A column of a table: its letter and header, the field it is read as, and the unit."""

    letter: str
    header: str
    field: NotRequired[str]
    unit: NotRequired[str]


class GridLineView(TypedDict):
    """A line of a table: its number in the file, and its cells word for word."""

    number: int
    cells: list[str]


class GridView(TypedDict):
    """A table as it was given. `columns` and `shape` are absent while its meaning is open."""

    name: str
    letters: list[str]
    lines: list[GridLineView]
    shape: NotRequired[str]
    columns: NotRequired[list[GridColumnView]]


class CorrectionView(TypedDict):
    """What is read instead of a cell, or the value of a column (`torques.as_printed`) of the row that a cell gives."""

    cell: str
    column: NotRequired[str]
    text: str


class TickView(TypedDict):
    """The verdict of the second reader on a row as it is now."""

    said: ReaderVerdict
    by: str
    at: Moment
    note: NotRequired[str]


class DraftRowView(TypedDict):
    """A row that follows from the draft, without its empty cells; of a row to withdraw, the cells that are stored.

    `content` is what a tick names, `places` are the cells that the row came from.
    """

    table: str
    id: str
    effect: RowEffect
    content: str
    row: dict[str, str]
    places: list[str]
    changes: list[CellChange]
    tick: NotRequired[TickView]


class DraftFinding(FindingShape):
    """A finding of the rules in a row of the draft, with the cell that it came from."""

    cell: NotRequired[str]


class OpenPoint(TypedDict):
    """Something that must be done before the draft can be loaded."""

    code: str
    text: str


class DraftAnswer(TypedDict):
    """A draft: what was given, and the rows, questions and findings that follow from it now."""

    revision: int
    draft: DraftSummary
    start: DraftStart
    second_reader: Annotated[bool, Field(description="Whether another key must have read each row.")]
    grids: list[GridView]
    answers: dict[str, str]
    corrections: list[CorrectionView]
    questions: list[QuestionView]
    remarks: list[RemarkView]
    rows: list[DraftRowView]
    findings: list[DraftFinding]
    open: list[OpenPoint]
    links: dict[str, str]
    cautions: list[Caution]


class DraftList(TypedDict):
    """The drafts of the key's shop, the latest change first."""

    revision: int
    total: int
    drafts: list[DraftSummary]
    cautions: list[Caution]


class DraftErasedAnswer(TypedDict):
    """The id of the draft that was erased."""

    revision: int
    erased: str
    cautions: list[Caution]


DRAFT, DRAFT_LIST, DRAFT_ERASED = TypeAdapter(DraftAnswer), TypeAdapter(DraftList), TypeAdapter(DraftErasedAnswer)


def draft_summary(draft: HeldDraft) -> DraftSummary:
    """A draft without what it holds."""
    summary = DraftSummary(
        id=draft.id, title=draft.title, version=draft.version, opened_at=draft.opened_at, opened_by=draft.opened_by,
        changed_at=draft.changed_at, expires_on=draft.expires_on,
    )  # fmt: skip
    if draft.loaded is not None:
        summary["loaded"] = draft.loaded
    return summary


def draft_answer(snapshot: Snapshot, draft: HeldDraft, *, second_reader: bool) -> DraftAnswer:
    """A draft as the catalogue is now. A loaded draft no longer has rows: its revision says what it changed."""
    here = f"/v1/drafts/{draft.id}"
    content = draft.content
    found = derived(snapshot, draft.grids, content) if draft.loaded is None else None
    meanings = {} if found is None else found.meanings
    answer = DraftAnswer(
        revision=snapshot.revision, draft=draft_summary(draft), start=content["start"], second_reader=second_reader,
        grids=[_grid(each, meanings.get(each.name)) for each in draft.grids.grids], answers=content["answers"],
        corrections=[
            CorrectionView(cell=cell, column=column, text=text) if column else CorrectionView(cell=cell, text=text)
            for cell, columns in content["corrections"].items() for column, text in columns.items()
        ],
        questions=[], remarks=[], rows=[], findings=[], open=[], links={}, cautions=cautions(),
    )  # fmt: skip
    if found is None:
        answer["links"] = {"revision": f"/v1/revisions/{draft.loaded}"}
        return answer
    answer["links"] = {"grids": f"{here}/grids", "ticks": f"{here}/ticks", "load": f"{here}/load"}
    answer["questions"] = [
        QuestionView(question=each.key, why=each.why, answers=list(each.offers), cells=each.places)
        for each in found.questions
    ]
    answer["remarks"] = [
        RemarkView(text=each.text) if each.place is None else RemarkView(text=each.text, cell=each.place)
        for each in found.remarks
    ]
    answer["rows"] = [_row(each, draft) for each in found.rows]
    answer["findings"], faults = _findings(snapshot, found)
    faults += open_points(found, draft, second_reader=second_reader)
    answer["open"] = [OpenPoint(code=each.code, text=each.text) for each in faults]
    sources = {row.row["source"] for row in found.rows if row.row is not None and "source" in row.table.columns()}
    answer["cautions"] = cautions(sources=snapshot.many(Source, sources - {None}).values())
    return answer


def _grid(grid: TableGrid, meaning: Meaning | None) -> GridView:
    view = GridView(
        name=grid.name, letters=[letter(number) for number in grid.column_numbers],
        lines=[
            GridLineView(number=number, cells=[cell.text for cell in row])
            for number, row in zip(grid.row_numbers, grid.rows, strict=True)
        ],
    )  # fmt: skip
    if meaning is not None:
        view["shape"] = meaning.shape.name
        view["columns"] = []
        for at, column in meaning.columns.items():
            shown = GridColumnView(letter=letter(grid.column_numbers[at]), header=column.header)
            if column.field is not None:
                shown["field"] = column.field.name
            if column.unit is not None:
                shown["unit"] = column.unit.name
            view["columns"].append(shown)
    return view


def _row(row: DraftRow, draft: HeldDraft) -> DraftRowView:
    version = row.row if row.row is not None else row.stored
    cells = {} if version is None else {name: text for name, text in version.cells().items() if text and name != "id"}
    changes = [] if row.row is None or row.stored is None else list(cell_changes(row.stored, row.row))
    view = DraftRowView(
        table=row.table.table, id=row.id, effect=row.effect, content=row.digest, row=cells, places=list(row.places),
        changes=changes,
    )  # fmt: skip
    tick = draft.content["ticks"].get(row.key)
    if tick is not None and tick["content"] == row.digest:
        view["tick"] = TickView(said=tick["said"], by=tick["by"], at=tick["at"])
        if "note" in tick:
            view["tick"]["note"] = tick["note"]
    return view


def _findings(snapshot: Snapshot, found: DerivedDraft) -> tuple[list[DraftFinding], list[Fault]]:
    """The findings of the rules in the rows that change, and the points that keep the draft from being loaded."""
    faults: list[Fault] = []
    edits = found.edits(faults)
    if not edits:
        return [], faults
    try:
        report = check_edits(snapshot, edits, dt.datetime.now(dt.UTC).date()).report
    except Invalid as refusal:
        return [], [*faults, *(refusal.faults or [Fault("refused", refusal.detail)])]
    places = {(each.table.table, each.id): each.places[0] for each in found.rows if each.places}
    placed = [_placed(each, places) for each in report["findings"]]
    faults += [Fault(each["rule"], f"{each['text']}. {each['fix']}") for each in placed if refuses(each)]
    return placed, faults


def _placed(finding: FindingShape, places: Mapping[tuple[str, str], str]) -> DraftFinding:
    """A finding with the cell that its row came from."""
    cell = places.get((finding.get("table", ""), finding.get("id", "")))
    return cast(DraftFinding, finding) if cell is None else {**finding, "cell": cell}
