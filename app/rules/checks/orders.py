"""Slips of order: guide lines that overlap, a full service before a small one, documents older than their fork."""

from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from app.catalogue.scopes import overlap
from app.catalogue.tables import Chassis, Guide, Interval
from app.rules.checks.completeness import PERHAPS, brackets
from app.rules.checks.envelope import FORM
from app.rules.checks.provenance import PAGED
from app.rules.checks.slips import written
from app.rules.family import Family
from app.rules.finding import Severity
from app.rules.registry import Violation, edit, rule

YEARS_BEFORE = 2  # the manual for a model year is printed in the year before


@rule(
    "mass-brackets-overlap",
    shape="family",
    severity="warn",
    tables=(Guide,),
    silenced_by=(*FORM, *PERHAPS),
    passes=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
                rider_mass_from="100", rider_mass_to="110", mass_unit="kg", mass_is="with gear", pressure="99",
                pressure_unit="psi", source="manual-a", page="12"),
    fails=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
               rider_mass_from="99", rider_mass_to="110", mass_unit="kg", mass_is="with gear", pressure="99",
               pressure_unit="psi", source="manual-a", page="12"),
)  # fmt: skip
def mass_brackets_overlap(family: Family, today: date) -> Iterator[Violation]:
    """Two lines of one guide apply to the same riders.

    The upper end of a bracket is not part of it, so 70 to 80 and 80 to 90 do not overlap. These two do, and the rider
    gets two answers.

    Fix: correct the masses; the upper end of a line is the lower end of the next.
    """
    for group in brackets(family):
        shared = [
            (lighter, heavier)
            for (_, end, lighter), (start, _, heavier) in pairwise(group)
            if end is None or start < end * 0.999
        ]
        if shared:
            lighter, heavier = shared[0]
            more = f", and {len(shared) - 1} more lines of this guide overlap" if len(shared) > 1 else ""
            text = f"the line from {written(heavier, 'rider_mass_from')} overlaps {lighter.id}{more}"
            yield Violation(heavier, "rider_mass_from", text, lighter, mutual=True)


@rule(
    "full-service-more-frequent",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Interval,),
    silenced_by=(*FORM, *PERHAPS),
    passes=edit("intervals", "interval-full", hours="50"),
    fails=edit("intervals", "interval-full", hours="49"),
)
def full_service_more_frequent(family: Family, today: date) -> Iterator[Violation]:
    """The full service is due more often than the lower-leg service that is part of it.

    The two intervals were probably swapped.

    Fix: check both intervals against the page; if the page prints them so, copy its words into as_printed of the full
    service.
    """
    legs = [row for row in family.of(Interval) if row.operation == "lower-leg-service"]
    for full in family.of(Interval):
        if full.operation != "full-service":
            continue
        for leg in legs:
            same = full.chassis == leg.chassis and full.riding == leg.riding
            if (
                same
                and full.hours
                and leg.hours
                and full.hours < leg.hours
                and overlap(family.scope(full), family.scope(leg))
            ):
                severity: Severity = "reject" if full.source == leg.source else "warn"
                text = f"{full.hours} h, but the lower legs only every {leg.hours} h"
                yield Violation(full, "hours", text, leg, severity, mutual=True)


@rule(
    "source-before-chassis",
    shape="family",
    severity="warn",
    tables=(Chassis,),
    silenced_by=(*FORM, "generations-overlap", "years-outside-chassis"),
    passes=edit("sources", "manual-old", published_on="2016"),
    fails=edit("sources", "manual-old", published_on="2015"),
)
def source_before_chassis(family: Family, today: date) -> Iterator[Violation]:
    """The manual or bulletin for a chassis is more than two years older than its first model year.

    Manuals are printed for a fork that exists. The years of another generation were probably entered.

    Fix: check the first model year against the page, or name the document for this generation.
    """
    for row in family.chassis.values():
        source = family.sources.get(row.source or "")
        if source is None or source.kind not in PAGED or source.published_on is None or row.model_year_from is None:
            continue
        if int(source.published_on[:4]) < row.model_year_from - YEARS_BEFORE:
            yield Violation(
                row, "model_year_from", f"{row.model_year_from}; {source.id} was published {source.published_on}"
            )


FAR_APART = 10  # full service over lower-leg service, in hours; common practice, no source


@rule(
    "services-far-apart",
    shape="family",
    severity="warn",
    tables=(Interval,),
    silenced_by=(*FORM, *PERHAPS, "interval-implausible", "full-service-more-frequent"),
    passes=edit("intervals", "interval-full", hours="500"),
    fails=edit("intervals", "interval-full", hours="501"),
)
def services_far_apart(family: Family, today: date) -> Iterator[Violation]:
    """The full service interval is more than ten times the lower-leg service interval.

    Makers ask for a full service every two to five lower-leg services (common practice, no source). A digit was added
    or lost.

    Fix: check both intervals against the page; if both are right, set confirmed on that of the full service.
    """
    legs = [row for row in family.of(Interval) if row.operation == "lower-leg-service" and row.hours]
    for full in family.of(Interval):
        if full.operation != "full-service" or not full.hours or full.confirmed:
            continue
        for leg in legs:
            if full.chassis == leg.chassis and full.riding == leg.riding and full.hours > FAR_APART * (leg.hours or 0):
                yield Violation(full, "hours", f"{full.hours} h, the lower legs every {leg.hours} h", leg, mutual=True)
                break
