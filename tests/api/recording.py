"""Records the examples: the demo's answer to one request per operation, and one refusal per error status."""

import dataclasses
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import httpx

from app.access import keys
from app.catalogue.tables import TABLES
from app.database.connections import Database
from app.errors import NoRoom
from app.web.problem import problem_of
from tests.api.writing import TORQUE, Writing, put, writing
from tests.bench.working import FORK as FORK_HELD

CHASSIS = "tarnoch-raddle-37"
FORK = {"chassis": CHASSIS, "travel": "160", "model_year": 2023, "wheel_size": "29"}
NO_FORM = "image/x-none"
MOST = 2
"""A list in an example keeps at most this many elements."""


@dataclasses.dataclass(frozen=True)
class Asked:
    """One request: path and query parameters by name, the body, and extra headers."""

    operation: str
    method: str
    path: str
    parameters: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    body: Any = None
    headers: Mapping[str, str] = dataclasses.field(default_factory=dict)
    text: str | None = None

    async def send(self, client: httpx.AsyncClient, **headers: str) -> httpx.Response:
        """Send it and return the response."""
        query = {name: value for name, value in self.parameters.items() if f"{{{name}}}" not in self.path}
        path = self.path.format(**self.parameters)
        if self.text is not None:
            headers["Content-Type"] = "text/plain"
        sent: dict[str, Any] = {"json": self.body} if self.text is None else {"content": self.text.encode()}
        return await client.request(self.method, path, params=query, headers={**self.headers, **headers}, **sent)


