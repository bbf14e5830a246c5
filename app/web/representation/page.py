"""Renders an answer as an HTML page, by the question's own template or else by its outline.

All values are escaped. Pages have no inline styles or scripts, so they work under the strictest content policy and
without scripts.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape
from pydantic import BaseModel
from starlette.types import Scope

from app.catalogue.tables import TABLES
from app.questions.identify.index import CLUES
from app.questions.job.choices import Choices, JobChoice, choices
from app.questions.job.parameters import JOB_WORDS, JobCardAsked
from app.questions.setup.parameters import SetupAsked
from app.questions.sheet.sheet import SheetAsked
from app.units.measure import parse_wheel_size, wheel_called
from app.units.quantity import to_set
from app.web.representation import bike_svg, entry_links, guided, merged, outline, words
from app.web.representation.address import Address, carried, parameters_of, unit_links
from app.web.representation.answer import Answer
from app.web.representation.code import square_code
from app.web.representation.compiled import bytecode_cache
from app.web.representation.drawings import DRAWINGS
from app.web.representation.kinds import Answered, Representation, register
from app.web.representation.named import as_answered, named
from app.web.representation.riding_columns import riding_columns
from app.web.representation.sources import Sources

TEMPLATES = Path(__file__).parents[1] / "templates"
WITH_UNITS = frozenset(
    ("fits", "sheet", "setup", "job-card", "bench-view", "fork-check", "alternatives", "spring-fits")
)
_CHOSEN = ("variant", "spring", "damper", "wheel_size")
_ASKED: Mapping[str, type[BaseModel]] = {"sheet": SheetAsked, "setup": SetupAsked, "job-card": JobCardAsked}
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
_FIGURE = re.compile(r"((?:[≤≥<>±] ?)?-?[\d.]+(?:[–×/][\d.]+)?) (\D.*)")
PRINTED = frozenset(("sheet", "job-card"))


@cache
def environment() -> Environment:
    """Escapes everything, and fails on an unknown name."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, auto_reload=False, bytecode_cache=bytecode_cache(TEMPLATES),
    )  # fmt: skip
    made.filters |= {
        "label": words.label, "heading": words.heading, "plain": words.plain, "clicks": words.clicks,
        "quantity": words.quantity_text, "assumed": words.assumed, "clue_given": words.clue_given,
        "clue_listed": words.clue_listed,
        "scope": words.scope_words, "mass": words.mass_words, "source_line": words.source_words,
        "edition_words": words.edition_words, "unfilled": words.unfilled,
        "basis_shown": words.basis_view, "unplaced": words.unplaced, "left": words.left, "choices": words.choices,
        "band": words.band, "wheel": _wheel,
        "bands": words.bands, "sentence": words.sentence, "to_set": to_set, "moment": _moment, "codes": _codes,
    }  # fmt: skip
    made.globals |= {
        "sections": outline.sections, "node_of": outline.node_of, "link_of": outline.link_of,
        "is_quantity": outline.is_quantity, "with_unit": words.with_unit, "split": _split, "tables": TABLES,
        "carried": carried, "grouped": _grouped, "configured": _configured, "not_drawn": bike_svg.missing,
        "closings": entry_links.closings, "skipping": entry_links.skipping, "spring_href": entry_links.spring_href,
        "way_back": entry_links.way_back,
        "riding_columns": riding_columns,
        "offers_entry": entry_links.offers_entry, "alike": _alike, "span": _span, "one_unit": _one_unit,
        "by_job": _by_job, "once": _once,
        "merged_torques": merged.merged_torques, "merged_fills": merged.merged_fills, "sides": merged.sides,
        "click_numbers": words.click_numbers, "clues": CLUES,
    }  # fmt: skip
    return made


async def complete(answered: Answered) -> Answered:
    """The JSON form of the answer with names added to its ids, and the options of its form."""
    plain = answered.shape.dump_python(answered.answer, mode="json")
    catalogue, chassis = answered.request.app.state.catalogue, answered.request.path_params.get("chassis")
    if chassis is not None and answered.question in guided.QUESTIONS_OF_THE_WAY:
        held: Choices = await catalogue.ask(lambda snapshot: choices(as_answered(snapshot, plain), chassis))
        answered.request.scope["state"]["offered"] = _offered(held, Address(answered.request.scope))
    return replace(answered, answer=await named(plain, catalogue))


