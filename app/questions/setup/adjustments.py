"""An amount that a source adds to its guide on a condition, such as 8 psi for an e-bike, which a request must give."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from rapidfuzz import process

from app.catalogue.agreement import unit_of
from app.catalogue.tables import Adjustment, Guide
from app.errors import Invalid
from app.questions.configuration.prevailing import Applicable
from app.questions.setup.inputs import ForRider
from app.units.convert import linear, round_limit

_COLUMNS = {
    "pressure": "pressure", "negative pressure": "pressure", "sag": "sag_percent", "rebound clicks": "rebound_clicks",
    "compression clicks": "compression_clicks", "preload turns": "preload_turns",
}  # fmt: skip
_CHAMBERS = {"pressure": "positive", "negative pressure": "negative"}


@dataclass(slots=True)
class Adjusted:
    """The guide rows with what was added, the rows that added it by guide, and why something was not added."""

    guides: ForRider
    added: dict[str, list[Adjustment]] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)


def refuse_conditions(listed: Iterable[Adjustment], conditions: Sequence[str]) -> None:
    """Raises Invalid `condition-unknown` for a condition that no adjustment of the fork names."""
    known = sorted({row.condition for row in listed})
    for condition in conditions:
        if condition not in known:
            names = " and ".join(known)
            text = f"The adjustments of this fork name {names}." if known else "This fork has no adjustments."
            near = process.extractOne(condition, known)
            suggestion = None if near is None else near[0]
            raise Invalid.one("condition-unknown", text, parameter="condition", suggestion=suggestion)


def adjusted(guides: ForRider, rows: Sequence[Applicable[Adjustment]], conditions: Sequence[str]) -> Adjusted:
    """The guide rows for the rider with everything added whose condition is given and that surely applies."""
    meant = [each for each in rows if each.statement.condition in conditions]
    often = Counter((each.statement.target, each.statement.condition) for each in meant)
    found = Adjusted(guides)
    usable: list[Adjustment] = []
    for each in meant:
        row = each.statement
        if each.surely and often[row.target, row.condition] == 1:
            usable.append(row)
        else:
            found.refused.append(f"More than one adjustment may apply for {row.condition}: {row.id} is not added.")
    sure = tuple(_with_all(each, usable, found) for each in guides.sure)
    found.guides = ForRider(sure, guides.maybe)
    return found


def _with_all(each: Applicable[Guide], rows: Iterable[Adjustment], found: Adjusted) -> Applicable[Guide]:
    guide = each.statement
    for row in rows:
        if not _is_about(guide, row):
            continue
        changed = _with(guide, row)
        if changed is None:
            found.refused.append(f"{row.id} cannot be added to {guide.id}: check its sign and its unit.")
        elif changed is not guide:
            guide = changed
            found.added.setdefault(guide.id, []).append(row)
    return Applicable(guide, each.scope, each.open_in, each.also_in, each.narrows)


def _is_about(guide: Guide, row: Adjustment) -> bool:
    chamber = _CHAMBERS.get(row.target)
    return chamber is None or (guide.chamber or "positive") == chamber


def _with(guide: Guide, row: Adjustment) -> Guide | None:
    """A guide row with the amount added to each figure of the target; None if that is impossible."""
    column = _COLUMNS[row.target]
    stem, suffix = (column.removesuffix("_percent"), "_percent") if column.endswith("_percent") else (column, "")
    columns = (column, f"{stem}_min{suffix}", f"{stem}_max{suffix}")
    given = {name: value for name in columns if (value := getattr(guide, name)) is not None}
    if not given:
        return guide
    changed: dict[str, Decimal | int] = {}
    for name, value in given.items():
        amount = _amount(row, guide, Decimal(value))
        if amount is None or Decimal(value) + amount < 0:
            return None
        total = Decimal(value) + amount
        changed[name] = int(total) if isinstance(value, int) else total
    return guide.replaced(**changed)


def _amount(row: Adjustment, guide: Guide, to: Decimal) -> Decimal | None:
    """The amount in the unit of the guide's figure; converted, it is rounded to the last digit of that figure."""
    if row.value is None:
        return None
    if not row.target.endswith("pressure"):
        return row.value
    here = None if row.unit is None else unit_of("pressure", row.unit)
    there = None if guide.pressure_unit is None else unit_of("pressure", guide.pressure_unit)
    if here is None or there is None:
        return None
    if here is there:
        return row.value
    exact = Fraction(row.value) * linear(here, there)[0]
    last_digit = Decimal(1).scaleb(int(to.as_tuple().exponent))
    return round_limit(exact, last_digit, "nominal")
