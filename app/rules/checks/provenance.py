"""Provenance: a source for every statement, a page for every document, no future dates, nothing outdated."""

from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import STATEMENTS, Fit, Guide, Source, Use
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import ChangeView, RowView

PAGED = ("manual", "bulletin")


@rule(
    "source-missing",
    shape="row",
    tables=STATEMENTS,
    reads=("source",),
    passes=edit("torques", "torque-cap", source="bulletin-a", page="2"),
    fails=edit("torques", "torque-cap", source=""),
)
def source_missing(view: RowView, today: date) -> Iterator[Violation]:
    """A statement names no source.

    A figure that cannot be looked up cannot be trusted, corrected or replaced.

    Fix: name the document; your own measurement or common practice is a source too.
    """
    if view.row["source"] is None:
        yield Violation(view.row, "source", "no source is named")


@rule(
    "page-missing",
    shape="family",
    severity="warn",
    silenced_by=("source-missing", "reference-missing"),
    passes=edit("readings", "reading-sag", page=""),
    fails=edit("torques", "torque-cap", page=""),
)
def page_missing(family: Family, today: date) -> Iterator[Violation]:
    """A statement from a manual or bulletin names no page.

    To check the figure you would have to search the whole document.

    Fix: enter the page or section.
    """
    for row in family.everything():
        if row.page is None and (source := family.sources.get(row.source or "")) is not None and source.kind in PAGED:
            yield Violation(row, "page", f"{source.id} is a {source.kind}")


@rule(
    "published-after-today",
    shape="row",
    nature="implausible",
    tables=(Source,),
    passes=edit("sources", "bulletin-a", published_on="2025-06-01"),
    fails=edit("sources", "bulletin-a", published_on="2025-06-02"),
)
def published_after_today(view: RowView, today: date) -> Iterator[Violation]:
    """A document is dated in the future.

    The newest source is shown first, so a wrong date puts this one above all later ones.

    Fix: enter the date of publication as printed: year, year-month or full date.
    """
    published = view.row["published_on"]
    if published is not None and published > today.isoformat()[: len(published)]:
        yield Violation(view.row, "published_on", f"{published} is after {today.isoformat()}")


@rule(
    "older-edition-over-newer",
    shape="change",
    nature="implausible",
    tables=STATEMENTS,
    passes=edit("torques", "torque-cap", source="bulletin-a", page="3"),
    fails=edit("torques", "torque-cap", source="manual-a-first", page="16"),
    printed=edit("torques", "torque-cap", source="manual-a-first", page="16", as_printed="Top cap: 25 N·m"),
)
def older_edition_over_newer(view: ChangeView, today: date) -> Iterator[Violation]:
    """A statement from a newer edition is replaced by one from an older edition of the same series.

    The newer edition corrects the older one. Loading the older one last would bring back the old error.

    Fix: keep the newer edition; to restore an older figure on purpose, withdraw the statement and add it again.
    """
    before, after = view.source_before, view.source_after
    if before is None or after is None or view.change.after is None or before.id == after.id:
        return
    if before.series is None or (before.maker, before.series) != (after.maker, after.series):
        return
    if before.published_on is None or after.published_on is None:
        return
    length = min(len(before.published_on), len(after.published_on))
    if after.published_on[:length] < before.published_on[:length]:
        text = f"{after.id} of {after.published_on} is older than {before.id} of {before.published_on}"
        yield Violation(view.change.after, "source", text)


@rule(
    "source-of-another-maker",
    shape="family",
    severity="warn",
    silenced_by=("source-missing", "form", "envelope", "contradiction", "physics"),
    passes=edit("limits", "limit-rider", source="bench-a", page=""),
    fails=edit("limits", "limit-rider", source="manual-other", page="4"),
)
def source_of_another_maker(family: Family, today: date) -> Iterator[Violation]:
    """A statement about a chassis comes from the manual of another maker, and names nothing made by that maker.

    It probably belongs to another chassis: its id or chassis was copied from the wrong line.

    Fix: correct the chassis or the source.
    """
    foreign = {
        id: source for id, source in family.sources.items()
        if source.maker is not None and source.maker != family.maker and source.kind in PAGED
    }  # fmt: skip
    for row in family.everything() if foreign else ():
        source = foreign.get(row.source or "")
        if source is None:
            continue
        named = (
            family.springs.get(row.spring or ""), *(family.dampers.get(id) for id in row.damper or ()),
            family.parts.get(row.fitted_part or ""),
            family.fluids.get(getattr(row, "fluid", None) or ""), family.parts.get(getattr(row, "part", None) or ""),
        )  # fmt: skip
        if not any(each is not None and each.maker == source.maker for each in named):
            yield Violation(row, "source", f"{source.id} is a document of {source.maker}")


@rule(
    "superseded-still-named",
    shape="family",
    severity="warn",
    tables=(Use, Fit, Guide),
    silenced_by=("reference-missing", "superseded-by-itself"),
    passes=edit("parts", "ring-a", superseded_by="ring-b"),
    fails=edit("parts", "washer-a", superseded_by="washer-b"),
)
def superseded_still_named(family: Family, today: date) -> Iterator[Violation]:
    """A row uses a part or spring that has been superseded.

    You may no longer be able to buy it. The mechanic should see its replacement.

    Fix: name the part that replaces it, or keep the row if the source has not been reissued.
    """
    for row in family.of(Use) if Use in family.judged else ():
        part = family.parts.get(row.part)
        if part is not None and part.superseded_by is not None:
            yield Violation(row, "part", f"{part.id} is superseded by {part.superseded_by}")
    for table in (Fit, Guide):
        for statement in family.statements[table] if table in family.judged else ():
            column = "spring" if table is Fit else "spring_choice"
            spring = family.springs.get(getattr(statement, column) or "")
            if spring is not None and spring.superseded_by is not None:
                yield Violation(statement, column, f"{spring.id} is superseded by {spring.superseded_by}")
