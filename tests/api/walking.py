"""The addresses of the demo's pages, found by querying the service itself."""

from collections.abc import Iterator
from typing import Any

import httpx

from app.catalogue.tables import TABLES

JOBS = ("travel-change", "spacer-change", "lower-leg-service", "full-service")
OTHERS = (
    "/", "/?q=trivet", "/?q=zzzzzz", "/problems", "/problems/gone", "/v1/units", "/v1/standards", "/v1/rules",
    "/v1/findings", "/v1/rules/reference-missing", "/v1/revisions", "/v1/revisions/latest", "/v1/changes",
    "/v1/identify?stanchion_diameter=37&wheel_size=29&model_year=2023", "/v1/identify?mark=q",
    "/v1/convert?value=7.3&from=N%C2%B7m&to=in%C2%B7lbf",
    "/v1/chassis/quembry-crock-39/setup?rider_mass=80&travel=170&wheel_size=622",
    "/v1/chassis/quembry-crock-39/setup?rider_mass=120&travel=170&wheel_size=622&spring=quembry-crock-coil-soft",
    "/v1/chassis/quembry-crock-39/job-card?job=lower-leg-service&rider_mass=80&travel=170&wheel_size=622"
    "&spring=quembry-crock-coil-firm",
)  # fmt: skip


async def addresses(client: httpx.AsyncClient) -> list[str]:
    """Every kind of page: each table and its rows, each fork's questions bare and decided, each frame, and the rest."""
    found = list(OTHERS)
    standards = (await client.get("/v1/standards")).json()["tables"]
    found += [each["href"] for each in standards]
    for table in TABLES:
        rows = (await client.get(f"/v1/{table}", params={"limit": 2})).json()["rows"]
        found += [f"/v1/{table}", *(f"/v1/{table}/{row['id']}" for row in rows)]
    found += [f"/v1/statements/{row['id']}/history" for row in (await client.get("/v1/torques")).json()["rows"][:2]]
    found += [f"/v1/fluids/{row['id']}/alternatives" for row in (await client.get("/v1/fluids")).json()["rows"][:4]]
    found += [f"/v1/springs/{row['id']}/fits" for row in (await client.get("/v1/springs")).json()["rows"][:4]]
    chassis = [row["id"] for row in (await client.get("/v1/chassis")).json()["rows"]]
    for number, id in enumerate(chassis):
        units = ("published", "metric", "imperial")[number % 3]
        decided = {**await decided_sheet(client, id), "units": units}
        query = str(httpx.QueryParams(decided))
        found += [f"/v1/chassis/{id}", f"/v1/chassis/{id}/fits", f"/v1/chassis/{id}/sheet", f"/v1/chassis/{id}/setup"]
        found += [f"/v1/chassis/{id}/sheet?{query}&detail=preload", f"/v1/chassis/{id}/setup?{query}&rider_mass=80"]
        job = await job_card(client, id, JOBS[number % 4], decided)
        found += [job] if job else []
    frames = [row["id"] for row in (await client.get("/v1/frames")).json()["rows"]]
    found += [f"/v1/frames/{id}/fork-check?chassis={chassis[7]}&travel=150" for id in frames[:3]]
    return found


async def decided_sheet(client: httpx.AsyncClient, chassis: str) -> dict[str, str]:
    """Parameters that leave nothing on a sheet undecided: the first value offered for each."""
    decided: dict[str, str] = {}
    for _ in range(8):
        answer = (await client.get(f"/v1/chassis/{chassis}/sheet", params=decided)).json()
        if not answer["undecided"]:
            break
        first = answer["undecided"][0]
        decided[first["parameter"]] = _given(first, 0)
    return decided


async def job_card(client: httpx.AsyncClient, chassis: str, job: str, decided: dict[str, str]) -> str | None:
    """The address of a job card, corrected with the suggestions of its refusals; None if there is none."""
    asked = {name: value for name, value in decided.items() if name != "travel"} | {"job": job, "rider_mass": "80"}
    asked["from_travel"] = decided.get("travel", "")
    asked = {name: value for name, value in asked.items() if value}
    for _ in range(10):
        response = await client.get(f"/v1/chassis/{chassis}/job-card", params=asked)
        if response.status_code == 200:
            return str(response.request.url).removeprefix("http://legwork.test")
        for name, value in _corrected(response.json()):
            asked[name] = value
    return None


def _corrected(problem: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for each in problem.get("undecided", []):
        if each["values"]:
            yield each["parameter"], _given(each, -1)
    for each in problem.get("errors", []):
        if "suggestion" in each and "parameter" in each:
            yield each["parameter"], each["suggestion"]


def _given(open_parameter: dict[str, Any], place: int) -> str:
    """One of the values offered. A serial comes as a range: its first end is given."""
    value = _plain(open_parameter["values"][place])
    return value.partition(" to ")[0] if open_parameter["parameter"] == "serial" else value


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def quantities(value: Any) -> Iterator[str]:
    """The text of every quantity in an answer, and the figure it was converted from."""
    if isinstance(value, list):
        for inner in value:
            yield from quantities(inner)
    elif isinstance(value, dict):
        if "ucum" in value and "text" in value:
            yield value["text"]
            if "as_published" in value:
                yield value["as_published"]
        else:
            for inner in value.values():
                yield from quantities(inner)
