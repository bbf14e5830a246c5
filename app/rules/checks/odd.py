"""Slips visible only next to siblings: an odd hand, spacer, part, count, mass or click direction. Warnings."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import date
from itertools import pairwise

from app.catalogue.tables import Fastener, Fit, Guide, Interval, Row, Use
from app.rules.checks.air import ladders
from app.rules.checks.envelope import FORM
from app.rules.evidence import prints
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.siblings import ENOUGH


def _odd(rows: Sequence[tuple[Row, object]], least: int) -> Iterator[tuple[Row, object, object, Row]]:
    """The one row that differs from at least `least` others that agree: row, its text, their text, one of them."""
    counts = Counter(text for _, text in rows)
    if len(counts) != 2:
        return
    (usual, many), (odd, few) = counts.most_common(2)
    if few == 1 and many >= least:
        row = next(row for row, text in rows if text == odd)
        yield row, odd, usual, next(row for row, text in rows if text == usual)


@rule(
    "hand-differs-from-siblings",
    shape="family",
    severity="warn",
    tables=(Fastener,),
    silenced_by=(*FORM, "fastener-unlike-its-place"),
    passes=edit("fasteners", "foot-spring", hand=""),
    fails=edit("fasteners", "foot-spring", hand="left"),
)
def hand_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """One fastener of a chassis has a left-hand thread and all the others a right-hand one, or the reverse.

    Turning it the wrong way strips it. Left-hand threads are rare.

    Fix: check the hand against the page.
    """
    groups: dict[str | None, list[tuple[Row, object]]] = defaultdict(list)
    for row in family.own_fasteners.values():
        if row.hand is not None:
            groups[row.chassis].append((row, row.hand))
    for group in groups.values():
        for odd, hand, usual, other in _odd(group, ENOUGH):
            yield Violation(odd, "hand", f"{hand}; its siblings are {usual}-handed", other)


@rule(
    "spacer-differs-from-siblings",
    shape="family",
    severity="warn",
    tables=(Fit,),
    silenced_by=(*FORM, "coil-with-air-parts", "spacers-fill-chamber", "reference-missing"),
    passes=edit("fits", "fit-140", spacer=""),
    fails=edit("fits", "fit-140", spacer="spacer-b"),
)
def spacer_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """One fit of a chassis takes another volume spacer than all its other fits.

    Spacers are made for one bore. This one may belong to another fork.

    Fix: check the spacer against the page.
    """
    chassis: dict[str, list[tuple[Row, object]]] = defaultdict(list)
    for row in family.of(Fit):
        if row.spacer is not None:
            chassis[row.chassis].append((row, row.spacer))
    for group in chassis.values():
        for odd, spacer, usual, other in _odd(group, ENOUGH):
            yield Violation(odd, "spacer", f"{spacer}; the other fits take {usual}", other)


@rule(
    "part-differs-from-siblings",
    shape="family",
    severity="warn",
    tables=(Use,),
    silenced_by=("reference-missing", "disagree-unrelated", "superseded-still-named", "stated-twice"),
    passes=edit("uses", "use-again", chassis="fork-a-old", job="lower-leg-service", part="washer-a",
                position="foot bolt", count="2", when="always", source="manual-old", page="18"),
    fails=edit("uses", "use-again", chassis="fork-a", job="full-service", part="washer-b", position="foot bolt",
               count="2", when="always", source="manual-a", page="18"),
)  # fmt: skip
def part_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """One job of a chassis uses another part at a place than all its other jobs do.

    One bolt takes one washer, whatever the job. This part may be another size.

    Fix: check the part against the page.
    """
    groups: dict[tuple[object, ...], list[Use]] = defaultdict(list)
    for row in family.of(Use):
        part = family.parts.get(row.part)
        if part is not None and row.exception_to is None:
            groups[row.chassis, part.kind, row.position].append(row)
    for rows in groups.values():
        parts = Counter(row.part for row in rows)
        if len(parts) == 2 and min(parts.values()) == 1 and len({row.job for row in rows}) == len(rows):
            (usual, _), (odd, _) = parts.most_common(2)
            row = next(row for row in rows if row.part == odd)
            other = next(each for each in rows if each.part == usual)
            yield Violation(row, "part", f"{odd}; another job takes {usual} there", other, mutual=len(rows) == 2)


MANY = 4  # this many times the count of the siblings means a digit too many; common practice, no source


@rule(
    "use-count-unlike-siblings",
    shape="family",
    severity="warn",
    tables=(Use,),
    silenced_by=("reference-missing", "disagree-unrelated"),
    passes=edit("uses", "use-wiper", count="4"),
    fails=edit("uses", "use-washer", count="20"),
)
def use_count_unlike_siblings(family: Family, today: date) -> Iterator[Violation]:
    """A job uses many more of a part than other jobs do, or than any job needs.

    There is a digit too many, or the count is that of a pack.

    Fix: check the count against the page.
    """
    groups: dict[tuple[object, ...], list[Use]] = defaultdict(list)
    for row in family.of(Use):
        part = family.parts.get(row.part)
        if row.count is not None and part is not None:
            groups[part.kind, row.position].append(row)
    for rows in groups.values():
        counts = [row.count or 0 for row in rows]
        if max(counts) < MANY * max(1, min(counts)) and max(counts) <= ALONE:
            continue
        for row in rows:
            others = [each for each in rows if each is not row]
            least = min((each.count or 0 for each in others), default=0)
            if least and (row.count or 0) >= MANY * max(each.count or 0 for each in others):
                yield Violation(row, "count", f"{row.count}; elsewhere {least}", others[0])
            elif not others and (row.count or 0) > ALONE:
                yield Violation(row, "count", f"{row.count} for one job")


ALONE = 10  # pieces of one part in a job; common practice, no source


@rule(
    "gear-unlike-siblings",
    shape="family",
    severity="warn",
    tables=(Guide,),
    silenced_by=(*FORM, "disagree-unrelated"),
    passes=edit("guides", "guide-90", mass_is=""),
    fails=edit("guides", "guide-90", mass_is="without"),
)
def gear_unlike_siblings(family: Family, today: date) -> Iterator[Violation]:
    """One line of a guide gives the rider's mass without gear and all the others with it, or the reverse.

    A guide is written for one of the two. Gear adds about 5 kg.

    Fix: check the heading of the guide on the page.
    """
    for lines in family.guide_groups:
        group: list[tuple[Row, object]] = [(row, row.mass_is) for row in lines if row.mass_is is not None]
        for row, odd, usual, other in _odd(group, ENOUGH):
            yield Violation(row, "mass_is", f"{odd}; the other lines: {usual}", other)


@rule(
    "clicks-from-the-other-end",
    shape="family",
    severity="warn",
    tables=(Guide,),
    silenced_by=(*FORM, "clicks-outside-damper", "disagree-unrelated", "guide-line-off"),
    passes=edit("guides", "guide-60", rebound_clicks="7"),
    fails=edit("guides", "guide-90", rebound_clicks="12"),
)
def clicks_from_the_other_end(family: Family, today: date) -> Iterator[Violation]:
    """A heavier rider gets less rebound damping than the lighter one of the next line.

    More pressure pushes back harder. Clicks counted from closed fall as riders get heavier; clicks counted from open
    rise. This line was counted from the other end.

    Fix: check the clicks against the page, and from which end the maker counts.
    """
    for ladder in ladders(family):
        for lighter, heavier in pairwise(ladder):
            here, there = lighter.rebound_clicks, heavier.rebound_clicks
            if here is None or there is None or abs(there - here) < TURNED:
                continue
            dampers = [family.dampers.get(name) for name in family.dampers_of(heavier)]
            ends = {damper.clicks_from for damper in dampers if damper is not None}
            if len(ends) == 1 and (there > here) == (ends == {"closed"}) and ends <= {"closed", "open"}:
                text = f"{there} clicks from {ends.pop()}, {here} for lighter riders in {lighter.id}"
                yield Violation(heavier, "rebound_clicks", text, lighter, mutual=True)
                break


TURNED = 4  # clicks between two lines that rounding does not explain; common practice, no source
HARDER = ("park", "race", "racing", "downhill", "mud", "wet", "dust", "e-bike", "shuttle", "enduro", "hard", "extreme")


@rule(
    "harder-riding-less-often",
    shape="family",
    nature="implausible",
    tables=(Interval,),
    silenced_by=(*FORM, "interval-implausible", "digit-slip", "disagree-unrelated"),
    passes=edit("intervals", "interval-park", chassis="fork-a", operation="lower-leg-service", hours="50",
                riding="park", source="manual-a", page="19"),
    fails=edit("intervals", "interval-park", chassis="fork-a", operation="lower-leg-service", hours="60",
               riding="park", source="manual-a", page="19"),
)  # fmt: skip
def harder_riding_less_often(family: Family, today: date) -> Iterator[Violation]:
    """A service is due less often for hard riding than for riding in general.

    Bike parks, races and mud wear a fork faster. Two lines were swapped.

    Fix: check both lines against the page.
    """
    plain = {
        (row.chassis, row.operation, row.source): row
        for row in family.of(Interval)
        if row.riding is None and row.hours is not None and not prints(row, "hours")
    }
    for row in family.of(Interval):
        usual = plain.get((row.chassis, row.operation, row.source))
        hard = row.riding is not None and any(word in row.riding.lower() for word in HARDER)
        if usual is not None and hard and row.hours is not None and row.hours > (usual.hours or 0):
            yield Violation(
                row, "hours", f"{row.hours} h for {row.riding}, {usual.hours} h in general", usual, mutual=True
            )
