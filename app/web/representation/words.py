"""Labels for members, parameters, tables and scopes in pages and texts. A name without a label is shown as spelt."""

from collections.abc import Mapping, Sequence
from typing import Any

from app.units.counts import AdjusterCount
from app.web.representation.answer import Answer


class NamedId(str):
    """An id with a name; `plain` shows the name, anything else uses the id."""

    name: str

    def __new__(cls, id: str, name: str) -> "NamedId":
        made = super().__new__(cls, id)
        made.name = name
        return made


class WheelSize(int):
    """A bead seat in mm with the name of the wheel."""

    name: str

    def __new__(cls, size: int, name: str) -> "WheelSize":
        made = super().__new__(cls, size)
        made.name = name
        return made


UNITS = {
    "mm2": "mm²", "mm": "mm", "ml": "mL", "deg": "°", "cst": "mm²/s", "c": "°C", "percent": "%", "n": "N", "kg": "kg",
    "m": "m", "pa": "Pa", "mpa": "MPa", "kn": "kN",
}  # fmt: skip
"""The unit that a suffix means: `stanchion_diameter_mm` is a diameter in mm."""

_LABELS = {
    "_id": "id", "model_year_from": "model year from", "part_number": "part no.", "superseded_by": "superseded by",
    "axle_to_crown": "axle to crown", "spacer_limit": "maximum volume spacers", "spacers_fitted": "from the factory",
    "travel_spacer": "travel spacer", "travel_spacers": "travel spacers", "spacers": "volume spacers",
    "pressure_limit": "maximum pressure", "start_pressure": "start pressure", "peak_pressure": "peak pressure",
    "asked": "your input", "uses": "parts", "guides": "published set-up", "published": "published set-up",
    "bases": "all bases", "by_spacers": "by volume spacers", "gaps": "not in the catalogue", "undecided": "to decide",
    "near_misses": "near misses", "near_misses_total": "near misses in total", "fills": "oils and fills",
    "drives": "drive", "mass_is": "rider mass", "rider_mass": "rider with gear", "fork-check": "fork check",
    "job-card": "job card", "setup": "set-up", "not_done": "not done on this fork", "write_down": "to write down",
    "revision_from": "in force since revision", "recorded_at": "recorded", "ucum": "UCUM code", "also_in": "also in",
    "href": "address", "from": "from", "to": "to", "q": "search", "per_page": "rows", "units": "units",
    "dual_crown": "dual crown", "nlgi": "NLGI", "bb_drop": "bottom bracket drop", "bb_height": "bottom bracket height",
    "geometry_sag": "sag in the geometry", "mating_material": "mating part of",
    "marked_maximum_at_most": "marked maximum", "order_number": "order no.", "promised": "promised for",
    "hours": "riding hours", "bead_seat": "bead seat", "as_of": "as of", "min_revision": "minimum revision",
    "slow_force": "force, slow stroke", "fill_altitude": "filled at", "altitude": "ridden at",
    "percent": "share of travel", "share_percent": "contains the true value", "what": "what",
    "viscosity_40": "at 40 °C", "viscosity_100": "at 100 °C", "density_15": "density at 15 °C", "format": "format",
}  # fmt: skip

_QUESTIONS = {
    "fits": "What fits", "sheet": "Sheet", "setup": "Set-up", "job-card": "Job card", "fork-check": "Fork check",
    "convert": "Convert", "units": "Units", "standards": "Standards", "standard": "Standard", "rules": "Rules",
    "words": "Words",
    "rule": "Rule", "findings": "Findings", "revisions": "Revisions", "revision": "Revision", "changes": "Changes",
    "statement-history": "History of a value", "alternatives": "Alternatives to a fluid",
    "identify": "Which fork is it?", "spring-fits": "Forks that take this spring", "problem-types": "Problem types",
    "source-rows": "What cites this source",
    "problem-type": "Problem type", "record-job": "Record a job", "send-again": "Send it again",
    "register-fork": "Register a fork", "forks": "Bench log", "due": "What is due",
    "services": "Work done", "start": "Legwork", "own-data": "Your own data",
    "work-order": "Work order", "work-orders": "Work orders", "start-order": "Start a work order",
    "order-fields": "Change a work order", "finish-order": "Record the job", "order-record": "Job recorded",
    "bench-view": "Figures of one job", "sheet-changes": "What changed on this sheet",
    "enter": "Enter", "enter-tables": "Enter a row",
    "drafts": "Drafts", "draft": "Draft", "draft-start": "Start a draft", "compare": "What changed",
}  # fmt: skip