JOB = {"job": "spacer-change", **FORK, "spacers": 3}
CARD = {name: str(value) for name, value in JOB.items()}
LOOKUPS = (
    Asked("healthz", "GET", "/healthz"),
    Asked("readyz", "GET", "/readyz"),
    Asked("start", "GET", "/", {"q": "radle"}),
    Asked("listProblemTypes", "GET", "/problems"),
    Asked("getProblemType", "GET", "/problems/{slug}", {"slug": "gone"}),
    Asked("listUnits", "GET", "/v1/units"),
    Asked("convert", "GET", "/v1/convert", {"value": "6.8", "from": "N·m", "to": "in·lbf", "round": "down"}),
    Asked("listTables", "GET", "/v1/tables"),
    Asked("tableSchema", "GET", "/v1/tables/{table}/schema", {"table": "makers"}),
    Asked("listStandards", "GET", "/v1/standards"),
    Asked("listWords", "GET", "/v1/words"),
    Asked("standard", "GET", "/v1/standards/{table}", {"table": "threads"}),
    Asked("identify", "GET", "/v1/identify", {"stanchion_diameter": "37", "wheel_size": "29", "model_year": 2023}),
    Asked("chassisFits", "GET", "/v1/chassis/{chassis}/fits", FORK),
    Asked("chassisBrief", "GET", "/v1/chassis/{chassis}/brief", {**FORK, "include": "fits,setup", "curve": "none"}),
    Asked("chassisSheet", "GET", "/v1/chassis/{chassis}/sheet", FORK),
    Asked("sheetChanges", "GET", "/v1/chassis/{chassis}/sheet/changes", {**FORK, "since": 1}),
    Asked("jobCard", "GET", "/v1/chassis/{chassis}/job-card", JOB),
    Asked("jobCards", "POST", "/v1/job-cards", {"units": "metric"}, {"cards": [CARD, {**CARD, "travel": "165"}]}),
    Asked(
        "batch", "POST", "/v1/batch", {},
        {"questions": ["/v1/convert?value=6.8&from=N%C2%B7m&to=in-lb", "/v1/chassis/tarnoch-radle-37/fits"]},
    ),
    Asked("chassisSetup", "GET", "/v1/chassis/{chassis}/setup", {**FORK, "rider_mass": "80"}),
    Asked("fluidAlternatives", "GET", "/v1/fluids/{fluid}/alternatives", {"fluid": "smerrow-middling"}),
    Asked("sourceRows", "GET", "/v1/sources/{source}/rows", {"source": "?sources", "limit": 3}),
    Asked("springFits", "GET", "/v1/springs/{spring}/fits", {"spring": "?springs"}),
    Asked(
        "forkCheck", "GET", "/v1/frames/{frame}/fork-check",
        {"frame": "gorsewade-stile-l", "chassis": CHASSIS, "travel": "170", "wheel_size": "29"},
    ),
    Asked("checkChanges", "POST", "/v1/checks", {}, {"changes": ["?noted"], "reason": "read again"}),
    Asked("getStatement", "GET", "/v1/statements/{id}", {"id": TORQUE}),
    Asked("statementHistory", "GET", "/v1/statements/{id}/history", {"id": TORQUE}),
    Asked("contentHash", "GET", "/v1/content-hash"),
    Asked("listRevisions", "GET", "/v1/revisions"),
    Asked("latestRevision", "GET", "/v1/revisions/latest"),
    Asked("getRevision", "GET", "/v1/revisions/{number}", {"number": 1}),
    Asked("listChanges", "GET", "/v1/changes", {"after": 0, "limit": MOST}),
    Asked("compareRevisions", "GET", "/v1/compare", {"from": 0, "to": 1, "limit": MOST}),
    Asked("listRules", "GET", "/v1/rules", {"family": "slips"}),
    Asked("getRule", "GET", "/v1/rules/{id}", {"id": "reference-missing"}),
    Asked("listFindings", "GET", "/v1/findings", {"limit": MOST}),
    Asked("search", "GET", "/v1/search", {"q": "radle"}),
)  # fmt: skip
WRITES = (
    Asked("putStatement", "PUT", "/v1/statements/{id}", {"id": TORQUE}, "?noted", {"If-Match": "?tag"}),
    Asked(
        "patchStatement", "PATCH", "/v1/statements/{id}", {"id": TORQUE},
        {"row": {"note": "Read twice.", "recheck": None}, "reason": "read again"}, {"If-Match": "?tag"},
    ),
    Asked(
        "withdrawStatement", "DELETE", "/v1/statements/{id}", {"id": TORQUE, "reason": "the page is void"},
        headers={"If-Match": "?tag"},
    ),
    Asked("addStatement", "POST", "/v1/statements", {}, "?anew"),
    Asked("importChanges", "POST", "/v1/imports", {}, {"changes": ["?anew and noted"], "reason": "read again"}),
)  # fmt: skip
BENCH = (
    Asked("registerFork", "POST", "/v1/forks", {}, FORK_HELD),
    Asked("listForks", "GET", "/v1/forks", {"limit": MOST}),
    Asked("recentConfigurations", "GET", "/v1/forks/recent-configurations"),
    Asked("getFork", "GET", "/v1/forks/{id}", {"id": "?fork"}),
    Asked("putFork", "PUT", "/v1/forks/{id}", {"id": "?fork"}, {**FORK_HELD, "spacers": 1}, {"If-Match": "?tag"}),
    Asked(
        "startWorkOrder", "POST", "/v1/work-orders", {},
        {"card": {"chassis": FORK_HELD["chassis"], "job": "lower-leg-service", "fork": "?fork"}, "serial": "hire 03"},
    ),
    Asked("listWorkOrders", "GET", "/v1/work-orders", {"limit": MOST}),
    Asked(
        "changeWorkOrder", "PATCH", "/v1/work-orders/{id}", {"id": "?order"},
        {"ticks": {"1": True}, "promised": "2026-02-02"}, {"If-Match": "?order tag"},
    ),
    Asked("getWorkOrder", "GET", "/v1/work-orders/{id}", {"id": "?order"}),
    Asked("recordWorkOrder", "POST", "/v1/work-orders/{id}/record", {"id": "?order"}, {"hours": 12}),
    Asked("eraseWorkOrder", "DELETE", "/v1/work-orders/{id}", {"id": "?order"}),
    Asked(
        "recordService", "POST", "/v1/forks/{id}/services", {"id": "?fork"},
        {"job": "lower-leg-service", "done_on": "2026-01-05", "hours": 40, "measured": {"rider_mass": "80 kg"}},
    ),
    Asked("listServices", "GET", "/v1/forks/{id}/services", {"id": "?fork"}),
    Asked("forkDue", "GET", "/v1/forks/{id}/due", {"id": "?fork", "on": "2026-06-30", "hours": 65}),
    Asked("forkLabel", "GET", "/v1/forks/{id}/label", {"id": "?fork"}),
    Asked("exportFork", "GET", "/v1/forks/{id}/export", {"id": "?fork"}),
    Asked("flagStatement", "POST", "/v1/statements/{id}/flags", {"id": TORQUE}, {"text": "The page says 13.5."}),
    Asked("listFlags", "GET", "/v1/flags", {}, None, {"Authorization": "?edit"}),
    Asked("settleFlag", "DELETE", "/v1/flags/{number}", {"number": 1}, None, {"Authorization": "?edit"}),
    Asked("eraseFork", "DELETE", "/v1/forks/{id}", {"id": "?fork"}, None, {"If-Match": "?tag"}),
)  # fmt: skip
DRAFTS = (
    Asked(
        "startDraft", "POST", "/v1/drafts", {},
        {"answers": {"chassis": "quembry-trivet-35", "source": "quembry-shop-book-3", "page": "12"}},
    ),
    Asked(
        "addTableToDraft", "POST", "/v1/drafts/{id}/grids", {"id": "?draft", "name": "Torques"},
        headers={"If-Match": "?tag"}, text="Bolt;Torque (in-lb)\nAxle;118\nTop cap;2O5\n",
    ),
    Asked(
        "changeDraft", "PATCH", "/v1/drafts/{id}", {"id": "?draft"},
        {"corrections": [{"cell": "Torques!B3", "text": "205"}]}, {"If-Match": "?tag"},
    ),
    Asked("listDrafts", "GET", "/v1/drafts"),
    Asked("getDraft", "GET", "/v1/drafts/{id}", {"id": "?draft"}),
    Asked("tickDraft", "POST", "/v1/drafts/{id}/ticks", {"id": "?draft"}, {"ticks": "?ticks"}),
    Asked(
        "loadDraft", "POST", "/v1/drafts/{id}/load", {"id": "?draft"}, {"reason": "torques, page 12"},
        {"If-Match": "?tag"},
    ),
    Asked("eraseDraft", "DELETE", "/v1/drafts/{id}", {"id": "?draft"}),
)  # fmt: skip
DRAFT_ID = "mnopqrstuvwxyzabcdefghijkl"
"""Replaces the id of the draft."""
FORK_ID = "abcdefghijklmnopqrstuvwxyz"
"""Replaces the id of the registered fork, which differs from run to run."""
ORDER_ID = "zyxwvutsrqponmlkjihgfedcba"
"""Replaces the id of the work order."""
FORK_DIGEST = "hXvY2nQ4bT6mK8sW0dF3gA"
"""Replaces the digest in the fork's entity tag, which is taken over that id."""


