"""Relations within a row: bolt class and material, hubs and axles, wheels, dates, rates."""

import re
from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import (
    TABLES,
    Chassis,
    Damper,
    Fastener,
    Grease,
    Limit,
    Row,
    Source,
    Spring,
    Variant,
    is_row_of,
)
from app.rules.bands import Bounds, figure
from app.rules.checks.envelope import FORM
from app.rules.registry import Violation, edit, rule
from app.rules.threads import thread_of
from app.rules.view import RowView

NO_STEEL = ("alumin", "titan", "plastic", "nylon", "brass", "magnes")
CLASSES = (  # property class, its material, words of materials that it cannot be
    (re.compile(r"[0-9]{1,2}\.[0-9]"), "steel", (*NO_STEEL, "stainless")),
    (re.compile(r"A[1-5]-[0-9]{2,3}"), "stainless steel", NO_STEEL),
)
SET_SCREWS = ("ISO 4026", "ISO 4027", "ISO 4028", "ISO 4029")
SCREWS = ("ISO 4762", "ISO 7380", "ISO 10642")
LAST_WORD = {
    "bolt": ("bolt", "set screw"), "nut": ("nut",), "cap": ("cap", "threaded seal head", "bolt"),
    "screw": ("bolt", "set screw"), "core": ("valve core",),
}  # fmt: skip


@rule(
    "fastener-contradicts-itself",
    shape="row",
    tables=(Fastener,),
    silenced_by=FORM,
    passes=edit("fasteners", "pinch-a", through_hole_mm="3"),
    fails=edit("fasteners", "pinch-a", material="aluminium"),
)
def fastener_contradicts_itself(view: RowView, today: date) -> Iterator[Violation]:
    """Two columns of a fastener contradict each other: class and material, standard and kind, or hole and thread.

    Classes of ISO 898-1 are steel, those of ISO 3506-1 stainless steel. ISO 4026 to 4029 are set screws. A hole is
    narrower than the thread around it.

    Fix: check the fastener against the page; name the chassis, spring or damper that it is part of.
    """
    row = view.row
    assert is_row_of(row, Fastener)
    for column, text in _fastener_faults(row):
        yield Violation(row, column, text)
        return


def _fastener_faults(row: Fastener) -> Iterator[tuple[str, str]]:
    if row.chassis is None and row.spring is None and row.damper is None:
        yield "chassis", "it is not part of any chassis, spring or damper"
    if row.spring is not None and row.damper is not None:
        yield "damper", f"it is part of both {row.spring} and {row.damper}"
    for pattern, metal, others in CLASSES:
        if row.property_class is None or row.material is None or not pattern.fullmatch(row.property_class):
            continue
        if any(word in row.material.lower() for word in others):
            yield "material", f"class {row.property_class} is {metal}, but the material is {row.material}"
    if row.standard is not None:
        if row.standard.startswith(SET_SCREWS) and row.kind != "set screw":
            yield "kind", f"{row.standard} is a set screw, but the kind is {row.kind}"
        if row.standard.startswith(SCREWS) and row.kind != "bolt":
            yield "kind", f"{row.standard} is a screw with a head, but the kind is {row.kind}"
    thread = None if row.thread is None else thread_of(row.thread)
    if (
        thread is not None
        and row.through_hole_mm is not None
        and float(row.through_hole_mm) >= thread.diameter_m * 1000
    ):
        yield "through_hole_mm", f"a hole of {row.through_hole_mm} mm is too wide for {row.thread}"


@rule(
    "fastener-unlike-its-place",
    shape="row",
    nature="implausible",
    tables=(Fastener,),
    silenced_by=("fastener-contradicts-itself",),
    reads=("position", "kind"),
    passes=edit("fasteners", "foot-spring", position="foot nut", kind="nut"),
    fails=edit("fasteners", "foot-spring", kind="nut"),
)
def fastener_unlike_its_place(view: RowView, today: date) -> Iterator[Violation]:
    """A place named after a bolt has a nut, or one named after a cap has a nut or set screw.

    One of the two words was copied from another line.

    Fix: correct the kind or the position; if the page uses these words, copy them into as_printed.
    """
    row = view.row
    assert is_row_of(row, Fastener)
    kinds = LAST_WORD.get(row.position.rpartition(" ")[2].lower())
    if kinds is not None and row.kind not in kinds:
        yield Violation(row, "kind", f"a {row.kind}, at a place called {row.position}")