TABLE_OF = {
    "maker": "makers", "makers": "makers", "source": "sources", "chassis": "chassis", "variant": "variants",
    "variants": "variants", "spring": "springs", "springs": "springs", "softer": "springs", "stiffer": "springs",
    "calculated_choice": "springs",
    "fitted": "springs", "siblings": "springs", "present_spring": "springs", "published_choice": "springs",
    "from_spring": "springs", "to_spring": "springs", "spring_choice": "springs",
    "damper": "dampers", "dampers": "dampers", "spacer": "spacers", "part": "parts", "parts": "parts",
    "travel_spacer": "parts", "fluid": "fluids", "fluids": "fluids", "alternatives": "fluids", "tool": "tools",
    "tools": "tools", "fastener": "fasteners", "frame": "frames", "frames": "frames", "procedure": "procedures",
    "step": "steps", "superseded_by": "", "fits": "fits", "fit": "fits", "torques": "torques", "fills": "fills",
    "greases": "greases", "uses": "uses", "limits": "limits", "intervals": "intervals", "guides": "guides",
    "adjustments": "adjustments", "adjusted": "guides",
    "published": "guides", "readings": "readings", "near_misses": "fits", "rider_mass": "limits", "torque": "torques",
    "fill": "fills", "grease": "greases", "exception_to": "statements", "statements": "statements",
    "narrows": "statements", "also_in": "statements", "rule": "rules",
}  # fmt: skip
"""The table of the id in a member of this name."""


def is_slug(text: str) -> bool:
    """Whether a text has the form of an id."""
    return text.isascii() and text.replace("-", "").isalnum() and text.islower() | text.isdigit()


def label(name: str) -> str:
    """The label of a member, without its unit: `spacer_limit` → `maximum volume spacers`."""
    if name in _LABELS:
        return _LABELS[name]
    stem, _, unit = name.rpartition("_")
    if stem and unit in UNITS:
        return _LABELS.get(stem, stem.replace("_", " "))
    return name.replace("_", " ").replace("-", " ").replace(".", ", ")


def heading(name: str) -> str:
    """The label with a capital, as the heading of a section."""
    said = label(name)
    return said[:1].upper() + said[1:]


def title(question: str) -> str:
    """The title of a question."""
    return _QUESTIONS.get(question) or heading(question)


def unit_of(name: str) -> str:
    """The unit at the end of a name; empty if there is none."""
    stem, _, unit = name.rpartition("_")
    return UNITS.get(unit, "") if stem else ""


def plain(value: Any) -> str:
    """A single value in words: yes or no, whole numbers without a fraction, a name if it has one, otherwise text."""
    if isinstance(value, NamedId | WheelSize):
        return value.name
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(plain(each) for each in value)
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)


def clicks(counted: Mapping[str, object]) -> str:
    """A number of clicks with its datum, and the total if it is known."""
    return f"{counted['text']}, {counted['total']} in all" if "total" in counted else str(counted["text"])


def click_numbers(counted: Answer) -> tuple[str, str]:
    """The number of clicks alone, and the same counted from the other end; empty if that is not known."""
    clicks = AdjusterCount(*(counted.get(name) for name in ("count", "min", "max")))
    total = counted.get("total")
    if "from" not in counted or total is None or any(each is not None and each > total for each in clicks):
        return clicks.text(), ""
    return clicks.text(), clicks.from_other_end(total).text()


def unfilled(fill: Answer) -> str:
    """`no oil` or `greased` for a chamber that gets no oil; empty for any other."""
    return {"none": "no oil", "greased": "greased"}.get(fill.get("amount", ""), "")


def sentence(text: str) -> str:
    """A text with a capital at the start, unless its first word is an id or a unit."""
    first = text.partition(" ")[0]
    return text[:1].upper() + text[1:] if len(first) > 2 and first.isalpha() and first.islower() else text


def choices(open_parameter: Answer) -> list[tuple[str, str]]:
    """The values of an open parameter, each with its name. A serial is typed: its values are ranges."""
    if open_parameter["parameter"] == "serial":
        return []
    values = open_parameter["values"]
    return list(zip(values, open_parameter.get("names", values), strict=True))


def band(said: Answer) -> str:
    """The uncertainty of a value and its main cause, unless the text already names it."""
    biggest = str(said.get("biggest", ""))
    return (
        str(said["text"]) if biggest.lower() in said["text"].lower() else f"{said['text']} Depends most on {biggest}."
    )


def bands(every: Sequence[Answer]) -> str:
    """The uncertainty of several figures and the main cause of each, in one or two sentences."""
    shares = {plain(each["share_percent"]) for each in every}
    moved = [f"{label(each['of'])} on {each['biggest']}" for each in every if "biggest" in each]
    often = f"The true value lies within the range at least {' or '.join(sorted(shares))} times in 100."
    return f"{often} What each depends on most: {'; '.join(moved)}." if moved else often


def left(value: float, unit: str) -> str:
    """The remainder until something is due, or how much it is over: `28 h left`, `84 days over`."""
    return f"{plain(abs(value))} {unit} {'over' if value < 0 else 'left'}"