async def ids_of(
    client: httpx.AsyncClient, key: Mapping[str, str], editor: Mapping[str, str] | None = None
) -> dict[str, str]:
    """The ids of a new fork, work order and draft of the shops of these keys, by the ids that the examples have."""
    fork = (await client.post("/v1/forks", json=FORK_HELD, headers=key)).json()["fork"]["id"]
    card = {"chassis": FORK_HELD["chassis"], "job": "lower-leg-service", "fork": fork}
    started = await client.post("/v1/work-orders", json={"card": card}, headers=key)
    draft = await client.post("/v1/drafts", json={}, headers=editor or key)
    return {FORK_ID: fork, ORDER_ID: started.json()["order"]["id"], DRAFT_ID: draft.json()["draft"]["id"]}


def with_ids(text: str, ids: Mapping[str, str]) -> str:
    """A text of the examples with the ids that there are."""
    for shown, id in ids.items():
        text = text.replace(shown, id)
    return text


def _of_tables() -> list[Asked]:
    found = []
    for name, table in TABLES.items():
        found.append(Asked(f"list{name[:1].upper()}{name[1:]}", "GET", f"/v1/{name}", {"limit": MOST}))
        found.append(Asked(f"get{table.__name__}", "GET", f"/v1/{name}/{{id}}", {"id": f"?{name}"}))
    return found


