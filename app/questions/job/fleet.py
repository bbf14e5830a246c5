"""One shopping list for several cards: counts and volumes are sums, and packs are computed for the sum. Pure."""

from collections.abc import Iterable, Sequence
from typing import cast

from app.questions.job.consumables import Sum, shown
from app.questions.job.job_card import Made
from app.questions.job.parts import packed
from app.questions.job.views import Consumable, PartNeeded, ShoppingList
from app.units.preferences import Units

MOST_CARDS = 200


def shopping_list(cards: Iterable[Made], units: Units) -> ShoppingList:
    """Parts by id and when they are needed, consumables by id or name, each in order of first appearance."""
    made = list(cards)
    return {
        "parts": _parts([part for card in made for part in card.answer["parts"]]),
        "consumables": [*_fluids(made, units), *_on_threads(made)],
    }


def _parts(needed: Sequence[PartNeeded]) -> list[PartNeeded]:
    """The parts and fluids to buy. If one card gives no count, the sum is a minimum and `text` says so."""
    found: dict[tuple[str, str], PartNeeded] = {}
    for part in needed:
        if part.get("count") == 0:
            continue
        total = found.get((part["id"], part["when"]))
        if total is None:
            total = cast(PartNeeded, {name: value for name, value in part.items() if name != "text"})
            found[part["id"], part["when"]] = total
        elif "count" in part:
            total["count"] = total.get("count", 0) + part["count"]
        total["statements"] = list(dict.fromkeys([*total["statements"], *part["statements"]]))
        if "count" not in part:
            total["text"] = "At least this many: for some cards the catalogue gives no count."
        packed(total)
    return list(found.values())


def _fluids(made: Sequence[Made], units: Units) -> list[Consumable]:
    sums: dict[str, Sum] = {}
    for card in made:
        for id, needed in card.sums.items():
            sums.setdefault(id, Sum(needed.fluid, id)).merge(needed)
    return [shown(each, units) for each in sums.values()]


def _on_threads(made: Sequence[Made]) -> list[Consumable]:
    found: dict[str, Consumable] = {}
    for card in made:
        for each in card.answer["consumables"]:
            if "id" in each:
                continue
            total = found.setdefault(each["name"], {**each, "used_for": [], "statements": []})
            total["used_for"] = list(dict.fromkeys([*total["used_for"], *each["used_for"]]))
            total["statements"] = list(dict.fromkeys([*total["statements"], *each["statements"]]))
    return list(found.values())
