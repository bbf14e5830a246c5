"""Statements as text: a name with what qualifies it, the figure at the right edge, and the mark of its source."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from app.units.counts import OTHER_END
from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.merged import merged_fills, merged_torques, sides
from app.web.representation.outline import is_quantity, node_of
from app.web.representation.riding_columns import riding_columns
from app.web.representation.sources import Sources
from app.web.representation.text_lines import COLUMNS, flowing, heading, node, table, wrapped

_MARK = 5  # columns of a mark
_COUNTS = ("spacer_limit", "spacers_fitted", "travel_spacers", "travel_spacer")
_OF_GUIDES = (
    "rider_mass_from", "rider_mass_to", "mass_is", "chamber", "riding", "pressure", "instruction", "sag",
    "rebound_clicks", "compression_clicks", "preload_turns",
)  # fmt: skip
_OF_TORQUES = (
    "fastener", "stage", "order", "mating_material", "torque", "thread_prep", "instruction", "recheck", "preload",
    "tools",
)  # fmt: skip
_OF_FILLS = (
    "chamber", "condition", "fluid", "alternatives", "volume", "mass", "level", "level_text", "level_datum",
    "level_state",
)  # fmt: skip
_CLICKS = ("rebound_clicks", "compression_clicks")


class Line(NamedTuple):
    """A statement as a line; members that are not in `placed` follow by name."""

    left: str
    right: str
    about: Sequence[str]
    placed: tuple[str, ...]


def plain(value: Any) -> str:
    """A value in words."""
    return words.quantity_text(value) if is_quantity(value) else words.plain(value)


def marked(figure: str, each: Answer, sources: Sources) -> str:
    """A figure with the mark of its source, so that marks are below each other."""
    return f"{figure}  {sources.mark(each):<{_MARK}}"


def statement(line: Line, each: Answer, sources: Sources) -> Iterator[str]:
    """The line of a statement with its scope, its note and its mark."""
    about = [*line.about, *words.unplaced(each, *line.placed)]
    if scope := words.scope_words(each["scope"]):
        about.append(f"applies to {scope}")
    about += [f"as printed: {each['as_printed']}"] if "as_printed" in each else []
    about += [each["note"]] if "note" in each else []
    about += [f"also in {sources.mark(also) or also['id']}" for also in each.get("also_in", ())]
    about += [f"an exception to {', '.join(each['narrows'])}"] if each.get("narrows") else []
    left = f"  {line.left}{': ' if about else ''}{'; '.join(about)}"
    yield from flowing(left, marked(line.right, each, sources), "    ")


def spring(each: Answer) -> str:
    """The name and the part number of the spring of a fit."""
    shown = each["spring"]
    number = f" ({shown['part_number']})" if "part_number" in shown else ""
    return f"{shown.get('name', shown['id'])}{number}"


def fit(each: Answer, sources: Sources, without: Sequence[str] = ()) -> Iterator[str]:
    """A spring that fits, with its limits except those in `without`."""
    about = [
        f"{words.label(name)} {plain(each[name])}"
        for name in ("pressure_limit", "axle_to_crown", *_COUNTS)
        if name in each and name not in without
    ]
    if "spacer" in each:
        volume = f" {plain(each['spacer']['volume'])}" if "volume" in each["spacer"] else ""
        about.append(f"volume spacer {each['spacer']['name']}{volume}")
    line = Line(spring(each), plain(each["travel"]), about, tuple(each))
    yield from statement(line, each, sources)


def torques(listed: Sequence[Answer], sources: Sources) -> Iterator[str]:
    """Torques, those of both legs in one line if they are equal."""
    for group in merged_torques(listed):
        each = group.first
        bolt = each["fastener"]
        about = [sides(group)] if sides(group) else []
        about += [bolt[name] for name in ("kind", "thread", "property_class") if name in bolt]
        about += [f"{bolt['count']} ×"] if bolt.get("count", 1) != 1 else []
        about += [" or ".join(bolt["drives"])] if "drives" in bolt else []
        about += [each[name] for name in ("thread_prep", "recheck") if name in each]
        about += [each["instruction"]] if "instruction" in each and "torque" in each else []
        about += ["left-hand thread"] if bolt.get("hand") == "left" else []
        about += ["replace every time"] if bolt.get("reuse") == "replace" else []
        stage = f", stage {each['stage']}" if "stage" in each else ""
        stage += f", no. {each['order']}" if "order" in each else ""
        stage += f" of {bolt['group']}" if "order" in each and "group" in bolt else ""
        stage += f", against {each['mating_material']}" if "mating_material" in each else ""
        figure = plain(each["torque"]) if "torque" in each else each.get("instruction", "no figure")
        yield from statement(Line(f"{bolt['position']}{stage}", figure, about, _OF_TORQUES), each, sources)
        if "preload" in each:
            yield from node(node_of("preload", each["preload"]), "    ")


def fills(listed: Sequence[Answer], sources: Sources) -> Iterator[str]:
    """Fills, those of both legs in one line if they are equal."""
    for group in merged_fills(listed):
        each = group.first
        figure = poured(each) or "no figure"
        about = [each["fluid"]["name"]] if "fluid" in each else []
        about += [f"or {each['alternatives']}"] if "alternatives" in each else []
        about += [f"level {each['level_text']}"] if "level_text" in each else []
        chambers = " and ".join(one["chamber"] for one in group.rows)
        chambers += f", {each['condition']}" if "condition" in each else ""
        yield from statement(Line(chambers, figure, about, _OF_FILLS), each, sources)


def poured(fill: Answer) -> str:
    """How much oil a fill says, or what it says in place of an amount; empty if it says nothing."""
    figures = [plain(fill[name]) for name in ("volume", "mass", "level") if name in fill]
    return ", ".join(figures) or words.unfilled(fill)


def uses(listed: Sequence[Answer], sources: Sources) -> Iterator[str]:
    """Parts under the job that uses them."""
    for job in dict.fromkeys(each["job"] for each in listed):
        yield f"  {words.label(job)}"
        for each in (one for one in listed if one["job"] == job):
            number = f" ({each['part']['part_number']})" if "part_number" in each["part"] else ""
            count = f"{each['count']} ×" if "count" in each else ""
            about = [each[name] for name in ("position", "when") if name in each]
            line = Line(f"  {each['part']['name']}{number}", count, about, ("job", "part", "position", "count", "when"))
            yield from statement(line, each, sources)


def guides(listed: Sequence[Answer], sources: Sources) -> Iterator[str]:
    """Published set-ups: kinds of riding side by side; then what lines share once, and a table of their riders."""
    if (columns := riding_columns(listed)) is not None:
        yield from table(columns.headings, columns.rows)
    groups: dict[tuple[str, ...], list[Answer]] = {}
    for each in listed:
        key = [words.scope_words(each["scope"]), each.get("mass_is", ""), each.get("chamber", "")]
        key += [each.get("riding", "")]
        key += [str(each.get("note", "")), str(each.get("as_printed", "")), *words.unplaced(each, *_OF_GUIDES)]
        groups.setdefault((*key, sources.mark(each)), []).append(each)
    for shared, rows in groups.items():
        scope, mass_is, chamber, riding, note, printed = shared[:6]
        about = [f"applies to {scope}" if scope else "", f"rider mass {mass_is}" if mass_is else ""]
        about += [
            f"{chamber} chamber" if chamber else "",
            f"{riding} riding" if riding else "",
            *shared[6:-1],
            note,
            f"as printed: {printed}" if printed else "",
        ]
        about += _of_clicks(rows)
        yield from flowing(f"  {'; '.join(filter(None, about))}", f"{shared[-1]:<{_MARK}}", "  ")
        yield from _guide_table(rows)


def published(answer: Answer, sources: Sources) -> Iterator[str]:
    """The published set-up, what its source adds to it, and the lines with that added."""
    yield from guides(answer["published"], sources)
    adjustments = answer["adjustments"]
    if adjustments and not any(each.get("added", True) for each in adjustments):
        yield from heading("Adjustments, not added to the figures above")
        unsaid = [{name: value for name, value in each.items() if name != "added"} for each in adjustments]
        yield from STATEMENTS["adjustments"](unsaid, sources)
    elif adjustments:
        yield from heading("Adjustments")
        yield from STATEMENTS["adjustments"](adjustments, sources)
    if "adjusted" in answer:
        yield from heading("With what was added")
        yield from guides(answer["adjusted"], sources)


def _of_clicks(rows: Sequence[Answer]) -> Iterator[str]:
    """What the clicks of a table have in common: where they are counted from, and how many there are."""
    for name in _CLICKS:
        counted = [each[name] for each in rows if name in each]
        if counted and _is_alike(counted):
            first = counted[0]
            other = f" (from {OTHER_END[first['from']]})" if "count_from_other_end" in first else ""
            total = f", {first['total']} in all" if "total" in first else ""
            yield f"{words.label(name)} from {first['from']}{other}{total}"


def _is_alike(counted: Sequence[Answer]) -> bool:
    ends = {(each.get("from"), each.get("total"), "count_from_other_end" in each) for each in counted}
    return len(ends) == 1 and counted[0].get("from") in OTHER_END


def _guide_table(rows: Sequence[Answer]) -> Iterator[str]:
    names = [name for name in _OF_GUIDES[5:] if any(name in each for each in rows)]
    short = {name for name in _CLICKS if _is_alike([each[name] for each in rows if name in each] or [{}])}
    cells = [[words.mass_words(each), *(_setting(each, name, name in short) for name in names)] for each in rows]
    if len(rows) == 1:
        yield from wrapped(f"  {', '.join(filter(None, cells[0]))}", "    ")
        return
    lines = table(["rider", *(words.label(name).removesuffix(" clicks") for name in names)], cells)
    if max(map(len, lines)) + 2 <= COLUMNS:
        yield from (f"  {line}" for line in lines)
    else:
        for row in cells:
            yield from wrapped(f"  {', '.join(filter(None, row))}", "    ")


def _setting(each: Answer, name: str, is_short: bool) -> str:
    if name not in each:
        return ""
    if is_short and not {"min", "max"} & each[name].keys():
        other = each[name].get("count_from_other_end")
        return f"{each[name]['count']}{'' if other is None else f' ({other})'}"
    return words.clicks(each[name]) if name in _CLICKS else plain(each[name])


def _grease(each: Answer) -> Line:
    about = [each["fluid"]["name"]] if "fluid" in each else []
    about += [each["amount"]] if "amount" in each else []
    return Line(
        each["place"], plain(each["extent"]) if "extent" in each else "", about, ("place", "fluid", "extent", "amount")
    )


def _limit(each: Answer) -> Line:
    about = [each["method"]] if "method" in each else []
    about += [f"if exceeded {each['action']}"] if "action" in each else []
    about += [each["unchecked"]] if "unchecked" in each else []
    figure = plain(each["limit"]) if "limit" in each else ""
    return Line(each["subject"], figure, about, ("subject", "limit", "method", "action", "unchecked"))


def _interval(each: Answer) -> Line:
    due = [each[name]["text"] for name in ("hours", "months") if name in each]
    return Line(words.label(each["operation"]), " or ".join(due), [], ("operation", "hours", "months"))


def _adjustment(each: Answer) -> Line:
    about = [each["target"]]
    if "added" in each:
        about += ["added to the figures above" if each["added"] else "not added to the figures above"]
    if "as_published" in each.get("adjustment", {}):
        about += [f"published {each['adjustment']['as_published']}"]
    placed = ("target", "condition", "adjustment", "count", "text", "added")
    return Line(each["condition"], each.get("text", "no figure"), about, placed)


def _reading(each: Answer) -> Line:
    about = [f"at {plain(each['at_travel'])} from {each['at_travel_from']}"] if "at_travel" in each else []
    figure = plain(each["pressure"]) if "pressure" in each else ""
    return Line(each.get("state", "reading"), figure, about, ("state", "pressure", "at_travel", "at_travel_from"))


def _each(line_of: Callable[[Answer], Line]) -> Callable[[Sequence[Answer], Sources], Iterator[str]]:
    def lines(listed: Sequence[Answer], sources: Sources) -> Iterator[str]:
        for each in listed:
            yield from statement(line_of(each), each, sources)

    return lines


def _fits(listed: Sequence[Answer], sources: Sources) -> Iterator[str]:
    for each in listed:
        yield from fit(each, sources)


STATEMENTS: Mapping[str, Callable[[Sequence[Answer], Sources], Iterator[str]]] = {
    "torques": torques, "fills": fills, "greases": _each(_grease), "uses": uses, "limits": _each(_limit),
    "intervals": _each(_interval), "fits": _fits, "guides": guides, "adjustments": _each(_adjustment),
    "readings": _each(_reading),
}  # fmt: skip
"""The sections of a sheet, in the order in which they are needed at the bench."""
