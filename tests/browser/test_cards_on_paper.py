"""The length of a printed job card: at most two A4 pages for a lower-leg service or other spacers, else three."""

import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
import pytest

from tests.browser.conftest import Open

MOST = {"travel-change": 3, "spacer-change": 2, "lower-leg-service": 2, "full-service": 3}
MOST_TRIES = 6


def decided(site: str, chassis: str, asked: dict[str, Any], tries: int = MOST_TRIES) -> dict[str, Any] | None:
    """The question with a value for every undecided parameter, or None if there is no such card."""
    answer = httpx.get(f"{site}/v1/chassis/{chassis}/job-card", params=asked)
    if answer.status_code == 200:
        return asked
    open_parameters = answer.json().get("undecided", [])
    if not open_parameters or not tries:
        return None
    name, values = open_parameters[0]["parameter"], open_parameters[0]["values"]
    found = (decided(site, chassis, {**asked, name: value}, tries - 1) for value in reversed(values))
    return next((each for each in found if each is not None), None)


def cards(site: str, chassis: str) -> list[dict[str, Any]]:
    """Each job on the fork: services and spacers at its longest travel, changes from the shortest to it and back."""
    found = httpx.get(f"{site}/v1/chassis/{chassis}/fits").json()
    travels = sorted({fit["travel"]["value"] for fit in found["fits"]})
    rest = {"model_year": found["chassis"].get("model_year_to", 2023), "rider_mass": "80"}
    asked: list[dict[str, Any]] = [
        {"job": job, "travel": travels[-1], **rest} for job in ("lower-leg-service", "full-service", "spacer-change")
    ]
    if len(travels) > 1:
        both = [(travels[0], travels[-1]), (travels[-1], travels[0])]
        asked += [{"job": "travel-change", "from_travel": a, "to_travel": b, **rest} for a, b in both]
    return [each for one in asked if (each := decided(site, chassis, one)) is not None]


def chassis_ids() -> list[str]:
    rows = (Path(__file__).parents[2] / "seed_data" / "chassis.csv").read_text(encoding="utf-8").splitlines()
    return [row.partition(",")[0] for row in rows[1:]]


@pytest.mark.parametrize("chassis", chassis_ids())
def test_a_card_is_short_enough_for_the_bench(opened: Open, site: str, tmp_path: Path, chassis: str) -> None:
    if shutil.which("pdfinfo") is None:
        if os.environ.get("CI"):
            pytest.fail("there is no pdfinfo; apt-get install -y poppler-utils")
        pytest.skip("there is no pdfinfo on this machine (poppler-utils)")
    page = opened("/").page
    found_cards = cards(site, chassis)
    assert found_cards
    for asked in found_cards:
        page.goto(f"{site}/v1/chassis/{chassis}/job-card?{urlencode(asked)}")
        path = tmp_path / "card.pdf"
        path.write_bytes(page.pdf(format="A4"))
        told = subprocess.run(["pdfinfo", str(path)], capture_output=True, check=True, text=True).stdout
        found = re.search(r"Pages:\s+(\d+)", told)
        assert found is not None
        assert int(found[1]) <= MOST[asked["job"]], (asked, found[1])
