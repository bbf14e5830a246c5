"""Text layouts of fits, sheet, set-up and job card, in the order in which a mechanic reads them."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import Any

from app.web.representation import text_spring, words
from app.web.representation.answer import Answer
from app.web.representation.outline import is_quantity, node_of
from app.web.representation.riding_columns import figure_words, riding_columns
from app.web.representation.text_lines import (
    beside,
    closing,
    heading,
    node,
    outline_lines,
    pair,
    table,
    title,
    wrapped,
)

_COUNTS = ("spacer_limit", "spacers_fitted", "travel_spacers", "travel_spacer")
_SETUP_SHOWN = (
    "start_pressure", "basis", "band", "bands", "sag", "published", "by_spacers", "curve", "fit", "configuration",
    "coil", "limits", "assumptions", "formula", "validity", "asked", "headline", "chambers", "candidates", "altitude",
    "lower_leg_air", "example_readings", "spacers", "adjustments", "adjusted",
)  # fmt: skip
_BY_CLOSING = ("revision", "chassis", "undecided", "gaps", "cautions")


def _name(answer: Answer) -> str:
    chassis = answer["chassis"]
    return f"{chassis['maker']['name']} {chassis['name']}"


def _asked(configuration: Answer) -> Iterator[str]:
    said = [f"{words.label(name)} {_plain(value)}" for name, value in configuration.items()]
    if said:
        yield from wrapped(", ".join(said))


def _plain(value: Any) -> str:
    return words.quantity_text(value) if is_quantity(value) else words.plain(value)


def _claim(each: Answer) -> Iterator[str]:
    """Scope, note and source of a statement, indented."""
    if scope := words.scope_words(each["scope"]):
        yield from wrapped(f"    applies to {scope}", "    ")
    if "as_printed" in each:
        yield from wrapped(f"    as printed: {each['as_printed']}", "    ")
    if "note" in each:
        yield from wrapped(f"    {each['note']}", "    ")
    source = words.source_words(each["source"]) if "source" in each else "no source"
    yield from wrapped(f"    [{each['id']}] {source}", "    ")


def _statement(left: str, right: str, about: list[str], each: Answer, placed: tuple[str, ...]) -> Iterator[str]:
    """A statement: name left, figure right, details below; members not in `placed` follow by name."""
    about = [*about, *words.unplaced(each, *placed)]
    yield from beside(f"  {left}", right, "  ")
    if about:
        yield from wrapped(f"    {', '.join(about)}", "    ")
    yield from _claim(each)


def _of(each: Answer, *names: str) -> list[str]:
    """The members that are present, with their labels."""
    return [f"{words.label(name)} {_plain(each[name])}" for name in names if name in each]


def _spring(each: Answer) -> str:
    spring = each["spring"]
    number = f" ({spring['part_number']})" if "part_number" in spring else ""
    return f"{spring.get('name', spring['id'])}{number}"


def _fit(each: Answer) -> Iterator[str]:
    yield from beside(f"  {_spring(each)}", words.quantity_text(each["travel"]), "  ")
    for name in ("pressure_limit", "axle_to_crown", *_COUNTS):
        if name in each:
            yield from pair(words.label(name), _plain(each[name]), 22, "    ")
    if "spacer" in each:
        volume = f", {_plain(each['spacer']['volume'])}" if "volume" in each["spacer"] else ""
        yield from pair("volume spacer", f"{each['spacer']['name']}{volume}", 22, "    ")
    yield from _claim(each)


def fits(answer: Answer, question: str) -> Iterator[str]:
    """What fits, then near misses with the one reason each does not."""
    yield from title(f"What fits: {_name(answer)}", answer)
    yield from _asked(answer["asked"])
    yield from heading("Fits")
    if not answer["fits"]:
        yield "Nothing is listed for this configuration."
    for each in answer["fits"]:
        yield from _fit(each)
    if answer["near_misses"]:
        yield from heading(
            f"Near misses, which do not fit: {len(answer['near_misses'])} of {answer['near_misses_total']}"
        )
        for each in answer["near_misses"]:
            reasons = [reason["text"] for reason in each["reasons"]]
            chassis = [f"in {each['chassis']}"] if "chassis" in each else []
            yield from _statement(
                _spring(each), words.quantity_text(each["travel"]), [*reasons, *chassis], each, tuple(each)
            )
    yield from closing(answer)


def _torque(each: Answer) -> Iterator[str]:
    bolt = each["fastener"]
    about = [bolt[name] for name in ("side", "kind", "thread", "property_class") if name in bolt]
    about += [f"{bolt['count']} ×"] if "count" in bolt else []
    about += [" or ".join(bolt["drives"])] if "drives" in bolt else []
    about += [each[name] for name in ("thread_prep", "recheck") if name in each]
    about += [each["instruction"]] if "instruction" in each and "torque" in each else []
    about += ["left-hand thread"] if bolt.get("hand") == "left" else []
    about += ["replace every time"] if bolt.get("reuse") == "replace" else []
    stage = f", stage {each['stage']}" if "stage" in each else ""
    stage += f", no. {each['order']}" if "order" in each else ""
    stage += f" of {bolt['group']}" if "order" in each and "group" in bolt else ""
    stage += f", against {each['mating_material']}" if "mating_material" in each else ""
    figure = _plain(each["torque"]) if "torque" in each else each.get("instruction", "no figure")
    placed = (
        "fastener", "stage", "order", "mating_material", "torque", "thread_prep", "instruction", "recheck", "preload",
        "tools",
    )  # fmt: skip
    yield from _statement(f"{bolt['position']}{stage}", figure, about, each, placed)
    if "preload" in each:
        yield from node(node_of("preload", each["preload"]), "    ")


def _fill(each: Answer) -> Iterator[str]:
    figure = ", ".join(_plain(each[name]) for name in ("volume", "mass", "level") if name in each)
    figure = figure or {"none": "no oil", "greased": "greased"}.get(each.get("amount", ""), "no figure")
    chamber = f"{each['chamber']}, {each['condition']}" if "condition" in each else each["chamber"]
    about = [each["fluid"]["name"]] if "fluid" in each else []
    about += [f"or {each['alternatives']}"] if "alternatives" in each else []
    about += [f"level {each['level_text']}"] if "level_text" in each else []
    placed = ("chamber", "condition", "fluid", "alternatives", "volume", "mass", "level", "level_text", "level_datum",
              "level_state")  # fmt: skip
    yield from _statement(chamber, figure, about, each, placed)


def _grease(each: Answer) -> Iterator[str]:
    about = [each["fluid"]["name"]] if "fluid" in each else []
    about += [each["amount"]] if "amount" in each else []
    placed = ("place", "fluid", "extent", "amount")
    yield from _statement(each["place"], _plain(each["extent"]) if "extent" in each else "", about, each, placed)


def _use(each: Answer) -> Iterator[str]:
    number = f" ({each['part']['part_number']})" if "part_number" in each["part"] else ""
    count = f"{each['count']} ×" if "count" in each else ""
    about = [words.label(each["job"]), *(each[name] for name in ("position", "when") if name in each)]
    yield from _statement(
        f"{each['part']['name']}{number}", count, about, each, ("job", "part", "position", "count", "when")
    )


def _limit(each: Answer) -> Iterator[str]:
    about = [each[name] for name in ("method", "action", "unchecked") if name in each]
    placed = ("subject", "limit", "method", "action", "unchecked")
    yield from _statement(each["subject"], _plain(each["limit"]) if "limit" in each else "", about, each, placed)


def _interval(each: Answer) -> Iterator[str]:
    due = [each[name]["text"] for name in ("hours", "months") if name in each]
    yield from _statement(words.label(each["operation"]), " or ".join(due), [], each, ("operation", "hours", "months"))


def _guide(each: Answer) -> Iterator[str]:
    figure = figure_words(each) if {"pressure", "spring_choice", "instruction"} & each.keys() else ""
    about = [f"{each['riding']} riding"] if "riding" in each else []
    for name, called in (
        ("rebound_clicks", "rebound"),
        ("compression_clicks", "compression"),
        ("preload_turns", "preload"),
    ):
        about += [f"{called} {words.clicks(each[name])}"] if name in each else []
    about += [f"sag {each['sag']['text']}"] if "sag" in each else []
    figures = (
        "rider_mass_from", "rider_mass_to", "riding", "pressure", "sag", "rebound_clicks", "compression_clicks",
        "preload_turns",
    )  # fmt: skip
    at_right = next((name for name in ("pressure", "spring_choice", "instruction") if name in each), "pressure")
    placed = (*figures, at_right)
    yield from _statement(words.mass_words(each), figure, about, each, placed)


def _guides(guides: Sequence[Answer]) -> Iterator[str]:
    """The lines of guides; first side by side if they differ by riding."""
    if (columns := riding_columns(guides)) is not None:
        yield from table(columns.headings, columns.rows)
        yield ""
    for each in guides:
        yield from _guide(each)


def _published(answer: Answer) -> Iterator[str]:
    """The published set-up, what its source adds to it, and the lines with that added."""
    if answer["published"]:
        yield from heading("Published set-up")
        yield from _guides(answer["published"])
    if answer["adjustments"]:
        yield from heading("Adjustments")
        for each in answer["adjustments"]:
            yield from _adjustment(each)
    if "adjusted" in answer:
        yield from heading("With what was added")
        yield from _guides(answer["adjusted"])


def _adjustment(each: Answer) -> Iterator[str]:
    about = [each["target"]]
    if "added" in each:
        about += ["added to the figures above" if each["added"] else "not added to the figures above"]
    if "as_published" in each.get("adjustment", {}):
        about += [f"published {each['adjustment']['as_published']}"]
    placed = ("target", "condition", "adjustment", "count", "text", "added")
    yield from _statement(each["condition"], each.get("text", "no figure"), about, each, placed)


def _reading(each: Answer) -> Iterator[str]:
    about = [f"at {_plain(each['at_travel'])} from {each['at_travel_from']}"] if "at_travel" in each else []
    figure = _plain(each["pressure"]) if "pressure" in each else ""
    yield from _statement(
        each.get("state", "reading"), figure, about, each, ("state", "pressure", "at_travel", "at_travel_from")
    )


_STATEMENTS: Mapping[str, Callable[[Answer], Iterator[str]]] = {
    "fits": _fit, "torques": _torque, "fills": _fill, "greases": _grease, "uses": _use, "limits": _limit,
    "intervals": _interval, "guides": _guide, "adjustments": _adjustment, "readings": _reading,
}  # fmt: skip


def sheet(answer: Answer, question: str) -> Iterator[str]:
    """Everything for a configuration, section by section, with figures at the right."""
    yield from title(f"Sheet: {_name(answer)}", answer)
    yield from _asked(answer["configuration"])
    for name, told_by in _STATEMENTS.items():
        if answer[name]:
            yield from heading(words.heading(name))
            if name == "guides":
                yield from _guides(answer[name])
                continue
            for each in answer[name]:
                yield from told_by(each)
    if answer["tools"]:
        yield from heading("Tools")
        yield from wrapped(", ".join(each["name"] for each in answer["tools"]))
    yield from outline_lines(answer, "configuration", "tools", *_BY_CLOSING, *_STATEMENTS)
    yield from closing(answer)


def setup(answer: Answer, question: str) -> Iterator[str]:
    """The start pressure first, then its band, the limits, and the curves as tables."""
    yield from title(f"Set-up: {_name(answer)}", answer)
    yield from _asked(answer["asked"])
    yield from text_spring.head(answer)
    if "coil" in answer:
        yield from text_spring.coil(answer["coil"])
    if answer.get("candidates"):
        yield from heading("For each possible fork")
        for each in answer["candidates"]:
            yield from _candidate(each)
    yield from _published(answer)
    if answer["by_spacers"]:
        yield from text_spring.by_spacers(answer)
    if "lower_leg_air" in answer:
        yield from heading("Air in the lower legs")
        yield from wrapped(f"  {answer['lower_leg_air']['text']}", "  ")
    if "fit" in answer:
        yield from heading("Spring")
        yield from _fit(answer["fit"])
    yield from text_spring.limits(answer["limits"])
    yield from outline_lines(answer, *_BY_CLOSING, *_SETUP_SHOWN)
    yield from text_spring.assumed(answer["assumptions"])
    yield from text_spring.computed_by(answer["formula"])
    yield ""
    yield from wrapped(answer["validity"])
    if answer["bands"]:
        yield from wrapped(words.bands(answer["bands"]))
    yield from closing(answer)


def _candidate(each: Answer) -> Iterator[str]:
    figure = _plain(each["start_pressure"]) if "start_pressure" in each else "not known"
    yield from beside(
        "START PRESSURE", each["coil"].get("part_number", each["coil"]["id"]) if "coil" in each else figure
    )
    if "expected_sag" in each:
        yield from wrapped(f"  expected sag {_plain(each['expected_sag'])}", "    ")
    yield from _fit(each["fit"])
    for limit in each["limits"]["pressure"]:
        yield from wrapped(f"    maximum {_plain(limit['limit'])} ({limit['of']})", "    ")
    yield from wrapped(f"    {each['limits']['text']}", "    ")


def job_card(answer: Answer, question: str, ticked: Collection[int] = ()) -> Iterator[str]:
    """The parts and tools to lay out, then each step with a tick box, and blank lines to write on."""
    yield from title(f"{answer['procedure']['name']}: {_name(answer)}", answer)
    if answer["settings"].get("headline", {}).get("what") in ("rider-mass-limit", "instruction"):
        yield from wrapped(answer["settings"]["headline"]["text"])
    yield from _asked(answer["configuration"])
    if answer["present"] != answer["configuration"]:
        yield "now:"
        yield from _asked(answer["present"])
    if "text" in answer["procedure"]:
        yield from wrapped(answer["procedure"]["text"])
    for each in answer["cautions"]:
        if each["place"] == "top" and each["code"] != "invented-data":  # it is the first line already
            yield from wrapped(f"! {each['text']}", "  ")
    yield from heading("Lay out")
    for each in answer["parts"]:
        number = f" ({each['part_number']})" if "part_number" in each else ""
        yield from beside(f"  {each['name']}{number}", f"{each['count']} ×" if "count" in each else "____", "  ")
        about = [each["when"], *([each["text"]] if "text" in each else [])]
        if each.get("pack_count", 1) > 1 and "packs" in each:
            about.insert(1, f"{each['packs']} pack{'' if each['packs'] == 1 else 's'} of {each['pack_count']}")
        if about != ["always"]:
            yield from wrapped(f"    {', '.join(about)}", "    ")
    for each in answer["consumables"]:
        packs = [f"{pack['count']} × {_plain(pack['size'])}" for pack in each["packs"]]
        yield from beside(f"  {each['name']}", _plain(each["need"]) if "need" in each else "", "  ")
        yield from wrapped(f"    {', '.join([*each['used_for'], *_of(each, 'with_allowance'), *packs])}", "    ")
    for each in answer["tools"]:
        more = _of(each, "smallest", "largest", "marked_maximum_at_most")
        yield from wrapped(f"  {', '.join([each['name'], *more])}", "    ")
    yield from heading("Steps")
    for each in answer["steps"]:
        yield from _step(each, each["number"] in ticked)
    yield from heading("Set-up after assembly")
    yield from outline_lines(answer["settings"], "published", "adjustments", "adjusted", "coil", "limits")
    if "coil" in answer["settings"]:
        yield from text_spring.coil(answer["settings"]["coil"])
    yield from text_spring.limits(answer["settings"]["limits"])
    yield from _published(answer["settings"])
    yield from heading("Final checks")
    for each in answer["checks"]:
        yield from beside(f"  {words.label(each['what'])}", _plain(each["value"]) if "value" in each else "", "  ")
        limit = each.get("limit", {})
        more = [f"{limit['subject']} {_plain(limit['limit'])}"] if "limit" in limit else []
        yield from wrapped(f"    {' '.join([each['text'], *more])}  measured: ________", "    ")
    yield from heading("For the label on the fork")
    yield from (line for each in answer["label"] for line in wrapped(f"  {each}", "  "))
    yield from heading("Spring")
    yield from _fit(answer["fit"])
    shown = ("parts", "consumables", "tools", "steps", "settings", "checks", "label", "fit", "configuration", "present")
    yield from outline_lines(answer, *shown, "job", "procedure", "write_down", "torques", *_BY_CLOSING)
    yield from closing({**answer, "cautions": [each for each in answer["cautions"] if each["place"] == "end"]})


def _step(each: Answer, ticked: bool) -> Iterator[str]:
    deep = " " * 7
    said = [*(f"! {caution['text']}" for caution in each["cautions"]), each["text"]]
    yield from wrapped(f"[{'x' if ticked else ' '}] {each['number']:>2} {said[0]}", deep)
    for text in said[1:]:
        yield from wrapped(f"{deep}{text}", deep)
    for torque in each.get("torque", []):
        bolt = torque["fastener"]
        about = [bolt["position"], *(bolt[name] for name in ("side",) if name in bolt)]
        about += [f"no. {torque['order']}"] if "order" in torque else []
        about += [f"against {torque['mating_material']}"] if "mating_material" in torque else []
        about += [torque["thread_prep"]] if "thread_prep" in torque else []
        about += [torque["instruction"]] if "instruction" in torque and "torque" in torque else []
        figure = _plain(torque["torque"]) if "torque" in torque else torque.get("instruction", "____")
        yield from beside(deep + ", ".join(about), figure, deep)
    if "fill" in each:
        figures = [_plain(each["fill"][name]) for name in ("volume", "level") if name in each["fill"]]
        yield from beside(f"{deep}{each['fill']['chamber']}", ", ".join(figures) or "____", deep)
    if "grease" in each:
        grease = each["grease"]
        about = [grease["place"], *([grease["fluid"]["name"]] if "fluid" in grease else [])]
        yield from beside(deep + ", ".join(about), _plain(grease["extent"]) if "extent" in grease else "", deep)
    parts = [
        f"{part['count']} × {part['name']}" if "count" in part else part["name"] for part in each["parts"]
    ]  # fmt: skip
    whens = [f" ({part['when']})" if part["when"] != "always" else "" for part in each["parts"]]
    at_hand = [*(name + when for name, when in zip(parts, whens, strict=True)), *each["tools"]]
    if at_hand:
        yield from wrapped(f"{deep}[{' · '.join(at_hand)}]", deep)
    for said in each["figures"]:
        if "as_published" in said.get("value", {}):
            yield from wrapped(f"{deep}{said['what']}: {_plain(said['value'])}", deep)
    for measure in each["measures"]:
        yield from beside(f"{deep}{measure}", "________________", deep)


LAYOUTS: Mapping[str, Callable[[Answer, str], Iterator[str]]] = {
    "fits": fits,
    "sheet": sheet,
    "setup": setup,
    "job-card": job_card,
}
