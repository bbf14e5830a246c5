"""Physics of bolts: the load a thread can take, the key of a screw, a tool for every drive. See app.physics.bolt."""

import re
from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import Fastener, Torque, is_row_of
from app.physics.bolt import NUT_FACTORS, preload_n, proof_stress_pa, share_of_proof_load, torque_bearable_nm
from app.rules.bands import GREATEST, first_known
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.threads import thread_of
from app.rules.view import EntityView, RowView
from app.standards.lookups import key_size

HEX = re.compile(r"hex ([0-9]+(?:\.[0-9]+)?) mm")


def _greatest(row: Torque) -> tuple[str, float] | None:
    """The highest torque stated, in N·m, with its column."""
    return first_known(row, GREATEST, "unit", "torque", "N·m")


@rule(
    "torque-above-thread",
    shape="family",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, "fastener-elsewhere", "torque-outside-band"),
    passes=edit("fasteners", "pinch-a", thread="M4", standard="", drives="hex 5 mm", property_class=""),
    fails=edit("fasteners", "pinch-a", thread="M3", standard="", drives="hex 5 mm", property_class=""),
)
def torque_above_thread(family: Family, today: date) -> Iterator[Violation]:
    """A torque is higher than a solid bolt of the strongest class can take in that thread, even dry.

    K*d*Sp*As with K = 0.30 and class 12.9 (ISO 898-1) is the most any joint can take. Above it the bolt yields.

    Fix: check torque, unit and thread against the page. The torque may belong to another fastener.
    """
    for row in family.of(Torque):
        fastener = family.fasteners.get(row.fastener)
        if fastener is None or fastener.thread is None:
            continue
        thread, greatest = thread_of(fastener.thread), _greatest(row)
        if thread is not None and greatest is not None:
            bearable = torque_bearable_nm(thread)
            if greatest[1] > bearable:
                yield Violation(
                    row, greatest[0], f"{greatest[1]:.3g} N·m; {fastener.thread} can take {bearable:.3g} N·m at most"
                )


@rule(
    "torque-above-proof-load",
    shape="family",
    severity="warn",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, "fastener-elsewhere", "torque-outside-band", "torque-above-thread"),
    passes=edit("torques", "torque-pinch", value="13.9", as_printed="Pinch bolt 13.9 N·m"),
    fails=edit("torques", "torque-pinch", value="14.1"),
)
def torque_above_proof_load(family: Family, today: date) -> Iterator[Violation]:
    """A torque preloads a steel bolt of known class, thread and hole beyond its proof load.

    The bolt would stay stretched. The preload is computed with the nominal nut factor of the thread preparation.

    Fix: check torque, thread preparation, property class and hole against the page.
    """
    for row in family.of(Torque):
        fastener, greatest = family.fasteners.get(row.fastener), _greatest(row)
        if fastener is None or greatest is None or row.thread_prep is None:
            continue
        share = _share(fastener, greatest[1], row.thread_prep)
        if share is not None and share > 1:
            yield Violation(row, greatest[0], f"the preload would be {share:.2f} times the proof load")


def _share(fastener: Fastener, torque_nm: float, thread_prep: str) -> float | None:
    """Share of the proof load; None if it cannot be computed from the known facts. A standard screw has no hole."""
    known_hole = fastener.through_hole_mm is not None or fastener.standard is not None
    if fastener.thread is None or fastener.property_class is None or fastener.material != "steel" or not known_hole:
        return None
    thread = thread_of(fastener.thread)
    if thread is None or fastener.kind not in ("bolt", "set screw"):
        return None
    hole_m = None if fastener.through_hole_mm is None else float(fastener.through_hole_mm) / 1000
    try:
        proof = proof_stress_pa(fastener.property_class, thread.diameter_m)
        force = preload_n(torque_nm, thread, NUT_FACTORS[thread_prep].nominal)
        return share_of_proof_load(force, thread, proof, hole_m)
    except ValueError:  # not judged: a class without a proof stress, or a hole as wide as the thread
        return None


