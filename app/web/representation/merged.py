"""Merges statements of the two legs that say the same, for pages and texts. An answer itself keeps both."""

import re
from collections.abc import Sequence
from typing import NamedTuple

from app.web.representation.answer import Answer

_SIDE = re.compile(r"(spring|damper)[- ]side ")


class Merged(NamedTuple):
    """Statements that differ only in the side of the fork: the first of them, and the sides they are about."""

    first: Answer
    sides: Sequence[str]
    rows: Sequence[Answer]


def merged_torques(torques: Sequence[Answer]) -> list[Merged]:
    """The torques in their order, those of both legs as one if they are equal."""
    return _merged(
        [(_without_id(each, fastener=_without_side(each["fastener"])), _side(each), each) for each in torques]
    )


def merged_fills(fills: Sequence[Answer]) -> list[Merged]:
    """The fills in their order, those of both legs as one if they are equal."""
    found = []
    for each in fills:
        of_leg = _SIDE.match(each["chamber"])
        chamber = _SIDE.sub("", each["chamber"], count=1)
        found.append((_without_id(each, chamber=chamber), f"{of_leg[1]} side" if of_leg else "", each))
    return _merged(found)


def sides(merged: Merged) -> str:
    """The sides in words: `both sides`, `spring side`; empty if none is stated."""
    if len(merged.sides) > 1:
        return "both sides" if {"spring side", "damper side"} == set(merged.sides) else " and ".join(merged.sides)
    return merged.sides[0]


def _merged(compared: Sequence[tuple[Answer, str, Answer]]) -> list[Merged]:
    groups: dict[str, list[tuple[str, Answer]]] = {}
    for number, (rest, side, each) in enumerate(compared):
        groups.setdefault(repr(rest) if side else str(number), []).append((side, each))
    return [Merged(group[0][1], [side for side, _ in group], [each for _, each in group]) for group in groups.values()]


def _without_id(each: Answer, **changed: object) -> Answer:
    return {**each, "id": "", **changed}


def _without_side(fastener: Answer) -> Answer:
    return {**fastener, "id": "", "side": ""}


def _side(torque: Answer) -> str:
    return str(torque["fastener"].get("side", ""))