async def answers(service: Writing) -> dict[str, Any]:
    """By operation id: the request, the shortened answer, and its other formats."""
    row, tag = await service.row()
    noted, anew = {**row, "note": "Read again."}, {**row, "id": f"{TORQUE}-again"}
    stand_in: dict[str, Any] = {
        "noted": put(noted), "anew": put(anew), "anew and noted": put({**anew, "note": "Read again."}), "tag": tag,
    }  # fmt: skip
    for name in TABLES:
        stand_in[name] = (await service.client.get(f"/v1/{name}?limit=1")).json()["rows"][0]["id"]
    found: dict[str, Any] = {}
    for asked in [*LOOKUPS, *_of_tables()]:
        asked = _filled(asked, stand_in)
        found[asked.operation] = await _recorded(service.client, asked)
        if "answer" in found[asked.operation]:
            response = await asked.send(service.client, Accept=NO_FORM)
            there = response.json().get("available", [])
            found[asked.operation]["forms"] = [form["suffix"] for form in there if form["suffix"] != "json"]
    found |= await _of_the_bench(service)
    for asked in WRITES:
        response = await _filled(asked, stand_in).send(service.client)
        found[asked.operation] = _kept(_filled(asked, stand_in), response)
        stand_in["tag"] = response.headers.get("etag")
    return found | await _of_drafts(service)


async def _of_drafts(service: Writing) -> dict[str, Any]:
    office, reader = (
        f"Bearer {keys.add(service.shop, label, [scope], of='shop').token}"
        for label, scope in (("office", "edit"), ("bench 2", "review"))
    )
    stand_in: dict[str, Any] = {}
    found: dict[str, Any] = {}
    for asked in DRAFTS:
        asked = _filled(asked, stand_in)
        key = reader if asked.operation == "tickDraft" else office
        asked = dataclasses.replace(asked, headers={"Authorization": key, **asked.headers})
        response = await asked.send(service.client)
        found[asked.operation] = _kept(asked, response)
        answer = response.json()
        if "draft" in answer:
            stand_in["draft"], stand_in["tag"] = answer["draft"]["id"], response.headers["etag"]
            stand_in["ticks"] = [
                {"table": row["table"], "id": row["id"], "content": row["content"], "said": "so"}
                for row in answer["rows"] if row["effect"] != "same"
            ]  # fmt: skip
        if asked.method == "GET":
            there = (await asked.send(service.client, Accept=NO_FORM)).json().get("available", [])
            found[asked.operation]["forms"] = [form["suffix"] for form in there if form["suffix"] != "json"]
    text = json.dumps(found).replace(stand_in["draft"], DRAFT_ID)
    text = re.sub(r'(\\"r\d+\.)[\w-]{22}', rf"\g<1>{FORK_DIGEST}", text)
    same: dict[str, Any] = json.loads(text)
    return same


async def _of_the_bench(service: Writing) -> dict[str, Any]:
    bench, edit = (f"Bearer {service.keys[scope].token}" for scope in ("bench", "edit"))
    stand_in = {"edit": edit}
    found: dict[str, Any] = {}
    for asked in BENCH:
        asked = _filled(asked, stand_in)
        asked = dataclasses.replace(asked, headers={"Authorization": bench, **asked.headers})
        response = await asked.send(service.client)
        found[asked.operation] = _kept(asked, response)
        if asked.operation == "registerFork":
            stand_in["fork"] = response.json()["fork"]["id"]
        if asked.operation == "startWorkOrder":
            stand_in["order"], stand_in["order tag"] = response.json()["order"]["id"], response.headers["etag"]
        if asked.operation in ("getFork", "recordService"):
            again = await service.client.get(f"/v1/forks/{stand_in['fork']}", headers={"Authorization": bench})
            stand_in["tag"] = again.headers["etag"]
        if asked.method == "GET":
            there = (await asked.send(service.client, Accept=NO_FORM)).json().get("available", [])
            found[asked.operation]["forms"] = [form["suffix"] for form in there if form["suffix"] != "json"]
    text = json.dumps(found).replace(stand_in["fork"], FORK_ID).replace(stand_in["order"], ORDER_ID)
    text = re.sub(r'(W/\\"r\d+\.)[\w-]{22}', rf"\g<1>{FORK_DIGEST}", text)
    same: dict[str, Any] = json.loads(text)
    return same


