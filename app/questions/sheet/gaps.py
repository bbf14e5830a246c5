"""The gaps of a configuration: values that a mechanic needs and the catalogue does not give. Never guessed."""

from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any

from app.catalogue.tables import Adjustment, is_row_of
from app.questions.answers.gap import Gap
from app.questions.answers.statement_members import figure_members
from app.questions.answers.statement_views import COUNTED_TARGETS
from app.questions.configuration.prevailing import Applicable
from app.questions.sheet.gather import Sheet


def gaps(found: Sheet) -> list[Gap]:
    """All gaps of the configuration, in the order of work."""
    if not found.fits:
        return [
            {
                "what": "fit",
                "why_needed": (
                    "you need a spring assembly that is listed for this chassis and travel; any other may not fit"
                ),
                "text": "No fit is listed for this configuration.",
            },
            *_statements(found),
            *_without_unit(found),
        ]
    return [*_fits(found), *_statements(found), *_without_unit(found)]


def _fits(found: Sheet) -> Iterator[Gap]:
    for each in found.fits:
        fit = each.statement
        spring = found.springs.get(fit.spring)
        air = spring is None or spring.kind == "air"
        if air and fit.spacer_limit is None:
            yield _gap(
                "spacer-limit",
                fit.id,
                "too many volume spacers damage the spring",
                ("the maximum number of volume spacers"),
            )
        no_limit = fit.pressure_limit is None and (spring is None or spring.pressure_limit is None)
        if air and no_limit:
            yield _gap("pressure-limit", fit.id, "the fill pressure must not exceed it", "the maximum fill pressure")
        if fit.axle_to_crown_mm is None:
            yield _gap("axle-to-crown", fit.id, "it proves the change and decides whether the frame permits it",
                       "the axle-to-crown length")  # fmt: skip


def _without_unit(found: Sheet) -> Iterator[Gap]:
    """Figures in the catalogue that no answer can show, because their unit is missing or unknown."""
    tables: tuple[Sequence[Applicable[Any]], ...] = (
        found.fits, found.torques, found.fills, found.greases, found.uses, found.limits, found.intervals, found.guides,
        found.adjustments, found.readings,
    )  # fmt: skip
    for each in chain(*tables):
        row = each.statement
        if is_row_of(row, Adjustment) and row.target in COUNTED_TARGETS:
            continue
        for member in figure_members(row.model):
            if member.given(row) and member.measures(row) is None:
                why = "a figure without a known unit cannot be used"
                yield _gap("unit", row.id, why, f"the unit of the {member.name.replace('_', ' ')}")


def _statements(found: Sheet) -> Iterator[Gap]:
    torqued = {each.statement.fastener for each in found.torques}
    for fastener in sorted(_fitted(found)):
        if fastener not in torqued and found.fasteners[fastener].kind != "valve core":
            yield _gap("torque", fastener, "too loose, it leaks or comes off; too tight, it strips", "the torque")
    for id in sorted(torqued):
        drives = found.fasteners[id].drives
        if not drives:
            yield _gap("drive", id, "you need the right tool before you start", "the drive")
        elif not any(found.tools.get(drive) for drive in drives):
            yield _gap("tool", id, f"{' or '.join(drives)} turns it", "a tool that fits its drive")
    filled = {each.statement.chamber for each in found.fills}
    for chamber in _chambers(found):
        if chamber not in filled:
            yield _gap("fill", chamber, "an empty chamber wears, an overfilled one locks the fork", "oil and volume")
    for each in found.fills:
        row = each.statement
        if row.amount == "none":
            continue
        if row.fluid is None:
            what = "grease" if row.amount == "greased" else "oil"
            yield _gap(
                "fluid", row.id, "the wrong oil swells seals or changes the damping", f"which {what} ({row.chamber})"
            )
        given = (
            row.value,
            row.min,
            row.max,
            row.mass_g,
            row.mass_min_g,
            row.mass_max_g,
            row.level_mm,
            row.level_max_mm,
        )
        if row.amount != "greased" and all(each is None for each in given):
            yield _gap("volume", row.id, "too much oil locks the fork", f"how much oil ({row.chamber})")
    if not found.greases:
        yield _gap("grease", None, "dry seals stick and wear", "which grease to use where")
    if not found.uses:
        yield _gap("parts", None, "you must buy crush washers and seals before you start", "the parts for each job")
    if not found.intervals:
        yield _gap("interval", None, "you need them to plan the next service", "service intervals")
    if not found.guides:
        yield _gap("guide", None, "a change of travel makes the old pressure label invalid", "a published set-up")


def _fitted(found: Sheet) -> set[str]:
    """The fasteners that the configuration certainly has: of the chassis, the known spring and the known damper."""
    springs = found.where.springs if found.where.springs is not None and len(found.where.springs) == 1 else frozenset()
    dampers = found.where.dampers if found.where.dampers is not None and len(found.where.dampers) == 1 else frozenset()
    low, high = found.where.years
    return {
        row.id
        for row in found.fasteners.values()
        if (row.spring is None or row.spring in springs)
        and (row.damper is None or row.damper in dampers)
        and (row.model_year_from is None or row.model_year_from <= low)
        and (row.model_year_to is None or row.model_year_to >= high)
    }


def _chambers(found: Sheet) -> list[str]:
    """The chambers that every fork of this construction has."""
    chambers = ["spring-side lower leg", "damper-side lower leg"]
    kinds = {spring.kind for spring in found.springs.values()}
    if kinds == {"air"}:
        chambers.append("above the air piston")
    if {damper.kind for damper in found.dampers.values()} == {"open bath"}:
        chambers.append("damper")
    return chambers


def _gap(what: str, about: str | None, why: str, missing: str) -> Gap:
    text = f"The catalogue does not say {missing}" + (f" for {about}." if about else ".")
    return {"what": what, "why_needed": why, "text": text} if about is None else {
        "what": what, "about": about, "why_needed": why, "text": text,
    }  # fmt: skip