def _offered(held: Choices, address: Address) -> dict[str, list[tuple[str, str, bool]]]:
    """The options of a form, with those that are selected; the value in the address is always among them."""
    offered: dict[str, list[tuple[str, str, bool]]] = {}
    for name in _CHOSEN:
        found: list[JobChoice] = getattr(held, name)
        asked = address.get(name)
        if asked and name == "wheel_size":
            asked = str(parse_wheel_size(asked))
        if found and asked and asked not in dict(found):
            found = [*found, (asked, asked)]
        offered[name] = [(value, said, value == asked) for value, said in found]
    asked = address.get("from_spring")
    offered["from_spring"] = [(value, said, value == asked) for value, said, _ in offered["spring"]]
    return offered


def render(answered: Answered) -> bytes:
    """The page in UTF-8, from a completed answer."""
    return page(answered.question, answered.answer, answered.request.scope)


def page(question: str, answer: Mapping[str, object], scope: Scope) -> bytes:
    """The page, from the JSON form of an answer."""
    address = Address(scope)
    chassis = guided.chassis_of(question, answer)
    return rendered(
        question,
        answer,
        address,
        title=_title(question, answer),
        sources=Sources(answer),
        way=guided.way(question, chassis, address),
        jobs=guided.jobs(question, chassis, address),
        units=unit_links(address) if question in WITH_UNITS else {},
        fields=address.fields(),
        drawing=_drawing(question, answer),
        code=_code(question, answer, address),
    ).encode()


def rendered(question: str, answer: Answer, address: Address, **more: object) -> str:
    """The template of a question with what every page needs; `more` adds to it or replaces it."""
    name = f"{question}.html".replace("-", "_")
    needed = {
        "sources": Sources({}), "way": [], "jobs": [], "units": {}, "system": address.get("units") or "published",
        "fields": (), "drawing": None, "code": None,
    }  # fmt: skip
    template = environment().get_or_select_template([name, "any.html"])
    return template.render(question=question, answer=answer, address=address, **{**needed, **more})


def _title(question: str, answer: Answer) -> str:
    if question == "document":
        return str(answer["title"])
    said = words.title(question)
    if question in ("list", "entry"):
        table = words.heading(answer["table"])
        row = answer.get("row", {})
        if row and answer["table"] == "chassis":
            return f"{words.plain(row['maker'])} {row['name']}"
        return f"{row.get('name', row.get('title', row.get('id')))}: {table}" if row else table
    for member in ("frame", "chassis", "spring", "fluid"):
        subject = answer.get(member)
        if isinstance(subject, Mapping) and "name" in subject and (member != "frame" or question == "fork-check"):
            maker = subject.get("maker", {}).get("name", "")
            return f"{said}: {maker} {subject['name']}" if maker else f"{said}: {subject['name']}"
    return f"{said}: {answer['title']}" if isinstance(answer.get("title"), str) else said


def _drawing(question: str, answer: Mapping[str, object]) -> Markup | None:
    """The drawing of an answer as an element of the page. It is built as a tree, and so escaped."""
    if question not in DRAWINGS or (question == "setup" and not (answer["by_spacers"] or "coil" in answer)):
        return None
    if question == "fork-check" and bike_svg.missing(answer):
        return None
    return Markup(DRAWINGS[question](answer).decode().partition("?>")[2].strip())


def _code(question: str, answer: Answer, address: Address) -> Markup | None:
    if question not in PRINTED:
        return None
    return Markup(square_code(address.pinned(answer["revision"])))


@dataclass(frozen=True, slots=True)
class Group:
    """Statements with the same scope on the same page of the same source."""

    scope: str
    rows: list[Mapping[str, object]]


