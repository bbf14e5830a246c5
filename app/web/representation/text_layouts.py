"""Text layouts of fits, sheet and set-up, in the order in which a mechanic reads them."""

from collections.abc import Callable, Iterator, Mapping

from app.web.representation import text_spring, words
from app.web.representation.answer import Answer
from app.web.representation.sources import Sources
from app.web.representation.text_card import bench_view, job_card
from app.web.representation.text_lines import beside, cited, closing, heading, outline_lines, title, wrapped
from app.web.representation.text_parts import asked, name_of
from app.web.representation.text_statements import STATEMENTS, Line, fit, plain, published, spring, statement

_SETUP_SHOWN = (
    "start_pressure", "basis", "band", "bands", "sag", "published", "by_spacers", "curve", "fit", "configuration",
    "coil", "limits", "assumptions", "formula", "validity", "asked", "headline", "chambers", "candidates", "altitude",
    "lower_leg_air", "example_readings", "spacers", "adjustments", "adjusted",
)  # fmt: skip
_BY_CLOSING = ("revision", "chassis", "undecided", "gaps", "cautions")


def fits(answer: Answer, question: str) -> Iterator[str]:
    """What fits, then near misses with the one reason each does not."""
    sources = Sources(answer)
    yield from title(f"What fits: {name_of(answer)}", answer)
    yield from asked(answer["asked"])
    yield from heading("Fits")
    if not answer["fits"]:
        yield "Nothing is listed for this configuration."
    for each in answer["fits"]:
        yield from fit(each, sources)
    if answer["near_misses"]:
        yield from heading(
            f"Near misses, which do not fit: {len(answer['near_misses'])} of {answer['near_misses_total']}"
        )
        for each in answer["near_misses"]:
            reasons = [reason["text"] for reason in each["reasons"]]
            chassis = [f"in {each['chassis']}"] if "chassis" in each else []
            line = Line(spring(each), plain(each["travel"]), [*reasons, *chassis], tuple(each))
            yield from statement(line, each, sources)
    yield from closing(answer)
    yield from cited(sources)


def sheet(answer: Answer, question: str) -> Iterator[str]:
    """Everything for a configuration, section by section, with figures at the right; without blank lines."""
    yield from filter(None, _sheet(answer))


def _sheet(answer: Answer) -> Iterator[str]:
    sources = Sources(answer)
    yield from title(f"Sheet: {name_of(answer)}", answer)
    yield from asked(answer["configuration"])
    for name, lines in STATEMENTS.items():
        if answer[name]:
            yield from heading(words.heading(name))
            yield from lines(answer[name], sources)
    if answer["tools"]:
        yield from heading("Tools")
        yield from wrapped(f"  {'; '.join(each['name'] for each in answer['tools'])}", "  ")
    yield from outline_lines(answer, "configuration", "tools", *_BY_CLOSING, *STATEMENTS)
    yield from closing(answer)
    yield from cited(sources)


def setup(answer: Answer, question: str) -> Iterator[str]:
    """The start pressure first, then its band, the limits, and the curves as tables."""
    sources = Sources(answer)
    yield from title(f"Set-up: {name_of(answer)}", answer)
    yield from asked(answer["asked"])
    yield from text_spring.head(answer)
    if "coil" in answer:
        yield from text_spring.coil(answer["coil"])
    if answer.get("candidates"):
        yield from heading("For each possible fork")
        for each in answer["candidates"]:
            yield from _candidate(each, sources)
    yield from text_spring.limits(answer["limits"], sources)
    if answer["published"]:
        yield from heading("Published set-up")
    yield from published(answer, sources)
    if answer["by_spacers"]:
        yield from text_spring.by_spacers(answer)
    if "lower_leg_air" in answer:
        yield from heading("Air in the lower legs")
        yield from wrapped(f"  {answer['lower_leg_air']['text']}", "  ")
    if "fit" in answer:
        yield from heading("Spring")
        yield from fit(answer["fit"], sources)
    yield from outline_lines(answer, *_BY_CLOSING, *_SETUP_SHOWN)
    yield from text_spring.assumed(answer["assumptions"])
    yield from text_spring.computed_by(answer["formula"])
    yield ""
    yield from wrapped(answer["validity"])
    if answer["bands"]:
        yield from wrapped(words.bands(answer["bands"]))
    yield from closing(answer)
    yield from cited(sources)


def _candidate(each: Answer, sources: Sources) -> Iterator[str]:
    figure = plain(each["start_pressure"]) if "start_pressure" in each else "not known"
    yield from beside(
        "START PRESSURE", each["coil"].get("part_number", each["coil"]["id"]) if "coil" in each else figure
    )
    if "expected_sag" in each:
        yield from wrapped(f"  expected sag {plain(each['expected_sag'])}", "    ")
    yield from fit(each["fit"], sources)
    for limit in each["limits"]["pressure"]:
        yield from wrapped(f"    maximum {plain(limit['limit'])} ({limit['of']})", "    ")
    yield from wrapped(f"    {each['limits']['text']}", "    ")


LAYOUTS: Mapping[str, Callable[[Answer, str], Iterator[str]]] = {
    "fits": fits,
    "sheet": sheet,
    "setup": setup,
    "job-card": job_card,
    "bench-view": bench_view,
}
