"""The parts of a set-up as text: settings, matching coils, lines by spacers, limits and assumptions."""

from collections.abc import Iterator, Sequence

from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.sources import Sources
from app.web.representation.text_lines import beside, flowing, heading, pair, table, wrapped
from app.web.representation.text_statements import marked, plain

_PLACES = (("fill_altitude", "fill_temperature"), ("altitude", "temperature"))


def head(answer: Answer) -> Iterator[str]:
    """The settings first: fill pressure, reading where the bike is ridden, sag, maximum."""
    if answer["headline"]["text"]:
        yield from wrapped(answer["headline"]["text"])
    if "start_pressure" in answer:
        yield from beside("START PRESSURE", plain(answer["start_pressure"]))
        band = words.band(answer["band"]) if "band" in answer else ""
        yield from wrapped(f"  {answer.get('basis', '')}. {band}", "  ")
    yield from places(answer)
    if "sag" in answer:
        yield from sag(answer["sag"])
    if "spacers" in answer:
        yield from beside("VOLUME SPACERS", str(answer["spacers"]))


def places(answer: Answer) -> Iterator[str]:
    """The fill pressure where the fork is filled, the reading where it is ridden, and each chamber."""
    if "altitude" in answer:
        place = answer["altitude"]
        yield from beside(f"FILL HERE, AT {place['fill_altitude']['text']}", plain(place["fill_to"]))
        if "negative_fill_to" in place:
            yield from beside("  negative chamber", plain(place["negative_fill_to"]))
        if "second_positive_fill_to" in place:
            yield from beside("  second positive chamber", plain(place["second_positive_fill_to"]))
        yield from beside(f"READS AT {place['altitude']['text']}", plain(place["reading_there"]))
        here, there = ([plain(place[name]) for name in names] for names in _PLACES)
        push = (
            f" Sealed lower legs push out with {plain(place['lower_leg_push'])}." if "lower_leg_push" in place else ""
        )
        yield from wrapped(f"  Filled at {' and '.join(here)}, ridden at {' and '.join(there)}.{push}", "  ")
        yield from wrapped(f"  {place['text']}", "  ")
    for each in answer.get("chambers", []):
        most = f", maximum {plain(each['maximum'])}" if "maximum" in each else ""
        order = f", number {each['order']} in the order of filling" if "order" in each else ""
        filled = plain(each["pressure"]) if "pressure" in each else "not stated"
        yield from flowing(f"  {each['chamber']} chamber{most}{order}", filled, "    ")
        if "relative" in each:
            yield from wrapped(f"    {each['relative']}", "    ")
        if each.get("within_limit") is False:
            yield "    ! above the maximum of this chamber"


def sag(sag: Answer, *, is_explained: bool = True) -> Iterator[str]:
    """The sag to set, how it is counted, and the one that the calculation expects."""
    yield from beside("SAG", f"{plain(sag['travel'])}, {sag['percent']['text']}")
    if "expected" in sag:
        yield from beside(
            "  expected (calculated)", f"{plain(sag['expected'])}, {sag['expected_percent']['text']}", "  "
        )
    if "disagreement" in sag:
        yield from wrapped(f"  ! {sag['disagreement']}", "    ")
    if is_explained:
        yield from wrapped(f"  {sag['text']}", "  ")


def by_spacers(answer: Answer) -> Iterator[str]:
    """A line for each number of volume spacers, then the curves as tables."""
    rows = answer["by_spacers"]
    yield from heading("By volume spacers")
    if "spacers" not in answer:
        yield from wrapped("  The number fitted is not known. Count them and use that line.", "  ")
    columns = ("start_pressure", "expected_sag", "peak_pressure", "peak_force")
    for each in rows:
        said = [f"{words.label(name)} {plain(each[name])}" for name in columns if name in each]
        yield from wrapped(f"  {each['spacers']}: {', '.join(said)}", "     ")
        limit = "yes" if each.get("within_limit") else "NO" if "within_limit" in each else "not stated"
        exceeds = f" ({', '.join(each['exceeds'])})" if each["exceeds"] else ""
        yield f"     progression {plain(each['progression'])}, within limits: {limit}{exceeds}"
    if "spacers" not in answer:
        for each in rows:
            yield from heading(f"Force over travel, {each['spacers']} volume spacers")
            points = [[point["travel"]["text"], point["force"]["text"]] for point in each["curve"]]
            yield from table(["travel", "force"], points)
        return
    yield from heading("Force over travel, by number of volume spacers")
    for first in range(0, len(rows), 5):
        some = rows[first : first + 5]
        points = [
            [point["travel"]["text"], *(each["curve"][at]["force"]["text"] for each in some)]
            for at, point in enumerate(rows[0]["curve"])
        ]
        yield from table(["travel", *(str(each["spacers"]) for each in some)], points)
    if answer["curve"]:
        yield from heading("As fitted")
        names = [name for name in ("travel", "force", "slow_force", "pressure") if name in answer["curve"][0]]
        called = [words.label(name) for name in names]
        yield from table(called, [[point[name]["text"] for name in names] for point in answer["curve"]])


