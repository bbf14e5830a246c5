"""Descriptions of the standard tables: title, the standard it follows, and every column with its unit and meaning."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class DataColumn:
    """One column; `unit` is a unit of measure or None, `kind` says how its cells are parsed."""

    name: str
    meaning: str
    unit: str | None = None
    kind: Literal["number", "text"] = "number"


@dataclass(frozen=True, slots=True)
class Description:
    """One table; its file is data/<name>.csv. Every row ends with source, verified, notes."""

    name: str
    title: str
    standard: str
    columns: tuple[DataColumn, ...]


_OWN = (
    DataColumn("source", "standard to look in; no standard document was bought or read in full", kind="text"),
    DataColumn("verified", "how the row was verified; memory means: check it before you rely on it alone", kind="text"),
    DataColumn("notes", "notes", kind="text"),
)


def _described(name: str, title: str, standard: str, *columns: DataColumn) -> Description:
    return Description(name, title, standard, (DataColumn("id", "identifies the row", kind="text"), *columns, *_OWN))


_DESIGNATION = DataColumn("designation", "thread designation", kind="text")
_CLASS = DataColumn("property_class", "strength class as marked on the head", kind="text")
_PITCH = DataColumn("pitch_mm", "pitch", "mm")

DESCRIPTIONS: tuple[Description, ...] = (
    _described(
        "threads",
        "ISO metric threads and their stress areas",
        "ISO 261, ISO 68-1, ISO 724, ISO 898-1",
        _DESIGNATION,
        DataColumn("diameter_mm", "nominal diameter d", "mm"),
        _PITCH,
        DataColumn("series", "coarse or fine", kind="text"),
        DataColumn("pitch_diameter_mm", "basic pitch diameter d2", "mm"),
        DataColumn("minor_diameter_mm", "basic minor diameter d1", "mm"),
        DataColumn("root_diameter_mm", "minor diameter of the external thread d3", "mm"),
        DataColumn("stress_area_computed_mm2", "As = (π/4)·((d2 + d3)/2)²", "mm²"),
        DataColumn("stress_area_mm2", "nominal stress area as tabulated in ISO 898-1", "mm²"),
        DataColumn("tap_drill_mm", "approximate tap drill, diameter less pitch", "mm"),
    ),
    _described(
        "property-classes",
        "Strength of bolts and screws by class",
        "ISO 898-1, ISO 3506-1",
        _CLASS,
        DataColumn("material", "steel or stainless steel", kind="text"),
        DataColumn("diameter_over_mm", "applies above this nominal diameter", "mm"),
        DataColumn("diameter_to_mm", "applies up to and including this nominal diameter", "mm"),
        DataColumn("tensile_nominal_mpa", "nominal tensile strength", "MPa"),
        DataColumn("tensile_min_mpa", "minimum tensile strength", "MPa"),
        DataColumn("yield_nominal_mpa", "nominal yield or 0.2 % proof strength", "MPa"),
        DataColumn("yield_min_mpa", "minimum yield or 0.2 % proof strength", "MPa"),
        DataColumn("proof_stress_mpa", "stress under proof load Sp; ISO 3506-1 gives none", "MPa"),
    ),
    _described(
        "proof-loads",
        "Minimum proof and ultimate tensile loads of bolts and screws",
        "ISO 898-1",
        DataColumn("kind", "proof load or ultimate tensile load", kind="text"),
        _DESIGNATION,
        _PITCH,
        _CLASS,
        DataColumn("load_n", "load as tabulated, with the standard's rounding", "N"),
    ),
    _described(
        "key-sizes",
        "Hexagon keys of socket screws",
        "ISO 4762, ISO 7380, ISO 10642, ISO 4026",
        DataColumn("standard", "standard of the screw", kind="text"),
        DataColumn("screw", "kind of screw", kind="text"),
        DataColumn("thread", "coarse thread of this diameter", kind="text"),
        DataColumn("diameter_mm", "nominal diameter", "mm"),
        DataColumn("key_mm", "nominal width across flats of the key", "mm"),
    ),
    _described(
        "retaining-rings",
        "Internal retaining rings for bores",
        "DIN 472",
        DataColumn("bore_mm", "bore d1", "mm"),
        DataColumn("ring_thickness_mm", "ring thickness s", "mm"),
        DataColumn("groove_diameter_mm", "groove diameter d2", "mm"),
        DataColumn("groove_diameter_tolerance_mm", "upper tolerance of d2, the lower is 0", "mm"),
        DataColumn("groove_width_min_mm", "minimum groove width m", "mm"),
        DataColumn("groove_depth_mm", "groove depth t", "mm"),
        DataColumn("edge_margin_min_mm", "minimum distance n from groove to edge", "mm"),
        DataColumn("free_diameter_mm", "outside diameter of the free ring d3", "mm"),
        DataColumn("fitted_diameter_mm", "clear diameter d4 inside the lugs while fitting", "mm"),
    ),
    _described(
        "o-rings",
        "O-ring sizes",
        "SAE AS568, ISO 3601-1",
        DataColumn("dash_size", "dash number", kind="text"),
        DataColumn("inside_diameter_mm", "inside diameter", "mm"),
        DataColumn("cross_section_mm", "cross-section", "mm"),
        DataColumn("inside_diameter_tolerance_mm", "± tolerance of the inside diameter", "mm"),
        DataColumn("cross_section_tolerance_mm", "± tolerance of the cross-section", "mm"),
        DataColumn("inside_diameter_in", "inside diameter", "in"),
        DataColumn("cross_section_in", "cross-section", "in"),
    ),
    _described(
        "o-ring-squeeze",
        "Squeeze of O-rings in reciprocating glands",
        "ISO 3601-2",
        DataColumn("cross_section_mm", "cross-section", "mm"),
        DataColumn("squeeze_min_percent", "minimum squeeze of the cross-section", "%"),
        DataColumn("squeeze_max_percent", "maximum squeeze of the cross-section", "%"),
    ),
    _described(
        "viscosity-classes",
        "Viscosity classes of industrial liquid lubricants",
        "ISO 3448",
        DataColumn("iso_vg", "viscosity class ISO VG"),
        DataColumn("midpoint_mm2_per_s", "midpoint kinematic viscosity", "mm²/s"),
        DataColumn("min_mm2_per_s", "minimum kinematic viscosity", "mm²/s"),
        DataColumn("max_mm2_per_s", "maximum kinematic viscosity", "mm²/s"),
        DataColumn("temperature_c", "at this temperature", "°C"),
    ),
    _described(
        "grease-grades",
        "Consistency grades of greases",
        "ASTM D217 (NLGI classification)",
        DataColumn("nlgi", "NLGI grade", kind="text"),
        DataColumn("worked_penetration_min", "minimum worked penetration at 25 °C, 60 strokes", "0.1 mm"),
        DataColumn("worked_penetration_max", "maximum worked penetration at 25 °C, 60 strokes", "0.1 mm"),
    ),
    _described(
        "engine-oil-grades",
        "Engine oil grades, which are not the weights of suspension fluid",
        "SAE J300",
        DataColumn("grade", "SAE viscosity grade", kind="text"),
        DataColumn("viscosity_100_min_mm2_per_s", "minimum kinematic viscosity at 100 °C", "mm²/s"),
        DataColumn("viscosity_100_below_mm2_per_s", "kinematic viscosity at 100 °C is below this", "mm²/s"),
        DataColumn("cold_crank_max_mpa_s", "maximum cold cranking viscosity", "mPa·s"),
        DataColumn("cold_crank_temperature_c", "at this temperature", "°C"),
    ),
    _described(
        "atmosphere",
        "Standard atmosphere to 3000 m",
        "ISO 2533",
        DataColumn("altitude_m", "altitude", "m"),
        DataColumn("pressure_geometric_pa", "absolute pressure if the altitude is geometric", "Pa"),
        DataColumn("pressure_geopotential_pa", "absolute pressure if the altitude is geopotential", "Pa"),
        DataColumn("temperature_k", "temperature at this geometric altitude", "K"),
        DataColumn("density_kg_per_m3", "density of air at this geometric altitude", "kg/m³"),
    ),
    _described(
        "bead-seats",
        "Bead seat diameters of bicycle rims",
        "ISO 5775",
        DataColumn("bead_seat_diameter_mm", "bead seat diameter, the second number of the tyre's designation", "mm"),
        DataColumn("trade_names", "name in the trade; common practice", kind="text"),
    ),
)
