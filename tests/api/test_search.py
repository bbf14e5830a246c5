"""Misspelt names and ids: the intended row comes first, in time, and no text is a query language."""

import random
import statistics
import time
from collections.abc import Callable
from typing import Any

import pytest
from rapidfuzz import process
from rapidfuzz.distance import OSA

from app.catalogue.catalogue import Catalogue
from app.catalogue.present import candidates
from app.catalogue.search import SEARCHED, NameIndex, index_of
from app.catalogue.tables import TABLES, Chassis, Maker, Row, Spring
from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.storing import store

pytestmark = pytest.mark.anyio

# Neighbours of each key on a QWERTY keyboard.
BESIDE = dict(zip("qwertyuiopasdfghjklzxcvbnm", "wertyuioposdfghjklkxcvbnmn", strict=True))


def misspelt(chance: random.Random, text: str) -> str:
    """One typing slip (Damerau 1964: a letter omitted, doubled or replaced, or two swapped), never in a digit."""
    places = [
        snapshot for snapshot in range(1, len(text) - 1) if text[snapshot].isalpha() and text[snapshot + 1].isalpha()
    ]
    if not places:
        return text[:-1]
    snapshot = chance.choice(places)
    slips: list[Callable[[], str]] = [
        lambda: text[:snapshot] + text[snapshot + 1 :],
        lambda: text[:snapshot] + text[snapshot] + text[snapshot:],
        lambda: text[:snapshot] + BESIDE.get(text[snapshot].lower(), "x") + text[snapshot + 1 :],
        lambda: text[:snapshot] + text[snapshot + 1] + text[snapshot] + text[snapshot + 2 :],
    ]
    return next(slip for slip in (chance.choice(slips)() for _ in range(100)) if slip != text)


async def test_of_200_misspelt_names_and_ids_nine_in_ten_find_what_was_meant(loaded: Catalogue) -> None:
    chance = random.Random(200)
    with loaded.snapshot() as snapshot:
        rows = [(table, row) for table in SEARCHED.values() for row in snapshot.all(table)]
        first = 0
        for table, row in chance.sample(rows, 100):
            near = candidates(snapshot, table, misspelt(chance, row.id))
            first += bool(near) and near[0]["id"] == row.id
        for table, row in chance.sample([pair for pair in rows if len(name_of(pair[1])) > 4], 100):
            hits = index_of(snapshot, table).search(misspelt(chance, name_of(row)))
            # rows of one table may share a name: then any of them is right
            first += bool(hits) and name_of(snapshot.many(table, [hits[0].id])[hits[0].id]) == name_of(row)
    assert first >= 180, first


def name_of(row: Row) -> str:
    """The name of a row, or the title of a document."""
    return str(getattr(row, "name", None) or row.title)


STOCK = [
    Maker.checked(id="lunde", name="Lünde & Söhne"),
    Maker.checked(id="ostrava-works", name="Ostrava Works"),
    Chassis.checked(id="lunde-fjell-35", maker="lunde", name="Fjell"),
    Chassis.checked(id="lunde-fjord-35", maker="lunde", name="Fjord 35"),
    Chassis.checked(id="ostrava-fjell-37", maker="ostrava-works", name="Fjell"),
    Spring.checked(id="s1", maker="lunde", name="Air shaft 150", part_number="LU.4100-150", kind="air"),
    Spring.checked(id="s2", maker="lunde", name="Air shaft 160", part_number="LU.4100-160", kind="air"),
]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("chassis?q=Fjord", ["lunde-fjord-35"]),
        ("chassis?q=fjrod", ["lunde-fjord-35"]),
        ("chassis?q=FJELL 37", ["ostrava-fjell-37"]),
        ("chassis?q=fjell ostrava", ["ostrava-fjell-37"]),
        ("chassis?q=lunde fjell", ["lunde-fjell-35"]),
        ("chassis?q=lundefjell", ["lunde-fjell-35"]),
        ("chassis?q=Lünde Fjel", ["lunde-fjell-35"]),
        ("chassis?q=fj%C3%B6rd", ["lunde-fjord-35"]),
        ("makers?q=sohne", ["lunde"]),
        ("makers?q=söhne%26lunde", ["lunde"]),
        ("makers?q=ostr", ["ostrava-works"]),
        ("springs?q=lu 4100 150", ["s1"]),
        ("springs?q=LU4100150", ["s1"]),
        ("springs?q=LU.4100-160", ["s2"]),
        ("springs?q=shaft 160", ["s2"]),
        ("springs?q=lunde", ["s1"]),
    ],
)
async def test_what_was_meant_comes_first(database: Database, asked: str, found: list[str]) -> None:
    store(database, STOCK)
    async with asking(database) as client:
        rows = (await client.get(f"/v1/{asked}")).json()["rows"]
        assert [row["id"] for row in rows][: len(found)] == found


