"""The words in which pages and texts name members, parameters, tables and scopes. Refuses nothing: a name without an
entry is read as it is spelt."""

from collections.abc import Mapping, Sequence
from typing import Any

from app.web.representation.answer import Answer


class NamedId(str):
    """An id that bears what it is called; it is shown by `plain`, and else it is the id."""

    name: str

    def __new__(cls, id: str, name: str) -> "NamedId":
        made = super().__new__(cls, id)
        made.name = name
        return made


class WheelSize(int):
    """A bead seat in mm that bears what the wheel is called."""

    name: str

    def __new__(cls, size: int, name: str) -> "WheelSize":
        made = super().__new__(cls, size)
        made.name = name
        return made


UNITS = {
    "mm2": "mm²", "mm": "mm", "ml": "mL", "deg": "°", "cst": "mm²/s", "c": "°C", "percent": "%", "n": "N", "kg": "kg",
    "m": "m", "pa": "Pa", "mpa": "MPa", "kn": "kN",
}  # fmt: skip
"""The unit that the end of a name stands for: `stanchion_diameter_mm` is a diameter in mm."""

_LABELS = {
    "_id": "id", "model_year_from": "model year from", "part_number": "part no.", "superseded_by": "superseded by",
    "axle_to_crown": "axle to crown", "spacer_limit": "volume spacers at most", "spacers_fitted": "from the factory",
    "travel_spacer": "travel spacer", "travel_spacers": "travel spacers", "spacers": "volume spacers",
    "pressure_limit": "maximum fill pressure", "start_pressure": "start pressure", "peak_pressure": "peak pressure",
    "asked": "what was asked", "uses": "parts", "guides": "published set-up", "published": "published set-up",
    "bases": "every basis", "by_spacers": "by volume spacers", "gaps": "not in the catalogue", "undecided": "to decide",
    "near_misses": "near misses", "near_misses_total": "near misses in all", "fills": "oils and fills",
    "drives": "drive", "mass_is": "rider mass", "rider_mass": "rider with gear", "fork-check": "fork check",
    "job-card": "job card", "setup": "set-up", "not_done": "not done on this fork", "write_down": "to write down",
    "revision_from": "holds since revision", "recorded_at": "recorded", "ucum": "UCUM code", "also_in": "also in",
    "href": "address", "from": "from", "to": "to", "q": "search", "per_page": "rows", "units": "units",
    "dual_crown": "dual crown", "nlgi": "NLGI", "bb_drop": "bottom bracket drop", "bb_height": "bottom bracket height",
    "geometry_sag": "sag in the geometry",
    "hours": "riding hours", "bead_seat": "bead seat", "as_of": "as of", "min_revision": "at least revision",
    "slow_force": "force, slowly", "fill_altitude": "filled at", "altitude": "ridden at",
    "percent": "share of travel", "share_percent": "holds the true value", "what": "what", "viscosity_40": "at 40 °C",
    "viscosity_100": "at 100 °C", "density_15": "density at 15 °C", "format": "form",
}  # fmt: skip

_QUESTIONS = {
    "fits": "What fits", "sheet": "Sheet", "setup": "Set-up", "job-card": "Job card", "fork-check": "Fork check",
    "convert": "Convert", "units": "Units", "standards": "Standards", "standard": "Standard", "rules": "Rules",
    "rule": "Rule", "findings": "Findings", "revisions": "Revisions", "revision": "Revision", "changes": "Changes",
    "statement-history": "History of a value", "alternatives": "Stand-ins for a fluid", "identify": "Which fork is it?",
    "spring-fits": "Which forks take this spring", "problem-types": "Kinds of refusal", "problem-type": "Refusal",
    "record-job": "Record a job", "send-again": "Send it once more",
    "register-fork": "Register a fork", "forks": "Bench log", "due": "What is due",
    "services": "What was done", "start": "Legwork", "own-data": "Your own data",
    "sheet-changes": "What changed on this sheet",
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
    "published": "guides", "readings": "readings", "near_misses": "fits", "rider_mass": "limits", "torque": "torques",
    "fill": "fills", "grease": "greases", "exception_to": "statements", "statements": "statements",
    "narrows": "statements", "also_in": "statements", "rule": "rules",
}  # fmt: skip
"""The table in which the id under a member stands."""


def is_slug(text: str) -> bool:
    """Whether a text has the form of an id."""
    return text.isascii() and text.replace("-", "").isalnum() and text.islower() | text.isdigit()


def label(name: str) -> str:
    """How a member is called, without its unit: `spacer_limit` → `volume spacers at most`."""
    if name in _LABELS:
        return _LABELS[name]
    stem, _, unit = name.rpartition("_")
    if stem and unit in UNITS:
        return _LABELS.get(stem, stem.replace("_", " "))
    return name.replace("_", " ").replace("-", " ").replace(".", ", ")