def coil(answer: Answer) -> Iterator[str]:
    """The wanted rate, the springs next to it, then every coil that fits with its sag."""
    yield from heading("Coil spring")
    if "fit" in answer:
        yield from beside("FIT", spring_words(answer["fit"]))
    if "headline" in answer:
        yield from wrapped(f"  {answer['headline']}", "  ")
    if "published_turns" in answer:
        gives = f": {sag_words(answer['at_published_turns'])}" if "at_published_turns" in answer else ""
        yield from pair("published preload", f"{answer['published_turns']['text']}{gives}", 20, "  ")
    if "preload_text" in answer:
        yield from wrapped(f"  {answer['preload_text']}", "  ")
    if "rate_wanted" in answer:
        yield from beside("RATE WANTED", plain(answer["rate_wanted"]))
    yield from wrapped(f"  {answer['text']}", "  ")
    if "band" in answer:
        yield from wrapped(f"  {words.band(answer['band'])}", "  ")
    if "preload" in answer:
        yield from pair("rate is for a preload of", plain(answer["preload"]), 26, "  ")
    for name in ("fitted", "softer", "stiffer", "published_choice", "calculated_choice"):
        if name in answer:
            yield from pair(words.label(name), spring_words(answer[name]), 16, "  ")
    for each in answer["springs"]:
        yield ""
        yield from beside(f"  {spring_words(each['spring'])}", plain(each["rate"]), "  ")
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
    gives = [f"sag {plain(sag['travel'])}"] if "travel" in sag else []
    gives += [sag["percent"]["text"]] if "percent" in sag else []
    gives += ["no sag: the preload alone carries the load"] if sag.get("topped_out") else []
    return f"{plain(sag['preload'])}{': ' if gives else ''}{', '.join(gives)}"


def limits(answer: Answer, sources: Sources) -> Iterator[str]:
    """The limits under their heading."""
    yield from heading("Limits")
    yield from limit_lines(answer, sources)
    if text := explained(answer):
        yield from wrapped(f"  {text}", "  ")


def limit_lines(answer: Answer, sources: Sources) -> Iterator[str]:
    """The limits, and whether they are kept."""
    for same in _equal(answer["pressure"]):
        marks = " ".join(dict.fromkeys(sources.mark(each) for each in same))
        of = "; ".join(f"({each['of']}){_kept(each)}{_scope(each)}" for each in same)
        yield from flowing(f"  maximum pressure {of}", f"{plain(same[0]['limit'])}  {marks:<5}", "    ")
    if "spacers" in answer:
        spacers = answer["spacers"]
        yield from beside(f"  maximum volume spacers{_kept(spacers)}", f"{spacers['limit']}{' ' * 7}", "  ")
    for each in answer["rider_mass"]:
        left = f"  rider with gear{_kept(each)}{_scope(each)}"
        yield from flowing(left, marked(plain(each["limit"]), each, sources), "    ")
    if "shared" in answer:
        yield from wrapped(f"  {answer['shared']['text']}", "  ")


def explained(answer: Answer) -> str:
    """What the maximum pressures are; empty if the limits say already whether they are kept."""
    return "" if any("within" in each for each in answer["pressure"]) else str(answer["text"])


def _equal(pressures: Sequence[Answer]) -> list[list[Answer]]:
    """The maximum pressures, those with the same figure together."""
    found: dict[str, list[Answer]] = {}
    for each in pressures:
        found.setdefault(f"{each['limit']}{each.get('within')}", []).append(each)
    return list(found.values())


def _scope(each: Answer) -> str:
    """The scope of a limit, so that it is never read without it."""
    scope = words.scope_words(each.get("scope", {}))
    return f", applies to {scope}" if scope else ""


def _kept(limit: Answer) -> str:
    return "" if "within" not in limit else ": OK" if limit["within"] else ": EXCEEDED"


def assumed(assumptions: Sequence[Answer]) -> Iterator[str]:
    """The assumptions, with values at the right edge."""
    if assumptions:
        yield from heading("Assumptions")
    for each in assumptions:
        yield from beside(f"  {words.label(each['name'])}", words.assumed(each), "  ")
        yield from wrapped(f"    {each['text']}", "    ")


def computed_by(formulas: Sequence[Answer]) -> Iterator[str]:
    """The equations with their source and range of validity."""
    if formulas:
        yield from heading("Formulas")
    for each in formulas:
        yield from wrapped(f"  {each['text']}", "    ")
        yield from wrapped(f"    {each['source']}. Valid for {each['validity']}.", "    ")