async def test_search_and_filters_together_page_by_page(database: Database) -> None:
    store(
        database,
        [*STOCK, *(Spring.checked(id=f"t{n}", maker="m", name=f"Air shaft {n}", kind="air") for n in range(30, 60))],
    )
    async with asking(database) as client:
        whole = (await client.get("/v1/springs?q=air shaft")).json()
        assert whole["total"] == len(whole["rows"]) == 32
        for given, total in (("", 32), ("&maker=lunde", 2), ("&maker=m&name=Air shaft 31", 1), ("&maker=nobody", 0)):
            page = (await client.get(f"/v1/springs?q=air shaft{given}&limit=5")).json()
            ids = [row["id"] for row in page["rows"]]
            while "next" in page:
                page = (await client.get(page["next"])).json()
                ids += [row["id"] for row in page["rows"]]
            assert len(ids) == len(set(ids)) == page["total"] == total
            assert [id for id in (row["id"] for row in whole["rows"]) if id in ids] == ids


HOSTILE = [
    '"', "'", "*", "^", ":", "-", "(", ")", "NEAR", "NEAR(a b, 2)", "AND", "OR", "NOT", "a AND", "a OR", "name:x",
    "{a b}:c", "a*", '"a b', "a + b", "^a", "' OR 1=1 --", "; DROP TABLE makers", "\\", "%", "_", "[a-z]", "\U0001f6b2",
    "OR " * 60, "a" * 200, "( " * 90, "İ", "ß", "ﬁ", "\u0301\u0301", "٣٥", "𝔉𝔧𝔢𝔩𝔩", "ﷺ",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
async def test_no_text_is_a_query_language(loaded: Catalogue, text: str) -> None:
    async with asking(loaded.database) as client:
        for table in ("makers", "springs"):
            response = await client.get(f"/v1/{table}", params={"q": text})
            assert response.status_code == 200, response.text
        assert (await client.get("/v1/makers", params={"name": text})).status_code in (200, 422)


async def test_wildcards_are_letters_of_no_meaning(database: Database) -> None:
    store(database, STOCK)
    async with asking(database) as client:
        for text in ("%", "_", "%%%", "\\%", "*", "fj%rd_x", "f*"):
            rows = (await client.get("/v1/chassis", params={"q": text})).json()["rows"]
            assert len(rows) < 3, text


async def test_a_question_that_is_too_long_is_refused(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        assert_problem(await client.get("/v1/makers", params={"q": "a" * 201}), 422, code="too-long", parameter="q")
        assert_problem(await client.get("/v1/makers", params={"q": "a" * 20_000}), 414)


async def test_each_revision_is_searched_as_it_was(database: Database) -> None:
    store(database, STOCK)
    catalogue = Catalogue(database)
    async with asking(database) as client:
        before = catalogue.answer(lambda snapshot: index_of(snapshot, Chassis))
        store(database, [Chassis(id="lunde-skarn-35", maker="lunde", name="Skarn")], [STOCK[3]])
        assert (await client.get("/v1/chassis?q=skran")).json()["total"] == 1
        assert (await client.get("/v1/chassis?q=fjord 35")).json()["rows"] == []
        assert (await client.get("/v1/chassis?q=skran&revision=1")).json()["total"] == 0
        assert (await client.get("/v1/chassis?q=fjord&revision=1")).json()["rows"][0]["id"] == "lunde-fjord-35"
        store(database, [Spring(id="s3", maker="lunde", name="Other", kind="air")])
        indexes = [catalogue.answer(lambda snapshot: index_of(snapshot, Chassis)) for _ in range(2)]
        assert indexes[0] is indexes[1] is not before  # a change elsewhere rebuilds nothing
        store(database, [Maker(id="lunde", name="Renamed")])
        assert (await client.get("/v1/chassis?q=renamed")).json()["total"] > 0


SYLLABLES = [first + second for first in "bklmnrstv" for second in "aeio"]


def large(count: int) -> dict[str, Chassis]:
    """Chassis of 40 makers with invented names, by id; the seed is fixed."""
    chance = random.Random(1)

    def word(length: int) -> str:
        return "".join(chance.choices(SYLLABLES, k=length))

    makers, models = [word(3) for _ in range(40)], [word(chance.randint(2, 4)) for _ in range(3000)]
    rows: dict[str, Chassis] = {}
    while len(rows) < count:
        maker, model, diameter = chance.choice(makers), chance.choice(models), chance.randint(30, 41)
        id = f"{maker}-{model}-{diameter}-{chance.randint(1, 60)}"
        rows[id] = Chassis.checked(id=id, maker=maker, name=f"{model.title()} {diameter}")
    return rows


def timed(ask: Callable[[], Any]) -> float:
    """Seconds of processor time, which other work on the machine does not lengthen."""
    start = time.process_time()
    ask()
    return time.process_time() - start


def test_a_search_takes_less_than_one_look_at_every_name() -> None:
    # The aim is 15 ms at the 95th percentile. Machines differ: the yardstick is one plain pass over the 20,000 ids,
    # 6-12 ms where this was written.
    chance = random.Random(15)
    rows = large(20_000)
    index = NameIndex((row.id, [row.name], row.maker) for row in rows.values())
    ids = list(rows)
    spent, plain, first = [], [], 0
    for id in chance.sample(ids, 200):
        text = misspelt(chance, id)
        spent.append(timed(lambda text=text: index.search(text)))  # type: ignore[misc]
        plain.append(timed(lambda text=text: process.extractOne(text, ids, scorer=OSA.normalized_similarity)))  # type: ignore[misc]
        first += index.search(text)[0].id == id
    assert statistics.quantiles(spent, n=20)[-1] < 1.5 * statistics.median(plain)
    assert statistics.median(spent) < statistics.median(plain)
    assert first >= 190


async def test_an_unknown_id_costs_at_most_three_known_ones(database: Database) -> None:
    chance = random.Random(4)
    rows = large(20_000)
    store(database, rows.values())
    async with asking(database) as client:
        asked = chance.sample(list(rows), 60)
        await client.get(f"/v1/chassis/{misspelt(chance, asked[0])}")  # builds the index
        known, unknown, first = [], [], 0
        for id in asked:
            wrong = next(text for text in (misspelt(chance, id) for _ in range(100)) if text not in rows)
            start = time.perf_counter()
            assert (await client.get(f"/v1/chassis/{id}")).status_code == 200
            middle = time.perf_counter()
            problem = assert_problem(await client.get(f"/v1/chassis/{wrong}"), 404)
            known.append(middle - start)
            unknown.append(time.perf_counter() - middle)
            first += problem["candidates"][0]["id"] == id
    assert first >= 54
    assert statistics.median(unknown) <= 3 * statistics.median(known)


def test_every_table_with_names_can_be_searched() -> None:
    named = {name for name, table in TABLES.items() if table.columns().keys() & {"name", "title"}}
    assert named == SEARCHED.keys()
    assert {"makers", "chassis", "springs", "dampers", "parts", "fluids", "frames", "sources"} <= named


async def test_a_statement_that_is_not_there_names_those_that_sort_beside_it(loaded: Catalogue) -> None:
    chance = random.Random(9)
    with loaded.snapshot() as snapshot:
        ids = [row.id for row in snapshot.all(TABLES["torques"])]
    async with asking(loaded.database) as client:
        found = 0
        for id in chance.sample(ids, 30):
            at_fault = id[:-2] + id[-1] + id[-2] if id[-1] != id[-2] else id + "x"
            problem: dict[str, Any] = assert_problem(await client.get(f"/v1/torques/{at_fault}"), 404)
            found += id in [candidate["id"] for candidate in problem["candidates"]]
        assert found >= 27