def heading(name: str) -> str:
    """The same as the heading of a section."""
    said = label(name)
    return said[:1].upper() + said[1:]


def title(question: str) -> str:
    """How a question is called."""
    return _QUESTIONS.get(question) or heading(question)


def unit_of(name: str) -> str:
    """The unit at the end of a name; empty where there is none."""
    stem, _, unit = name.rpartition("_")
    return UNITS.get(unit, "") if stem else ""


def plain(value: Any) -> str:
    """A single value in words: yes and no, whole numbers without a fraction, the name of what has one, else text."""
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
    """A number of clicks with its datum, and how many there are in all if that is known."""
    return f"{counted['text']}, {counted['total']} in all" if "total" in counted else str(counted["text"])


def sentence(text: str) -> str:
    """A text that stands alone: it begins with a capital, unless its first word is an id or a unit."""
    first = text.partition(" ")[0]
    return text[:1].upper() + text[1:] if len(first) > 2 and first.isalpha() and first.islower() else text


def choices(open_parameter: Answer) -> list[tuple[str, str]]:
    """The values of a parameter that is to be decided, each with what it is called."""
    values = [plain(value) for value in open_parameter["values"]]
    return list(zip(values, open_parameter.get("names", values), strict=True))


def band(said: Answer) -> str:
    """How sure a value is and what moves it most, which the text may say already."""
    biggest = str(said.get("biggest", ""))
    return str(said["text"]) if biggest.lower() in said["text"].lower() else f"{said['text']} Moved most by {biggest}."


def bands(every: Sequence[Answer]) -> str:
    """How often the bands of figures hold the true value, and what moves each most: one sentence for all of them."""
    shares = {plain(each["share_percent"]) for each in every}
    moved = [f"{label(each['of'])} by {each['biggest']}" for each in every if "biggest" in each]
    often = f"The bands hold the true value at least {' or '.join(sorted(shares))} times in 100."
    return f"{often} Moved most: {'; '.join(moved)}." if moved else often


def left(value: float, unit: str) -> str:
    """What is left until something is due, or by how much it is over: `28 h left`, `84 days over`."""
    return f"{plain(abs(value))} {unit} {'over' if value < 0 else 'left'}"


def with_unit(name: str, value: object) -> str:
    """A bare number with the unit that its name bears, else the value in words."""
    said, unit = plain(value), unit_of(name)
    if not unit or isinstance(value, bool) or not said[:1].isdigit():
        return said
    return f"{said}{unit}" if unit == "°" else f"{said} {unit}"


def basis_view(quantity: Answer) -> str | None:
    """The basis of a quantity; none where its text shows published limits only, whose middle alone is computed."""
    if {"min", "max"} <= quantity.keys() and "(" not in quantity["text"]:
        return None
    return str(quantity["basis"]) if "basis" in quantity else None


def quantity_text(quantity: Mapping[str, object]) -> str:
    """A quantity with the figure it was converted from and its basis, where it has them."""
    beside = [f"published {quantity['as_published']}"] if "as_published" in quantity else []
    beside += [basis] if (basis := basis_view(quantity)) else []
    return f"{quantity['text']} ({', '.join(beside)})" if beside else str(quantity["text"])


_EVERY_STATEMENT = ("id", "scope", "source", "also_in", "narrows", "note")


def unplaced(statement: Mapping[str, object], *placed: str) -> list[str]:
    """The members of a statement that its layout has no place for, each with its label: so every column is shown."""
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


def scope_words(scope: Mapping[str, object]) -> str:
    """What a statement holds for; empty where it is not restricted."""
    said = []
    for what, low, high, unit in (
        ("model year", "model_year_from", "model_year_to", ""),
        ("travel", "travel_from_mm", "travel_to_mm", " mm"),
    ):
        if low in scope or high in scope:
            said.append(f"{what} {span(scope.get(low), scope.get(high))}{unit}")
    for name in ("wheel_size", "variant", "spring", "damper"):
        if name in scope:
            said.append(f"{label(name)} {plain(scope[name])}")
    return ", ".join(said)


def source_words(source: Answer) -> str:
    """A source in one line."""
    said = [source["title"]]
    if "edition" in source:
        said.append(f"edition {source['edition']}")
    if "page" in source:
        said.append(f"p. {source['page']}")
    if "kind" in source:
        said.append(source["kind"])
    return ", ".join(said)


def mass_words(guide: Answer) -> str:
    """The mass bracket of a guide: from the first up to, but not at, the second; as published beside what is shown."""
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