@rule(
    "service-unlike-damper",
    shape="row",
    nature="implausible",
    tables=(Damper,),
    reads=("kind", "serviceable"),
    passes=edit("dampers", "damper-b", serviceable="by the maker"),
    fails=edit("dampers", "damper-b", serviceable="here"),
)
def service_unlike_damper(view: RowView, today: date) -> Iterator[Violation]:
    """A sealed cartridge is listed as opened in the workshop, or an open bath as opened only by its maker.

    A sealed cartridge cannot be opened. An open bath has its oil in the leg, so opening the leg opens the damper.

    Fix: check construction and service against the page; if it is printed so, copy its words into as_printed.
    """
    row = view.row
    assert is_row_of(row, Damper)
    sealed = row.kind == "sealed cartridge" and row.serviceable == "here"
    if sealed or (row.kind == "open bath" and row.serviceable in ("no", "by the maker")):
        yield Violation(row, "serviceable", f"a damper of kind {row.kind}, serviceable: {row.serviceable}")


HUBS: dict[float, tuple[float, ...]] = {  # axle diameter: hub widths in mm; common practice, no source
    9: (90, 91, 95, 96, 100, 130, 135),
    10: (74, 80, 90, 100),
    12: (74, 100, 110),
    14: (100,),
    15: (100, 110, 135, 150),
    20: (100, 110, 150),
    24: (110, 150),
    25.4: (110, 150),
}  # fmt: skip


@rule(
    "hub-unlike-axle",
    shape="row",
    nature="implausible",
    tables=(Chassis,),
    silenced_by=FORM,
    reads=("hub_spacings_mm", "axle_diameters_mm"),
    passes=edit("chassis", "fork-b", hub_spacings_mm="100;110", axle_diameters_mm="15"),
    fails=edit("chassis", "fork-b", hub_spacings_mm="110", axle_diameters_mm="9"),
)
def hub_unlike_axle(view: RowView, today: date) -> Iterator[Violation]:
    """No hub of this width is made for this axle.

    Widths and axles come in pairs (common practice, no source). A figure was misread, or is that of a rear hub.

    Fix: check both against the page; if they are printed so, copy the words into as_printed.
    """
    row = view.row
    assert is_row_of(row, Chassis)
    hubs, axles = row.hub_spacings_mm, row.axle_diameters_mm
    for axle in axles or ():
        known = HUBS.get(axle)
        if known is None:
            yield Violation(row, "axle_diameters_mm", f"no front axle of {axle:g} mm is known")
            return
        if hubs is not None and not set(hubs) & set(known):
            widths = ", ".join(f"{each:g}" for each in hubs)
            yield Violation(row, "hub_spacings_mm", f"{widths} mm with an axle of {axle:g} mm")
            return
    widest = {width for widths in HUBS.values() for width in widths}
    for hub in hubs or ():
        if hub not in widest:
            yield Violation(row, "hub_spacings_mm", f"no front hub of {hub:g} mm is known")
            return


# Bead seat diameters of ISO 5775 in mm, from memory; the common ones are in app.standards with their trade names.
BEAD_SEATS = frozenset({
    137, 152, 203, 239, 251, 254, 288, 298, 305, 317, 337, 340, 349, 355, 357, 369, 381, 387, 390, 400, 406, 419, 428,
    432, 438, 440, 451, 457, 484, 489, 490, 498, 501, 507, 520, 531, 534, 540, 541, 547, 559, 565, 571, 584, 587, 590,
    597, 609, 622, 630, 635, 642, 686,
})  # fmt: skip


def _wheels(table: type[Row]) -> tuple[str, ...]:
    return tuple(name for name in ("wheel_size", "wheel_sizes", "wheel_front", "wheel_rear") if name in table.columns())


@rule(
    "wheel-unknown",
    shape="row",
    nature="implausible",
    tables=[table for table in TABLES.values() if _wheels(table)],
    silenced_by=(*FORM, "wheel-size-not-of-chassis"),
    reads=_wheels,
    passes=edit("frames", "frame-a", wheel_front="622"),
    fails=edit("frames", "frame-a", wheel_front="623"),
)
def wheel_unknown(view: RowView, today: date) -> Iterator[Violation]:
    """A wheel has a bead seat diameter that ISO 5775 does not list.

    This number identifies the wheel. Any other number is a typing slip, or the wheel's name in inches.

    Fix: write the second number of the tyre size, such as 622 of 57-622.
    """
    fields = view.row.values()
    for name in _wheels(view.row.model):
        given = fields[name]
        for wheel in given if isinstance(given, tuple) else (given,):
            if wheel is not None and wheel not in BEAD_SEATS:
                yield Violation(view.row, name, f"{wheel} mm is not a bead seat diameter of ISO 5775")
                return


