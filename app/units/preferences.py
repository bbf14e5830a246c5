"""The units an answer is shown in: as published, metric or imperial, each kind overridable. Refuses foreign units."""

from collections.abc import Mapping
from typing import Literal, NamedTuple, get_args

from app.errors import Fault, Invalid
from app.units.table import Kind, Unit, unit

System = Literal["published", "metric", "imperial"]
SYSTEMS: tuple[System, ...] = get_args(System)

SYSTEM_UNITS: dict[System, dict[Kind, str]] = {
    "published": {},
    "metric": {
        "torque": "N·m",
        "pressure": "bar",
        "absolute pressure": "bar(a)",
        "volume": "mL",
        "length": "mm",
        "mass": "kg",
        "force": "N",
        "spring rate": "N/mm",
        "temperature": "°C",
        "temperature difference": "Δ°C",
    },
    "imperial": {
        "torque": "in·lbf",
        "pressure": "psi",
        "absolute pressure": "psi(a)",
        "volume": "US fl oz",
        "length": "in",
        "mass": "lb",
        "force": "lbf",
        "spring rate": "lbf/in",
        "temperature": "°F",
        "temperature difference": "Δ°F",
    },
}

PARAMETERS: dict[str, Kind] = {
    "torque_unit": "torque",
    "pressure_unit": "pressure",
    "volume_unit": "volume",
    "length_unit": "length",
    "mass_unit": "mass",
    "force_unit": "force",
    "temperature_unit": "temperature",
}


class Units(NamedTuple):
    """The chosen units, usable as a cache key of conversions.

    `overrides` are (kind, canonical unit) pairs in a fixed order.
    """

    system: System = "published"
    overrides: tuple[tuple[Kind, str], ...] = ()

    def shown(self, published: Unit) -> Unit:
        """The unit in which a value published in `published` is shown."""
        for kind, name in self.overrides:
            if kind == published.kind:
                return unit(kind, name)
        name = SYSTEM_UNITS[self.system].get(published.kind, published.name)
        return published if name == published.name else unit(published.kind, name)

    def usual(self, kind: Kind, otherwise: str) -> Unit:
        """The unit in which a computed value of that kind is shown; `otherwise` if nothing was chosen."""
        return self.shown(unit(kind, otherwise))


AS_PUBLISHED = Units()


def choose(system: str | None = None, overrides: Mapping[str, str | None] | None = None) -> Units:
    """Read `units=` and the parameters of PARAMETERS. Raises Invalid with one fault per parameter that cannot be read.

    A pressure or temperature override carries over to absolute pressure or temperature difference.
    """
    faults: list[Fault] = []
    known = next((name for name in SYSTEMS if name == ("published" if system is None else system)), None)
    if known is None:
        faults.append(Fault("units-unknown", f"units must be one of {', '.join(SYSTEMS)}", parameter="units"))
    chosen: dict[Kind, str] = {}
    for parameter, text in (overrides or {}).items():
        if text is None:
            continue
        kind = PARAMETERS[parameter]
        try:
            chosen[kind] = unit(kind, text, parameter=parameter).name
        except Invalid as refusal:
            faults += refusal.faults
    if known is None or faults:
        raise Invalid(faults[0].text, faults)
    if "pressure" in chosen:
        chosen["absolute pressure"] = unit("absolute pressure", f"{chosen['pressure']}(a)").name
    if "temperature" in chosen:
        chosen["temperature difference"] = unit("temperature difference", f"Δ{chosen['temperature']}").name
    return Units(known, tuple(sorted(chosen.items())))