def with_unit(name: str, value: object) -> str:
    """A bare number with the unit from its name, otherwise the value in words."""
    said, unit = plain(value), unit_of(name)
    if not unit or isinstance(value, bool) or not said[:1].isdigit():
        return said
    return f"{said}{unit}" if unit == "°" else f"{said} {unit}"


def basis_view(quantity: Answer) -> str | None:
    """The basis of a quantity, if it has one."""
    return str(quantity["basis"]) if "basis" in quantity else None


def quantity_text(quantity: Mapping[str, object]) -> str:
    """A quantity with its published figure and its basis, if it has them."""
    beside = [f"published {quantity['as_published']}"] if "as_published" in quantity else []
    beside += [basis] if (basis := basis_view(quantity)) else []
    return f"{quantity['text']} ({', '.join(beside)})" if beside else str(quantity["text"])


def assumed(assumption: Answer) -> str:
    """What is assumed: a figure, a number or words; empty if `text` says it all."""
    if "value" in assumption:
        return quantity_text(assumption["value"])
    return plain(assumption.get("count", assumption.get("assumed", "")))


def clue_given(clue: Answer) -> str:
    """A clue as it was given; a length with its unit."""
    return str(clue["given_length"]["text"] if "given_length" in clue else clue["given"])


def clue_listed(clue: Answer) -> str:
    """The values of the catalogue that a clue was compared with."""
    lengths = clue.get("listed_lengths")
    return ", ".join(clue["listed"] if lengths is None else (each["text"] for each in lengths))


_EVERY_STATEMENT = ("id", "scope", "source", "also_in", "narrows", "as_printed", "note")


def unplaced(statement: Mapping[str, object], *placed: str) -> list[str]:
    """The members of a statement that its layout has no place for, with labels, so that every column is shown."""
    return [
        f"{label(name)} {_member(value)}"
        for name, value in statement.items()
        if name not in (*_EVERY_STATEMENT, *placed)
    ]


def _member(value: object) -> str:
    if isinstance(value, Mapping):
        return quantity_text(value) if "text" in value else plain(value.get("name", value.get("id")))
    return ", ".join(map(plain, value)) if isinstance(value, list) else plain(value)


def span(low: object, high: object) -> str:
    """`2022–2024`, `from 2022`, `to 2024` or `150`."""
    if low is not None and high is not None:
        return plain(low) if low == high else f"{plain(low)}–{plain(high)}"
    return f"from {plain(low)}" if low is not None else f"to {plain(high)}"


def scope_words(scope: Answer) -> str:
    """The scope of a statement; empty if it is not restricted."""
    said = []
    low, high = scope.get("model_year_from"), scope.get("model_year_to")
    if low is not None or high is not None:
        said.append(f"model year {span(low, high)}")
    if "travel" in scope:
        said.append(f"travel {quantity_text(scope['travel'])}")
    if "serial_from" in scope or "serial_to" in scope:
        said.append(serial_words(scope))
    for name in ("wheel_size", "variant", "spring", "damper", "fitted_part"):
        if name in scope:
            value = scope[name]
            listed = value if isinstance(value, list) else [value]
            said.append(f"{label(name)} {' or '.join(map(plain, listed))}")
    return ", ".join(said)


def serial_words(scope: Mapping[str, object]) -> str:
    """The serial numbers of a scope: serials have hyphens, so the ends are joined by a word."""
    first, last = scope.get("serial_from"), scope.get("serial_to")
    if first == last:
        return f"serial number {first}"
    said = f"{first} to {last}" if first and last else f"from {first}" if first else f"up to {last}"
    return f"serial numbers {said}"


def source_words(source: Answer) -> str:
    """A source in one line."""
    said = [source["title"]]
    if "edition" in source:
        said.append(f"edition {source['edition']}")
    if "page" in source:
        said.append(f"p. {source['page']}")
    if "kind" in source:
        said.append(source["kind"])
    return ", ".join([*said, *edition_words(source)])


def edition_words(source: Answer) -> list[str]:
    """What replaced a source, and which edition of it is newer."""
    said = []
    if "superseded_by" in source:
        said.append(f"superseded by {_newer(source['superseded_by'])}")
    if "newer_edition" in source:
        said.append(f"to be read again: {_newer(source['newer_edition'])} is newer")
    return said


def _newer(source: Answer) -> str:
    return f"{source['title']}, edition {source['edition']}" if "edition" in source else str(source["title"])


def mass_words(guide: Answer) -> str:
    """The mass bracket of a guide, from the first up to but excluding the second, with the published figures."""
    ends = [guide.get(name, {}) for name in ("rider_mass_from", "rider_mass_to")]
    said = _bracket(*(end.get("text") for end in ends))
    published = [end.get("as_published") for end in ends]
    return f"{said} (published {_bracket(*published)})" if any(published) else said


def _bracket(low: str | None, high: str | None) -> str:
    if low and high:
        return f"{low} to below {high}"
    if low:
        return f"{low} and more"
    return f"below {high}" if high else "any mass"
