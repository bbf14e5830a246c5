"""Search: the figure of a fork at a place ("raddle top cap"), and rows of any table by name, number or id."""

from collections import Counter
from collections.abc import Sequence
from typing import NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue import lists
from app.catalogue.rows import Snapshot
from app.catalogue.search import SEARCHED, found
from app.catalogue.tables import Chassis, Row, Source
from app.errors import Invalid
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.views import Caution
from app.questions.search.fork_answers import ForkAnswers, fork_answers
from app.questions.search.hits import SearchHit, row_hits
from app.questions.search.query import QueryWord, read_query
from app.questions.sheet.fits import chosen_units
from app.questions.tables.listing import Q_MOST

SHOWN = 20
SHOWN_MOST = 100
_ANSWER_LEAST = 0.97
"""A figure found with every word. Rows that are only similar to the text are not shown beside such a figure."""
_BESIDE_EXACT = 0.9
"""Beside a row of exactly the name or number that was typed, rows less alike than this are left out."""
_TABLES = ("chassis", "springs", "variants", "frames", "dampers", "spacers", "parts", "fluids", "makers", "sources")
"""The order in which equally good rows are listed; all other tables follow."""


class FindAsked(LookupParameters):
    """The parameters of a search."""

    q: str = Field(
        max_length=Q_MOST,
        description="A fork and a place, oil or limit (`mizzle top cap`), or a name, part number or id. "
        "Typing slips, split words and joined words are found.",
        examples=["mizzle top cap"],
    )
    limit: int = Field(default=SHOWN, ge=1, le=SHOWN_MOST, description="Hits shown; `total` counts all.")


class FindAnswer(TypedDict):
    """The hits, best first, and how many there are by table. `not_found` are words that no hit has."""

    revision: int
    total: int
    tables: dict[str, int]
    hits: list[SearchHit]
    not_found: list[str]
    text: NotRequired[str]
    cautions: list[Caution]


FIND = TypeAdapter(FindAnswer)


def find(snapshot: Snapshot, asked: FindAsked) -> FindAnswer:
    """The hits at one revision. Raises Invalid for a blank `q` and for an unknown unit."""
    if not asked.q.strip():
        raise Invalid.one("empty", "`q` has no value.", parameter="q")
    words = read_query(asked.q)
    of_forks = fork_answers(snapshot, words, chosen_units(asked))
    named, counts = _named(snapshot, asked, _wheel_only(words))
    figures = of_forks.hits
    if figures and figures[0]["score"] >= _ANSWER_LEAST:
        named = [hit for hit in named if hit["score"] >= _ANSWER_LEAST]
        counts = Counter(hit["table"] for hit in named)
    by_name = {(hit["table"], hit["id"]): hit for hit in named}
    for hit in of_forks.forks:
        if (same := by_name.get((hit["table"], hit["id"]))) is not None and same["score"] < hit["score"]:
            same["score"], same["href"] = hit["score"], hit["href"]
    forks = [hit for hit in of_forks.forks if (hit["table"], hit["id"]) not in by_name]
    hits = sorted([*figures, *forks, *named], key=lambda hit: -round(hit["score"], 2))
    tables = counts + Counter(hit["table"] for hit in [*figures, *forks])
    answer: FindAnswer = {
        "revision": snapshot.revision,
        "total": sum(tables.values()),
        "tables": dict(tables),
        "hits": hits[: asked.limit],
        "not_found": [] if named else of_forks.not_found,
        "cautions": [],
    }
    if (text := _text(asked.q, answer, of_forks)) is not None:
        answer["text"] = text
    answer["cautions"] = _cautions(snapshot, answer["hits"])
    return answer


def _named(snapshot: Snapshot, asked: FindAsked, wheel: int | None) -> tuple[list[SearchHit], Counter[str]]:
    """The rows with a name or number like the text, and how many there are by table; forks for a wheel alone."""
    if wheel is not None:
        takes = {"wheel_sizes": wheel}
        forks = lists.page(snapshot, Chassis, takes, None, asked.limit)
        return row_hits(snapshot, [(row, 1.0) for row in forks]), Counter(
            {"chassis": lists.count(snapshot, Chassis, takes)}
        )
    by_table = {name: found(snapshot, table, asked.q) for name, table in SEARCHED.items()}
    if max((hits[0].score for hits in by_table.values() if hits), default=0) == 1:
        by_table = {name: [hit for hit in hits if hit.score >= _BESIDE_EXACT] for name, hits in by_table.items()}
    merged = [
        (-hit.score, _place(name), name, hit.id) for name, hits in by_table.items() for hit in hits[: asked.limit]
    ]
    best = [(score, name, id) for score, _, name, id in sorted(merged)[: asked.limit]]
    rows: dict[tuple[str, str], Row] = {
        (name, row.id): row
        for name, table in SEARCHED.items()
        if (wanted := [id for _, of, id in best if of == name])
        for row in snapshot.many(table, wanted).values()
    }
    hits = row_hits(snapshot, [(rows[name, id], -score) for score, name, id in best])
    return hits, Counter({name: len(hits) for name, hits in by_table.items() if hits})


def _place(table: str) -> int:
    return _TABLES.index(table) if table in _TABLES else len(_TABLES)


def _wheel_only(words: Sequence[QueryWord]) -> int | None:
    """The wheel that a search names and nothing else: "29er"."""
    return words[0].wheel if len(words) == 1 else None


def _text(q: str, answer: FindAnswer, of_forks: ForkAnswers) -> str | None:
    """Remarks on the hits as a whole."""
    if not answer["hits"]:
        return (
            f"Nothing here is called \u201c{q.strip()}\u201d. Search for a fork, spring, frame, oil or part number, "
            "or for a fork and a place on it, such as its top cap."
        )
    if answer["not_found"]:
        missing = " or ".join(f"\u201c{word}\u201d" for word in answer["not_found"])
        return f"Nothing is listed for {missing}. These match the other words."
    if of_forks.left_out:
        return f"{of_forks.left_out} more forks match. Add the fork's name or year to see their figures."
    if not of_forks.forks and answer["hits"][0]["table"] == "parts" and answer["hits"][0]["score"] < 1:
        return "For a torque, an oil or a limit, add the name of the fork."
    return None


def _cautions(snapshot: Snapshot, hits: Sequence[SearchHit]) -> list[Caution]:
    """The cautions of what is shown: invented data, caps under pressure, pressure limits."""
    named = {hit["source"]["id"] for hit in hits if "source" in hit}
    named |= {hit["id"] for hit in hits if hit["table"] == Source.table}
    kinds = {hit["kind"] for hit in hits if "figure" in hit}
    codes = ["cap-under-pressure"] if "torque" in kinds else []
    codes += ["shock-pump-only", "limits"] if kinds & {"start pressure", "maximum pressure"} else []
    return cautions(*codes, sources=snapshot.many(Source, named).values())
