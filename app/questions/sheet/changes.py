"""Changes to a sheet since a revision, for someone who printed it then. Compares the two sheets as shown."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS
from app.errors import Gone, Invalid, NotFound
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.gap import Gap
from app.questions.answers.parameters import RevisionNumber
from app.questions.answers.views import Caution, ChassisRef
from app.questions.configuration.region import Given, given
from app.questions.sheet.fits import AskedView, chosen_units
from app.questions.sheet.gather import gather
from app.questions.sheet.sheet import ConfigurationAsked, SheetAnswer, sheet_view
from app.units.preferences import Units

LISTS = {table.table: table for table in STATEMENTS}
StatementMap = Annotated[JsonObject, Field(description="The statement as shown on the sheet.")]


class SheetChangesAsked(ConfigurationAsked):
    """The parameters of `sheet`, and the revision of the old sheet."""

    since: RevisionNumber = Field(description="Revision printed on the old sheet.", examples=[1])


class SheetChange(TypedDict):
    """One statement that was added, removed or changed; `differs` names the changed members."""

    change: Literal["added", "removed", "changed"]
    table: str
    id: str
    before: NotRequired[StatementMap]
    after: NotRequired[StatementMap]
    differs: NotRequired[list[str]]
    text: str


class SheetChangesAnswer(TypedDict):
    """The changes; `gaps_closed` lists what was missing on the old sheet and is listed now."""

    revision: int
    since: int
    chassis: ChassisRef
    configuration: AskedView
    changes: list[SheetChange]
    unchanged: int
    gaps_opened: list[Gap]
    gaps_closed: list[Gap]
    text: str
    cautions: list[Caution]


SHEET_CHANGES = TypeAdapter(SheetChangesAnswer)


def sheet_changes(snapshot: Snapshot, chassis: str, asked: SheetChangesAsked) -> SheetChangesAnswer:
    """The answer at one revision. Raises what `sheet` raises, and Invalid for a later revision."""
    units = chosen_units(asked)
    if asked.since > snapshot.revision:
        text = f"this is answered from revision {snapshot.revision}, which is before {asked.since}"
        raise Invalid.one("revision-later", text, parameter="since", suggestion=str(snapshot.revision))
    wanted = given(
        travel=asked.travel, model_year=asked.model_year, variant=asked.variant, spring=asked.spring,
        damper=asked.damper, wheel_size=asked.wheel_size, serial=asked.serial, fitted_part=asked.fitted_part,
    )  # fmt: skip
    found = gather(snapshot, chassis, wanted)
    now = sheet_view(found, units)
    before, refused = _before(Snapshot(snapshot.connection, asked.since), chassis, wanted, units)
    changes = [
        change
        for name in LISTS
        for change in _changes(snapshot, name, _by_id(before, name), _by_id(now, name))
    ]  # fmt: skip
    old_gaps = before["gaps"] if before is not None else []
    same = sum(len(_by_id(now, name)) for name in LISTS) - sum(change["change"] != "removed" for change in changes)
    return {
        "revision": snapshot.revision,
        "since": asked.since,
        "chassis": now["chassis"],
        "configuration": now["configuration"],
        "changes": changes,
        "unchanged": same,
        "gaps_opened": [gap for gap in now["gaps"] if gap not in old_gaps],
        "gaps_closed": [gap for gap in old_gaps if gap not in now["gaps"]],
        "text": refused or _text(changes, asked.since),
        "cautions": cautions("not-in-the-catalogue", "limits", sources=found.context.sources.values()),
    }


def _before(then: Snapshot, chassis: str, wanted: Given, units: Units) -> tuple[SheetAnswer | None, str | None]:
    """The old sheet, or a sentence that says why there was none."""
    try:
        return sheet_view(gather(then, chassis, wanted), units), None
    except (NotFound, Gone):
        return None, f"At revision {then.revision} this chassis was not in the catalogue: everything is new."
    except Invalid as refusal:
        return (
            None,
            f"At revision {then.revision} this configuration was refused ({refusal.detail}): everything is new.",
        )


def _by_id(answer: SheetAnswer | None, name: str) -> dict[str, JsonObject]:
    shown: list[JsonObject] = [] if answer is None else answer[name]  # type: ignore[literal-required]
    return {each["id"]: each for each in shown}


def _changes(
    snapshot: Snapshot, name: str, before: Mapping[str, dict[str, object]], after: Mapping[str, dict[str, object]]
) -> Iterator[SheetChange]:
    context = snapshot.many(LISTS[name], [id for id in before if id not in after])
    for id, old in before.items():
        new = after.get(id)
        if new is None:
            why = (
                "it is still in the catalogue, but another statement now applies to this configuration"
                if id in context
                else "it was withdrawn"
            )
            yield {
                "change": "removed",
                "table": name,
                "id": id,
                "before": old,
                "text": (f"No longer on this sheet: {why}."),
            }
        elif new != old:
            differs = sorted(key for key in old.keys() | new.keys() if old.get(key) != new.get(key))
            yield {
                "change": "changed", "table": name, "id": id, "before": old, "after": new, "differs": differs,
                "text": f"Changed: {', '.join(differs)}.",
            }  # fmt: skip
    for id, new in after.items():
        if id not in before:
            yield {"change": "added", "table": name, "id": id, "after": new, "text": "New on this sheet."}


def _text(changes: list[SheetChange], since: int) -> str:
    if not changes:
        return f"Nothing on this sheet has changed since revision {since}."
    counts = {kind: sum(each["change"] == kind for each in changes) for kind in ("added", "changed", "removed")}
    listed = ", ".join(f"{count} {kind}" for kind, count in counts.items() if count)
    return f"Since revision {since}: {listed}. The printed sheet is out of date."
