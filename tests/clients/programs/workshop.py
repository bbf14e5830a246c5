"""The lookups of a workshop's program, through the generated client alone: `workshop.py ADDRESS KEY TORQUE` prints
answers."""

import json
import sys
from typing import Any

from legwork_client import AuthenticatedClient
from legwork_client.api.changes import put_statement
from legwork_client.api.questions import (
    batch,
    chassis_fits,
    chassis_setup,
    chassis_sheet,
    fork_check,
    identify,
    job_card,
)
from legwork_client.api.tables import get_torque, list_chassis
from legwork_client.api.units_and_standards import convert
from legwork_client.models import (
    BatchAnswer,
    BatchBody,
    ChassisList,
    Conversion,
    FitsAnswer,
    ForkCheckAnswer,
    IdentifyAnswer,
    Job,
    JobCardAnswer,
    Problem,
    SetupAnswer,
    SheetAnswer,
    StatementPut,
    StatementPutRow,
    TorqueEntry,
    Units,
    WriteAnswer,
)
from legwork_client.types import Unset

CHASSIS, TRAVEL, YEAR, WHEEL = "tarnoch-raddle-37", "160", 2023, "29"


def questions(client: AuthenticatedClient) -> dict[str, Any]:
    """Sends each question once; anything but an answer ends the program."""
    found = list_chassis.sync(client=client, q="radle")
    marks = identify.sync(client=client, stanchion_diameter="37", wheel_size=WHEEL, model_year=YEAR)
    assert isinstance(found, ChassisList), found
    assert isinstance(marks, IdentifyAnswer), marks
    fits = chassis_fits.sync(CHASSIS, client=client, model_year=YEAR, travel=TRAVEL, wheel_size=WHEEL)
    sheet = chassis_sheet.sync(
        CHASSIS, client=client, model_year=YEAR, units=Units.IMPERIAL, travel=TRAVEL, wheel_size=WHEEL
    )
    setup = chassis_setup.sync(
        CHASSIS, client=client, model_year=YEAR, rider_mass="80", travel=TRAVEL, wheel_size=WHEEL
    )
    check = fork_check.sync("gorsewade-stile-l", client=client, chassis=CHASSIS, travel="170", wheel_size=WHEEL)
    card = job_card.sync(
        CHASSIS, client=client, job=Job.SPACER_CHANGE, model_year=YEAR, spacers=3, travel=TRAVEL, wheel_size=WHEEL
    )
    figure = convert.sync(client=client, value="6.8", from_="N·m", to="in·lbf")
    assert isinstance(fits, FitsAnswer), fits
    assert isinstance(sheet, SheetAnswer), sheet
    assert isinstance(setup, SetupAnswer), setup
    assert isinstance(check, ForkCheckAnswer), check
    assert isinstance(card, JobCardAnswer), card
    assert isinstance(figure, Conversion), figure
    assert not isinstance(setup.start_pressure, Unset)
    return {
        "found": [row.id for row in found.rows],
        "identify": [candidate.chassis.id for candidate in marks.candidates],
        "fits": [fit.spring.id for fit in fits.fits],
        "spacers": [fit.spacer_limit for fit in fits.fits if not isinstance(fit.spacer_limit, Unset)],
        "torques": [each.torque.text for each in sheet.torques if not isinstance(each.torque, Unset)],
        "start_pressure": setup.start_pressure.text,
        "allowed": check.allowed.value,
        "steps": [step.text for step in card.steps],
        "converted": figure.result.text,
    }


def together(client: AuthenticatedClient) -> list[str]:
    """A batch: each question has its answer or its problem."""
    asked = [f"/v1/chassis/{CHASSIS}/fits?travel={TRAVEL}", f"/v1/chassis/{CHASSIS}/fits?travell={TRAVEL}"]
    answer = batch.sync(client=client, body=BatchBody(questions=asked))
    assert isinstance(answer, BatchAnswer), answer
    said = []
    for item in answer.answers:
        if not isinstance(item.answer, Unset):
            said.append(f"{item.status} {len(FitsAnswer.from_dict(item.answer.to_dict()).fits)} fits")
        if not isinstance(item.problem, Unset):
            said.append(f"{item.status} {item.problem.detail}")
    return said


def edit(client: AuthenticatedClient, torque: str) -> dict[str, Any]:
    """A note on a torque: refused without If-Match, accepted with the current tag, refused with that tag the second
    time."""
    read = get_torque.sync_detailed(torque, client=client)
    assert isinstance(read.parsed, TorqueEntry), read.parsed
    row = StatementPutRow.from_dict({**read.parsed.row.to_dict(), "note": "Read again."})
    body = StatementPut(row=row, reason="read again")
    blind = put_statement.sync_detailed(torque, client=client, body=body)
    taken = put_statement.sync_detailed(torque, client=client, body=body, if_match=read.headers["ETag"])
    stale = put_statement.sync_detailed(torque, client=client, body=body, if_match=read.headers["ETag"])
    assert isinstance(blind.parsed, Problem), blind.parsed
    assert isinstance(taken.parsed, WriteAnswer), taken.parsed
    assert isinstance(stale.parsed, Problem), stale.parsed
    return {
        "blind": [blind.status_code.value, blind.parsed.title],
        "taken": [taken.status_code.value, taken.parsed.revision],
        "stale": [stale.status_code.value, stale.parsed.current],
    }


if __name__ == "__main__":
    workshop = AuthenticatedClient(base_url=sys.argv[1], token=sys.argv[2])
    with workshop as opened:
        learnt = {**questions(opened), "batch": together(opened), "edit": edit(opened, sys.argv[3])}
    print(json.dumps(learnt))
