"""Springs by travel, and limits of volume spacers by travel and wheel."""

from decimal import Decimal

from app.catalogue.tables import Chassis, Fit, Spring
from app.drafts.cells import RecordReader, Unanswered
from app.drafts.desk import LEAVE_OUT
from app.drafts.rows import DerivedRows
from app.drafts.statements import Cells, asked_option, build_each, statement_cells, toleranced


def spring_rows(readers: list[RecordReader], rows: DerivedRows) -> None:
    """The springs of a grid, one for each part number, and their fits."""
    fits: dict[tuple[str, str], list[tuple[RecordReader, Cells]]] = {}

    def take(reader: RecordReader) -> None:
        number, travel = reader.text("part_number"), reader.travel()
        if number is None or travel is None:
            reader.desk.remark("a cell without a spring or a travel gives no row", reader.record.place)
            return
        if travel[0] != travel[1]:
            raise reader.unfit("travel", "a fit has one travel")
        cells = statement_cells(reader, rows)
        cells |= {"spring": _spring(reader, rows, number, cells).id, "travel_mm": travel[0]}
        for name in ("spacer_limit", "spacers_fitted", "travel_spacers"):
            cells[name] = reader.count(name)
        cells |= toleranced(reader, "axle_to_crown_mm", "axle_to_crown_tolerance_mm")
        cells |= _pressure_limit(reader)
        cells["note"] = reader.text("note")
        fits.setdefault((str(cells["spring"]), travel[0]), []).append((reader, cells))

    build_each(readers, take)
    found = {id(reader): cells for each in fits.values() for reader, cells in _without_wheel(each, rows)}
    build_each([each for each in readers if id(each) in found], lambda reader: _fit(reader, found[id(reader)], rows))


def _fit(reader: RecordReader, cells: Cells, rows: DerivedRows) -> None:
    rows.state(Fit, cells, reader.record.place)


def _pressure_limit(reader: RecordReader) -> Cells:
    found = reader.figure("pressure_limit")
    if found is None:
        return {}
    if found.low is not None or found.about:
        raise reader.unfit("pressure_limit", "a maximum is one figure")
    return {"pressure_limit": found.value or found.high, "pressure_unit": found.unit.name if found.unit else None}


def _without_wheel(fits: list[tuple[RecordReader, Cells]], rows: DerivedRows) -> list[tuple[RecordReader, Cells]]:
    """One row in place of a row for each wheel of the chassis, if all of them say the same."""
    given = [cells.get("wheel_size") for _, cells in fits]
    rest = [{name: text for name, text in cells.items() if name not in ("wheel_size", "page")} for _, cells in fits]
    is_same = len(fits) > 1 and None not in given and all(each == rest[0] for each in rest)
    chassis = rows.base.one(Chassis, str(fits[0][1]["chassis"]))
    if is_same and chassis is not None and _wheels_of(chassis) <= set(given):
        return [(fits[0][0], {**fits[0][1], "wheel_size": None})]
    return fits


def _spring(reader: RecordReader, rows: DerivedRows, number: str, statement: Cells) -> Spring:
    """The spring with a part number, stored or new."""
    chassis = rows.base.one(Chassis, str(statement["chassis"]))
    assert chassis is not None
    there = [each for each in rows.known(Spring, "part_number", number) if each.maker == chassis.maker]
    shaft = toleranced(reader, "shaft_length_mm", "length_tolerance_mm")
    if there:
        given: Cells = {"id": there[0].id, "name": reader.text("name"), "kind": reader.choice("kind")}
        return rows.add(Spring, given | shaft, reader.record.place, there[0])
    kind = reader.choice("kind") or asked_option(reader, "kind of the springs", ("air", "coil"))
    name = reader.text("name") or reader.desk.answer(
        "name of the springs", "the page gives no name beside the part numbers; what does it call them?", (),
        reader.record.place,
    )  # fmt: skip
    if name is None:
        raise Unanswered
    own: Cells = {
        "maker": chassis.maker, "name": name, "part_number": number, "kind": kind,
        "source": statement["source"], "page": statement["page"],
    }  # fmt: skip
    return rows.add_new(Spring, own | shaft, reader.record.place)


