"""One running server for both clients, and its answers to plain requests."""

import json
import urllib.request
from collections.abc import Iterator
from typing import Any

import pytest

from tests.clients.serving import Workshop, workshop
from tests.conftest import Fresh

FORK = "travel=160&model_year=2023&wheel_size=29"
CHASSIS = "/v1/chassis/tarnoch-raddle-37"


@pytest.fixture(scope="package")
def running(fresh_database: Fresh, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A server of the demo."""
    with fresh_database("sqlite", True) as url, workshop(url, tmp_path_factory.mktemp("shop")) as served:
        yield served


@pytest.fixture(scope="package")
def plainly(running: Workshop) -> dict[str, Any]:
    """The answers that both programs must print, fetched without any client."""

    def ask(path: str) -> Any:
        with urllib.request.urlopen(running.address + path, timeout=30) as answer:
            return json.load(answer)

    fits = ask(f"{CHASSIS}/fits?{FORK}")["fits"]
    return {
        "found": [row["id"] for row in ask("/v1/chassis?q=radle")["rows"]],
        "identify": [
            each["chassis"]["id"]
            for each in ask("/v1/identify?stanchion_diameter=37&wheel_size=29&model_year=2023")["candidates"]
        ],
        "fits": [fit["spring"]["id"] for fit in fits],
        "spacers": [fit["spacer_limit"] for fit in fits if "spacer_limit" in fit],
        "torques": [
            each["torque"]["text"]
            for each in ask(f"{CHASSIS}/sheet?{FORK}&units=imperial")["torques"]
            if "torque" in each
        ],
        "start_pressure": ask(f"{CHASSIS}/setup?{FORK}&rider_mass=80")["start_pressure"]["text"],
        "allowed": ask("/v1/frames/gorsewade-stile-l/fork-check?chassis=tarnoch-raddle-37&travel=170&wheel_size=29")[
            "allowed"
        ],
        "steps": [step["text"] for step in ask(f"{CHASSIS}/job-card?{FORK}&job=spacer-change&spacers=3")["steps"]],
        "converted": ask("/v1/convert?value=6.8&from=Nm&to=in-lb")["result"]["text"],
        "batch": [
            f"200 {len(ask(f'{CHASSIS}/fits?travel=160')['fits'])} fits",
            "422 There is no parameter `travell`: did you mean `travel`?",
        ],
    }
