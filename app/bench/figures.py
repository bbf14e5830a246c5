"""Figures of the bench log: stored digit for digit with their unit, shown as quantities."""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from app.bench.shapes import (
    CONFIGURATION,
    Configuration,
    ConfigurationView,
    Figure,
    Measured,
    MeasuredView,
)
from app.catalogue.columns import write_number
from app.json_types import JsonObject
from app.units.counts import AdjusterCount, clicks_view
from app.units.measure import Measure
from app.units.quantity import Quantity, quantity
from app.units.table import Kind

KINDS: dict[str, Kind] = {
    "pressure": "pressure", "second_pressure": "pressure", "sag": "length", "rider_mass": "mass",
    "exposed_stanchion": "length", "axle_to_crown": "length",
}  # fmt: skip

USUAL: dict[Kind, str] = {"length": "mm", "pressure": "psi", "mass": "kg"}
"""The unit of a figure that is given without one."""

ADJUSTERS = ("rebound_clicks", "compression_clicks")


def figure_of(measure: Measure) -> Figure:
    """A measure as it was given."""
    return {"value": f"{measure.given_value:f}", "unit": measure.given_unit}


def text_of(figure: Figure) -> str:
    """A figure as a parameter value, such as `72psi`."""
    return f"{figure['value']}{figure['unit']}"


def shown(name: str, figure: Figure) -> Quantity:
    """The quantity of a figure with that name."""
    return quantity(KINDS[name], Decimal(figure["value"]), figure["unit"], basis="measured")


def configuration_view(configuration: Configuration) -> ConfigurationView:
    """A configuration as answers show it."""
    found: Any = {name: value for name, value in configuration.items() if name != "travel_mm"}
    if "travel_mm" in configuration:
        found["travel"] = quantity("length", Decimal(write_number(configuration["travel_mm"])), "mm")
    return found  # type: ignore[no-any-return]


def measured_view(measured: Measured) -> MeasuredView:
    """The measured values as answers show them."""
    noted: JsonObject = dict(measured)
    found: Any = {name: shown(name, noted[name]) for name in KINDS if name in noted}
    for name in ADJUSTERS:
        if name in noted:
            found[name] = clicks_view(AdjusterCount(noted[name]), noted.get("clicks_from"), noted.get(f"{name}_total"))
    if "sags" in measured:
        found["sags"] = [
            {"sag": shown("sag", each["sag"]), "pressure": shown("pressure", each["pressure"])}
            for each in measured["sags"]
        ]
    return found  # type: ignore[no-any-return]


def hours_view(hours: Decimal) -> Quantity:
    """A number of riding hours."""
    return quantity("duration", Decimal(write_number(float(hours))), "h")


def written(content: Mapping[str, object]) -> str:
    """Canonical JSON: equal content gives equal text."""
    return json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def read_configuration(text: str) -> Configuration:
    """A stored configuration."""
    return CONFIGURATION.validate_json(text)