def _grouped(statements: list[Answer]) -> list[Group]:
    """Statements grouped by scope and source page, in their order."""
    groups: dict[tuple[str, str], Group] = {}
    for each in statements:
        scope = words.scope_words(each["scope"])
        source = words.source_words(each["source"]) if "source" in each else ""
        groups.setdefault((scope, source), Group(scope, [])).rows.append(each)
    return list(groups.values())


class NearMissGroup(NamedTuple):
    """Near misses of one spring at one travel for the same reasons; `holds` lists the scopes."""

    rows: list[Mapping[str, object]]
    holds: list[tuple[str, list[str]]]


def _alike(near_misses: Sequence[Answer]) -> list[NearMissGroup]:
    """Near misses in their order; those that differ only in wheel, variant or damper are grouped."""
    groups: dict[tuple[str, ...], list[Answer]] = {}
    for each in near_misses:
        source = words.source_words(each["source"]) if "source" in each else ""
        reasons = (reason["text"] for reason in each["reasons"])
        key = (each["spring"]["id"], str(each.get("chassis")), each["travel"]["text"], source, *reasons)
        groups.setdefault(key, []).append(each)
    return [NearMissGroup(rows, list(_holds(rows))) for rows in groups.values()]


def _holds(rows: Sequence[Answer]) -> Iterator[tuple[str, list[str]]]:
    for name in ("wheel_size", "variant", "damper"):
        if said := dict.fromkeys(words.plain(each["scope"][name]) for each in rows if name in each["scope"]):
            yield name, list(said)


def _wheel(text: str) -> str:
    """A wheel as it was typed, by its usual name."""
    return wheel_called(parse_wheel_size(text))


def _by_job(uses: Sequence[Answer]) -> list[tuple[str, list[Answer]]]:
    """The parts of each job, the most frequent job first, and a shop's own jobs last."""
    jobs = dict.fromkeys(("lower-leg-service", *JOB_WORDS, *(each["job"] for each in uses)))
    found = {job: [each for each in uses if each["job"] == job] for job in jobs}
    return [(job, listed) for job, listed in found.items() if listed]


def _once(steps: Sequence[Answer], name: str) -> list[Answer]:
    """The statements of this name in the steps, each once."""
    return list({each[name]["id"]: each[name] for each in steps if name in each}.values())


def _one_unit(rows: Sequence[Answer], name: str) -> str | None:
    """The unit of a column if all its figures have the same, for its head."""
    units = {str(row[name]["unit"]) for row in rows if name in row}
    return units.pop() if len(units) == 1 else None


def _span(row: Mapping[str, object], low: str, high: str) -> str:
    return words.span(row.get(low), row.get(high)) if low in row or high in row else ""


def _codes(text: str) -> Markup:
    """Text in which words between grave accents are set as code."""
    return Markup(re.sub(r"`([^`]+)`", r"<code>\1</code>", str(escape(text))))


def _moment(text: str) -> str:
    """A recorded time, to the minute, as a `time` element with the full value; any other text unchanged."""
    if _MOMENT.fullmatch(text) is None:
        return text
    return Markup('<time datetime="{}">{} {} UTC</time>').format(text, text[:10], text[11:16])


def _configured(recent: Answer, question: str) -> str:
    """The address of a question or job card about a configuration in the bench log."""
    known = {name: value for name, value in recent["configuration"].items() if name != "fluids"}
    if "travel" in known:
        known["travel"] = f"{words.plain(known['travel']['value'])} {known['travel']['unit']}"
    if question in JOB_WORDS:
        known["job"], question = question, "job-card"
    taken = parameters_of(_ASKED[question])
    query = urlencode([(name, str(value)) for name, value in known.items() if name in taken])
    return f"/v1/chassis/{recent['chassis']}/{question}?{query}"


def _split(text: str) -> tuple[str, str]:
    """A figure and what follows it: `6.8 N·m` → `6.8`, `N·m`; `97 psi (93–101)` → `97`, `psi (93–101)`."""
    found = _FIGURE.fullmatch(text)
    return (found[1], found[2]) if found else (text, "")


register(
    Representation(media_type="text/html", suffix="html", render=render, can=lambda answered: True, complete=complete)
)