def spacer_limits(readers: list[RecordReader], rows: DerivedRows) -> None:
    """The limits of volume spacers of a grid, as cells of fits that are stored or come from another grid."""
    by_fit: dict[str, list[tuple[RecordReader, Fit, Cells]]] = {}

    def take(reader: RecordReader) -> None:
        limit, travel = reader.count("spacer_limit"), reader.travel()
        if limit is None or travel is None:
            return
        statement = statement_cells(reader, rows)
        fits = _fits_at(reader, rows, statement, travel)
        for fit in fits:
            by_fit.setdefault(fit.id, []).append((reader, fit, {**statement, "spacer_limit": limit}))

    build_each(readers, take)
    for limits in by_fit.values():
        try:
            _set_limits(limits, rows)
        except Unanswered:
            continue


def _fits_at(reader: RecordReader, rows: DerivedRows, statement: Cells, travel: tuple[str, str]) -> list[Fit]:
    """The fits of the chassis with these travels, for the wheel of the record, of one spring."""
    low, high = Decimal(travel[0]), Decimal(travel[1])
    wheel = statement["wheel_size"]
    fits = [
        each
        for each in rows.known(Fit, "chassis", statement["chassis"])
        if low <= Decimal(str(each.travel_mm)) <= high
        and (wheel is None or each.wheel_size is None or wheel in map(str, each.wheel_size))
    ]
    fits = [each for each in fits if _has_scope(each, statement)]
    number = reader.text("part_number") if reader.has("part_number") else None
    springs = {each.id: each for each in rows.of(Spring)} | rows.base.many(Spring, {each.spring for each in fits})
    if number is not None:
        fits = [each for each in fits if each.spring in springs and springs[each.spring].part_number == number]
    if not fits:
        reader.desk.remark(
            f"no spring is known that gives {' to '.join(dict.fromkeys(travel))} mm; there is no row",
            reader.record.place,
        )
        raise Unanswered
    chosen = reader.constant("spring")
    travels = {each.travel_mm for each in fits}
    for each in travels:
        options = tuple(sorted({fit.spring for fit in fits if fit.travel_mm == each}))
        if chosen is None and len(options) > 1:
            reader.desk.answer(
                "spring",
                "several springs give this travel; which one is the table about?",
                options,
                reader.record.place,
            )
            raise Unanswered
    return [each for each in fits if chosen is None or each.spring == chosen]


def _are_all(wheels: set[str | None], fit: Fit, rows: DerivedRows) -> bool:
    """Whether a table says something for every wheel of the chassis, as far as they are known."""
    chassis = rows.base.one(Chassis, fit.chassis)
    return None in wheels or (chassis is not None and _wheels_of(chassis) <= wheels)


def _wheels_of(chassis: Chassis) -> set[str]:
    return {str(each) for each in chassis.wheel_sizes or ()}


def _has_scope(fit: Fit, statement: Cells) -> bool:
    """Whether a fit has the years, variant and damper that a table is about, as far as it names them."""
    cells = fit.cells()
    named = ("variant", "damper", "model_year_from", "model_year_to")
    return all(statement[name] in (None, *cells[name].split(";")) for name in named)


def _set_limits(limits: list[tuple[RecordReader, Fit, Cells]], rows: DerivedRows) -> None:
    """Set the limit of one fit. If it holds for every wheel and the table does not, ask before splitting it."""
    reader, fit, _ = limits[0]
    figures = {cells["spacer_limit"] for _, _, cells in limits}
    wheels = {cells["wheel_size"] for _, _, cells in limits}
    if fit.wheel_size is not None or (len(figures) == 1 and _are_all(wheels, fit, rows)):
        for each, _, cells in limits:
            rows.add(Fit, {"id": fit.id, "spacer_limit": cells["spacer_limit"]}, each.record.place, fit)
        return
    key = f"split {fit.id}"
    why = "this fit holds for every wheel, but the limits differ by wheel; add an exception for each wheel?"
    answer = reader.desk.answer(key, why, ("yes", LEAVE_OUT), reader.record.place)
    if answer != "yes":
        raise Unanswered
    for each, _, cells in limits:
        own = {**fit.cells(), **{name: text for name, text in cells.items() if text}, "exception_to": fit.id}
        rows.state(Fit, {column: text or None for column, text in own.items() if column != "id"}, each.record.place)