@rule(
    "tyre-not-on-wheel",
    shape="row",
    tables=(Limit,),
    silenced_by=(*FORM, "limit-implausible"),
    reads=("subject", "min", "max", "unit", "wheel_size"),
    passes=edit("limits", "limit-height", chassis="fork-a", wheel_size="622", subject="tyre diameter", max="740",
                unit="mm", source="manual-a", page="4"),
    fails=edit("limits", "limit-height", chassis="fork-a", wheel_size="622", subject="tyre diameter", max="620",
               unit="mm", source="manual-a", page="4"),
)  # fmt: skip
def tyre_not_on_wheel(view: RowView, today: date) -> Iterator[Violation]:
    """The tyre diameter limit is no larger than the rim.

    A mounted tyre is always larger than the bead seat diameter of its wheel. The figure belongs to another wheel.

    Fix: check the diameter and the wheel against the page.
    """
    row = view.row
    assert is_row_of(row, Limit)
    if row.subject == "tyre diameter" and row.wheel_size is not None:
        most = figure(row.max, row.unit, "length", "mm")
        if most is not None and most <= max(row.wheel_size):
            yield Violation(row, "max", f"a tyre of {most:g} mm on a wheel of {max(row.wheel_size)} mm")


EXTENT_MM = Bounds(1, 300)


@rule(
    "extent-implausible",
    shape="row",
    nature="implausible",
    tables=(Grease,),
    silenced_by=FORM,
    reads=("extent_mm",),
    passes=edit("greases", "grease-bore", extent_mm="300"),
    fails=edit("greases", "grease-bore", extent_mm="301"),
)
def extent_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """Grease is spread over a length that no stanchion has.

    A decimal point moved, or two cells were swapped. The range is common practice.

    Fix: check the length against the page.
    """
    extent = view.row["extent_mm"]
    if extent is not None and not EXTENT_MM.holds(float(extent)):
        yield Violation(view.row, "extent_mm", f"{extent} mm is not within {EXTENT_MM.low:g} to {EXTENT_MM.high:g} mm")


RATE_N_PER_MM = Bounds(1, 40)


@rule(
    "rate-implausible",
    shape="row",
    nature="implausible",
    tables=(Spring,),
    silenced_by=(*FORM, "kind-excludes-column"),
    reads=("rate", "rate_unit"),
    passes=edit("springs", "spring-coil", rate="40"),
    fails=edit("springs", "spring-coil", rate="41"),
)
def rate_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A coil is softer or stiffer than any fork coil.

    A rate in pounds per inch read as newtons per millimetre is nearly six times too high. The range is common practice.

    Fix: check rate and unit against the page.
    """
    row = view.row
    assert is_row_of(row, Spring)
    rate = figure(row.rate, row.rate_unit, "spring rate", "N/mm")
    if rate is not None and not RATE_N_PER_MM.holds(rate):
        text = f"{row.rate} {row.rate_unit} is {rate:.3g} N/mm, not within {RATE_N_PER_MM.low:g} to "
        yield Violation(row, "rate", text + f"{RATE_N_PER_MM.high:g} N/mm")


FIRST_PAPER = 1960  # see FIRST_YEAR of the model years


@rule(
    "published-too-early",
    shape="row",
    nature="implausible",
    tables=(Source,),
    reads=("published_on",),
    passes=edit("sources", "bulletin-a", published_on="1960"),
    fails=edit("sources", "bulletin-a", published_on="1959"),
)
def published_too_early(view: RowView, today: date) -> Iterator[Violation]:
    """A document is dated before the first forks of this kind.

    A digit was lost or swapped. The date decides which edition is newer.

    Fix: enter the date of publication as printed.
    """
    published = view.row["published_on"]
    if published is not None and int(published[:4]) < FIRST_PAPER:
        yield Violation(view.row, "published_on", f"{published} is before {FIRST_PAPER}")


@rule(
    "produced-unlike-years",
    shape="row",
    nature="implausible",
    tables=(Variant,),
    silenced_by=(*FORM, "years-outside-chassis"),
    reads=("produced_from", "produced_to", "model_year_from", "model_year_to"),
    passes=edit("variants", "variant-a-pro", produced_from="2020-01"),
    fails=edit("variants", "variant-a-pro", produced_from="2019-12"),
)
def produced_unlike_years(view: RowView, today: date) -> Iterator[Violation]:
    """A variant was produced years before or after its model years.

    Production starts in the year before the model year (common practice, no source). A year was misread.

    Fix: check production and model years against the page.
    """
    row = view.row
    assert is_row_of(row, Variant)
    first, last = row.produced_from, row.model_year_to
    if first is not None and row.model_year_from is not None and int(first[:4]) < row.model_year_from - 2:
        yield Violation(row, "produced_from", f"{first}, for model years from {row.model_year_from}")
    elif first is not None and last is not None and int(first[:4]) > last:
        yield Violation(row, "produced_from", f"{first}, for model years up to {last}")
    elif row.produced_to is not None and last is not None and int(row.produced_to[:4]) > last + 1:
        yield Violation(row, "produced_to", f"{row.produced_to}, for model years up to {last}")