async def problems(database: Database, folder: Path) -> dict[str, Any]:
    """By status: one refusal of each."""
    found: dict[str, Any] = {}

    def keep(response: httpx.Response) -> None:
        found[str(response.status_code)] = _still(response.json())

    async with writing(database, folder, write_rate="14/minute", max_body_bytes=2_000) as service:
        client = service.client
        row, tag = await service.row()
        here = f"/v1/statements/{TORQUE}"
        keep(await client.get("/v1/makers?cursor=altered"))
        keep(await client.post("/v1/imports", json={}, headers={"Authorization": "Bearer none"}))
        other = next(key.token for scope, key in service.keys.items() if scope != "edit")
        keep(await client.post("/v1/statements", json={}, headers={"Authorization": f"Bearer {other}"}))
        keep(await client.get("/v1/chassis/tarnoch-radle-37/fits"))
        keep(await client.post("/v1/units"))
        keep(await client.get("/v1/convert?value=1&from=mm&to=in", headers={"Accept": "text/csv"}))
        keep(await client.post("/v1/statements", json=put({**row, "value": "140"})))
        keep(await client.put(here, json=put(row), headers={"If-Match": '"r9.new"'}))
        keep(await client.post("/v1/checks", json={"changes": ["x" * 3_000]}))
        keep(await client.post("/v1/checks", content=b"a,b", headers={"Content-Type": "text/csv"}))
        keep(await client.get(f"/v1/chassis/{CHASSIS}/fits?travell=160"))
        keep(await client.put(here, json=put(row)))
        keep(await client.get("/v1/makers?min_revision=9"))
        await client.delete(f"{here}?reason=the page is void", headers={"If-Match": tag})
        keep(await client.get(here))
        for _ in range(14):
            keep(await client.post("/v1/checks", json={}))
    scope: Any = {"path": "/v1/imports", "state": {"request_id": "x"}}
    found["507"] = _still(problem_of(scope, NoRoom("There is no room on the disk for another revision.")))
    found["4XX"], found["5XX"] = found["405"], found["503"]
    return dict(sorted(found.items()))


def _filled(asked: Asked, stand_in: Mapping[str, Any]) -> Asked:
    """The request with each `?…` placeholder filled in: the first row of a table, a torque with a note or a new one,
    its tag."""

    def fill(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: fill(inner) for name, inner in value.items()}
        if isinstance(value, list):
            return [fill(inner) for inner in value]
        return stand_in[value[1:]] if isinstance(value, str) and value.startswith("?") else value

    filled = {name: fill(getattr(asked, name)) for name in ("parameters", "body", "headers")}
    return dataclasses.replace(asked, **filled)


async def _recorded(client: httpx.AsyncClient, asked: Asked) -> dict[str, Any]:
    return _kept(asked, await asked.send(client))


def _kept(asked: Asked, response: httpx.Response) -> dict[str, Any]:
    assert response.is_success, f"{asked.operation}: {response.status_code} {response.text[:600]}"
    named = {name: value for name, value in asked.headers.items() if name == "If-Match"}
    found: dict[str, Any] = {"parameters": {**asked.parameters, **named}, "status": response.status_code}
    if asked.body is not None:
        found["body"] = asked.body
    if response.headers.get("content-type") == "application/json":
        found["answer"] = _still(response.json())
    return {**found, "forms": []}


def _still(value: Any) -> Any:
    """An answer without values that differ from run to run, its lists cut to two items."""
    if isinstance(value, list):
        return [_still(inner) for inner in value[:MOST]]
    if not isinstance(value, dict):
        return value
    found = {name: _still(inner) for name, inner in value.items()}
    for name, held in found.items():
        if isinstance(held, str) and re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:.]+Z", held):
            found[name] = "2026-01-31T12:00:00Z"
    if "request_id" in found:
        found["request_id"] = "5f2c9a7e41d04b6f"
    return found
