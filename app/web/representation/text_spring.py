"""What a set-up rests on, as text: the coils that fit, the limits, what was taken for granted, the equations."""

from collections.abc import Iterator, Sequence
from typing import Any

from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.outline import is_quantity
from app.web.representation.text_lines import beside, heading, pair, wrapped


def _plain(value: Any) -> str:
    return words.quantity_text(value) if is_quantity(value) else words.plain(value)


def coil(answer: Answer) -> Iterator[str]:
    """The rate that is wanted, the springs next to it, then every coil that fits with the sag it gives."""
    yield from heading("Coil spring")
    if "rate_wanted" in answer:
        yield from beside("RATE WANTED", _plain(answer["rate_wanted"]))
    yield from wrapped(f"  {answer['text']}", "  ")
    if "band" in answer:
        yield from wrapped(f"  {words.band(answer['band'])}", "  ")
    if "preload" in answer:
        yield from pair("preload", _plain(answer["preload"]), 16, "  ")
    for name in ("fitted", "softer", "stiffer", "published_choice"):
        if name in answer:
            yield from pair(words.label(name), spring_words(answer[name]), 16, "  ")
    for each in answer["springs"]:
        yield ""
        yield from beside(f"  {spring_words(each['spring'])}", _plain(each["rate"]), "  ")
        for name in ("least_preload", "greatest_preload"):
            if name in each:
                yield from wrapped(f"    {words.label(name)} {sag_words(each[name])}", "      ")
        ends = [f"{point['force']['text']} at {point['travel']['text']}" for point in each["curve"]]
        if ends:
            yield from wrapped(f"    force {', '.join(ends)}", "      ")


def spring_words(spring: Answer) -> str:
    """A spring by name, number and mark."""
    said = ", ".join(spring[name] for name in ("part_number", "colour_mark") if name in spring)
    return f"{spring.get('name', spring['id'])}{f' ({said})' if said else ''}"


def sag_words(sag: Answer) -> str:
    """The sag at a preload: `2.0 mm: sag 55.5 mm, 32.6 %`."""
    gives = [f"sag {_plain(sag['travel'])}"] if "travel" in sag else []
    gives += [f"{words.plain(sag['percent'])} %"] if "percent" in sag else []
    gives += ["the preload alone carries the load"] if sag.get("topped_out") else []
    return f"{_plain(sag['preload'])}{': ' if gives else ''}{', '.join(gives)}"


def limits(answer: Answer) -> Iterator[str]:
    """What must not be exceeded, and whether it is."""
    yield from heading("Limits")
    for each in answer["pressure"]:
        yield from beside(f"  maximum fill pressure of the {each['of']}{_kept(each)}", _plain(each["limit"]), "  ")
        yield from _where(each)
    if "spacers" in answer:
        yield from beside(f"  volume spacers at most{_kept(answer['spacers'])}", str(answer["spacers"]["limit"]), "  ")
    for each in answer["rider_mass"]:
        yield from beside(f"  rider with gear{_kept(each)}", _plain(each["limit"]), "  ")
        yield from _where(each)
    yield from wrapped(f"  {answer['text']}", "  ")


def _kept(limit: Answer) -> str:
    return "" if "within" not in limit else ", kept" if limit["within"] else ", EXCEEDED"


def _where(each: Answer) -> Iterator[str]:
    source = f" {words.source_words(each['source'])}" if "source" in each else ""
    yield from wrapped(f"    [{each['id']}]{source}", "    ")


def assumed(assumptions: Sequence[Answer]) -> Iterator[str]:
    """What was taken for granted, the value at the right edge."""
    if assumptions:
        yield from heading("Assumed")
    for each in assumptions:
        yield from beside(f"  {words.label(each['name'])}", _plain(each["value"]) if "value" in each else "", "  ")
        yield from wrapped(f"    {each['text']}", "    ")


def computed_by(formulas: Sequence[Answer]) -> Iterator[str]:
    """The equations with their source and where they hold."""
    if formulas:
        yield from heading("Computed by")
    for each in formulas:
        yield from wrapped(f"  {each['text']}", "    ")
        yield from wrapped(f"    {each['source']}. Holds for {each['validity']}.", "    ")