@rule(
    "key-not-of-standard",
    shape="row",
    tables=(Fastener,),
    reads=("standard", "thread", "drives"),
    passes=edit("fasteners", "pinch-a", drives="hex 5 mm;torx 30"),
    fails=edit("fasteners", "pinch-a", drives="hex 6 mm"),
)
def key_not_of_standard(view: RowView, today: date) -> Iterator[Violation]:
    """A screw names its standard, but its hex key is not the size that the standard gives.

    ISO 4762, 7380, 10642 and 4026 fix the key for each size. Thread, standard or key was misread.

    Fix: check thread, standard and drive against the page.
    """
    row = view.row
    assert is_row_of(row, Fastener)
    if row.standard is None or row.thread is None:
        return
    keys = [float(found[1]) for drive in row.drives or () if (found := HEX.fullmatch(drive))]
    expected = key_size(row.standard, row.thread) if keys else None
    if expected is not None and expected.key_mm not in keys:
        yield Violation(row, "drives", f"{row.standard} {row.thread} takes a key of {expected.key_mm:g} mm")


@rule(
    "thread-unreadable",
    shape="row",
    severity="warn",
    tables=(Fastener,),
    reads=("thread",),
    passes=edit("fasteners", "cap-a", thread="M30x1"),
    fails=edit("fasteners", "cap-a", thread="M30y1"),
)
def thread_unreadable(view: RowView, today: date) -> Iterator[Violation]:
    """The thread of a fastener is not an ISO metric designation.

    No torque on it can be checked, and no tap or die can be found for it.

    Fix: write M8, or M8x1 for a fine pitch; leave the cell empty if the source does not name the thread.
    """
    thread = view.row["thread"]
    if thread is not None and thread_of(thread) is None:
        yield Violation(view.row, "thread", f"“{thread[:40]}” is not a designation such as M8x1")


@rule(
    "no-tool-for-drive",
    shape="entity",
    severity="warn",
    tables=(Fastener,),
    silenced_by=("key-not-of-standard",),
    passes=edit("fasteners", "cap-a", drives="cassette lockring;pin spanner"),
    fails=edit("fasteners", "cap-a", drives="pin spanner"),
)
def no_tool_for_drive(view: EntityView, today: date) -> Iterator[Violation]:
    """No tool in the catalogue fits a fastener.

    A job card would send the mechanic to a bolt without the key. Often the drive is only spelled differently.

    Fix: spell the drive as the tool does, or add the tool.
    """
    row = view.row
    assert is_row_of(row, Fastener)
    if row.drives and not view.referrers:
        yield Violation(row, "drives", f"no tool has the drive {' or '.join(row.drives)}")


@rule(
    "order-twice",
    shape="family",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, "disagree-unrelated", "stated-twice"),
    passes=edit("torques", "torque-foot-spring", order="3"),
    fails=edit("torques", "torque-foot-spring", order="2"),
)
def order_twice(family: Family, today: date) -> Iterator[Violation]:
    """Two torques of one group of fasteners have the same place in the order.

    The fasteners of a group are tightened one after the other, so a place is taken once.

    Fix: count through all fasteners and stages of the group: inner 1, outer 2, inner again 3.
    """
    turns: dict[tuple[object, ...], Torque] = {}
    for row in sorted(family.of(Torque), key=lambda row: (row.stage or 1, row.id)):
        fastener = family.fasteners.get(row.fastener)
        if row.order is None or fastener is None or fastener.group is None or row.exception_to is not None:
            continue
        place = row.chassis, fastener.group, row.order, row.mating_material, id(family.scope(row))
        first = turns.setdefault(place, row)
        if first is not row and (first.fastener, first.stage) != (row.fastener, row.stage):
            text = f"no. {row.order} of {fastener.group} is also {first.id}"
            yield Violation(row, "order", text, first, mutual=True)


@rule(
    "order-without-group",
    shape="family",
    severity="warn",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=FORM,
    passes=edit("torques", "torque-foot-damper", order="4"),
    fails=edit("torques", "torque-cap", order="1"),
)
def order_without_group(family: Family, today: date) -> Iterator[Violation]:
    """A torque has a place in an order, but its fastener belongs to no group.

    Without the group, the order does not say which fasteners come before it and after it.

    Fix: enter the same group for all fasteners that are tightened in turns, or clear the order.
    """
    for row in family.of(Torque):
        fastener = family.fasteners.get(row.fastener)
        if row.order is not None and fastener is not None and fastener.group is None:
            yield Violation(row, "order", f"{fastener.id} belongs to no group", fastener)
