"""Names and numbers that identify things: a maker's part numbers, names and colours of the springs of a fork."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date

from app.catalogue.tables import Fit, Part, Row, Spring, Variant
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import EntityView


@rule(
    "part-number-twice",
    shape="entity",
    tables=(Spring, Part),
    passes=edit("parts", "wiper-a", part_number="K-2"),
    fails=edit("parts", "wiper-a", part_number="W-1"),
)
def part_number_twice(view: EntityView, today: date) -> Iterator[Violation]:
    """Two parts, or two springs, of one maker have the same part number.

    An order by this number brings only one of them. A digit was misread, or one part was entered twice.

    Fix: check both numbers against the page; keep one row if it is one part.
    """
    row, number = view.row, view.row["part_number"]
    for other in view.referrers if number is not None else ():
        same = other["maker"] == row["maker"] and other["part_number"] == number
        if same and other.id < row.id:
            text = f"{number} is the number of {other.id} and of {row.id}"
            yield Violation(row, "part_number", text, other, mutual=True)
            return


@rule(
    "superseded-by-another-kind",
    shape="entity",
    nature="implausible",
    tables=(Spring, Part),
    silenced_by=("superseded-by-itself", "reference-missing"),
    passes=edit("parts", "ring-a", superseded_by="ring-b"),
    fails=edit("parts", "ring-a", superseded_by="washer-b"),
)
def superseded_by_another_kind(view: EntityView, today: date) -> Iterator[Violation]:
    """A part is replaced by one of another kind or maker, an air spring by a coil, or two parts replace each other.

    If you follow the replacement, you fit the wrong part or go round in a circle.

    Fix: name the part that replaces it; if the page says so, copy its words into as_printed.
    """
    row, replaced_by = view.row, view.row["superseded_by"]
    for other in view.referrers:
        if other.id != replaced_by:
            continue
        if other["superseded_by"] == row.id:
            yield Violation(
                row, "superseded_by", f"{other.id} in turn is replaced by this row", other, nature="impossible"
            )
        elif other["kind"] != row["kind"]:
            yield Violation(row, "superseded_by", f"{other.id} is a {other['kind']}", other)
        elif None not in (other["maker"], row["maker"]) and other["maker"] != row["maker"]:
            yield Violation(row, "superseded_by", f"{other.id} is made by {other['maker']}", other)


@rule(
    "choice-named-twice",
    shape="family",
    nature="implausible",
    tables=(Fit,),
    silenced_by=("stated-twice", "disagree-unrelated"),
    passes=edit("springs", "spring-140", name="A air 140 mm"),
    fails=edit("springs", "spring-140", name="A air 150"),
    printed=edit("springs", "spring-140", name="A air 150", as_printed="A air 150 (short)"),
)
def choice_named_twice(family: Family, today: date) -> Iterator[Violation]:
    """Two springs of one fork have the same name, or two of its coils have the same colour.

    The page then does not tell you which of the two to fit. A name or a colour was copied from another line.

    Fix: check both against the page; if it gives them the same name, copy its words into as_printed of one of them.
    """
    for chassis, fits in family.fits_of_chassis.items():
        first: dict[str, Fit] = {}
        for fit in fits:
            first.setdefault(fit.spring, fit)
        springs = [spring for id in sorted(first) if (spring := family.springs.get(id)) is not None]
        for column in ("name", "colour_mark"):
            for one, other in _alike(springs, column):
                both_coils = one["kind"] == other["kind"] == "coil"
                if column == "colour_mark" and not both_coils:
                    continue
                text = f"{other.id} and {one.id} are both “{other[column]}” on {chassis}"
                doubted = ((one, column), (other, column))
                yield Violation(first[other.id], "spring", text, first[one.id], figures=doubted)


@rule(
    "variant-named-twice",
    shape="family",
    nature="implausible",
    tables=(Variant,),
    silenced_by=("serial-ranges-overlap",),
    passes=edit("variants", "variant-b", chassis="fork-a", name="Base", model_code="AQ"),
    fails=edit("variants", "variant-b", chassis="fork-a", name="Base", model_code="AP"),
)
def variant_named_twice(family: Family, today: date) -> Iterator[Violation]:
    """Two variants of one chassis have the same name or model code in the same years.

    The mechanic reads the code off the fork, and it would match both.

    Fix: check both against the page.
    """
    chassis: dict[str, list[Variant]] = defaultdict(list)
    for row in family.variants.values():
        chassis[row.chassis].append(row)
    for variants in chassis.values():
        for column in ("model_code", "name"):
            for one, other in _alike(sorted(variants, key=lambda each: each.id), column):
                if _share_years(one, other) and not _other_serials(one, other):
                    text = f"“{other[column]}”, the same as {one.id}"
                    yield Violation(other, column, text, one, mutual=True)


@rule(
    "serial-ranges-overlap",
    shape="family",
    tables=(Variant,),
    silenced_by=("serial-range-unreadable",),
    passes=edit("variants", "variant-b", chassis="fork-a", name="Base", serial_from="A25-0000", serial_to="A25-9999"),
    fails=edit("variants", "variant-b", chassis="fork-a", name="Base", serial_from="A24-5000", serial_to="A25-9999"),
)
def serial_ranges_overlap(family: Family, today: date) -> Iterator[Violation]:
    """The serial ranges of two variants of one chassis overlap.

    A serial would then match both. One end was misread.

    Fix: check both ranges against the pages.
    """
    ranges: dict[tuple[str, int], list[tuple[str, str, Variant]]] = defaultdict(list)
    for row in family.variants.values():
        first, last = row.serial_from, row.serial_to
        if first is not None and last is not None and len(first) == len(last):
            ranges[row.chassis, len(first)].append((first, last, row))
    for found in ranges.values():
        reaches: tuple[str, Variant] | None = None  # the highest serial so far, and whose it is
        for first, last, row in sorted(found, key=lambda each: (each[0], each[2].id)):
            if reaches is not None and first <= reaches[0]:
                one = reaches[1]
                yield Violation(row, "serial_from", f"{first} is still within the range of {one.id}", one, mutual=True)
            if reaches is None or last > reaches[0]:
                reaches = last, row


def _alike(rows: Iterable[Row], column: str) -> Iterator[tuple[Row, Row]]:
    first: dict[str, Row] = {}
    for row in rows:
        text = row[column]
        if text is None:
            continue
        other = first.setdefault(text.casefold(), row)
        if other is not row:
            yield other, row


def _share_years(one: Row, other: Row) -> bool:
    first = max(one["model_year_from"] or 0, other["model_year_from"] or 0)
    last = min(one["model_year_to"] or 9999, other["model_year_to"] or 9999)
    return first <= last


def _other_serials(one: Row, other: Row) -> bool:
    """True for two production runs of one name that differ in serials or dates."""
    columns = ("serial_from", "serial_pattern", "produced_from")
    return any(None not in (one[name], other[name]) and one[name] != other[name] for name in columns)
