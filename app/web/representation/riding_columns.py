"""A guide with a column for each kind of riding, as its page prints it."""

from collections.abc import Sequence
from typing import NamedTuple

from app.web.representation import words
from app.web.representation.answer import Answer


class RidingColumns(NamedTuple):
    """The headings of a table, and its rows: the rider's mass, then the figure for each kind of riding."""

    headings: list[str]
    rows: list[list[str]]


def riding_columns(guides: Sequence[Answer]) -> RidingColumns | None:
    """The figures of guide lines side by side; None if they do not differ by riding."""
    ridings = list(dict.fromkeys(each.get("riding", "any riding") for each in guides))
    if len(ridings) < 2:
        return None
    rows: dict[tuple[str, str], dict[str, str]] = {}
    for each in guides:
        place = each.get("chamber", ""), words.mass_words(each)
        rows.setdefault(place, {})[each.get("riding", "any riding")] = figure_words(each)
    several = len({chamber for chamber, _ in rows}) > 1
    return RidingColumns(
        ["rider", *ridings],
        [
            [f"{mass}, {chamber}" if several and chamber else mass, *(cells.get(name, "–") for name in ridings)]
            for (chamber, mass), cells in rows.items()
        ],
    )


def figure_words(guide: Answer) -> str:
    """The figure of a guide line: its pressure, its coil, or the words in their place; else its sag."""
    if "pressure" in guide:
        return words.quantity_text(guide["pressure"])
    if "spring_choice" in guide:
        return words.plain(guide["spring_choice"])
    return str(guide["instruction"]) if "instruction" in guide else guide.get("sag", {}).get("text", "–")
