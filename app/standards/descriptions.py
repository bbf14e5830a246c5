"""What each standard table holds: title, the standard it follows, and every column with its unit and meaning."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Column:
    """One column; `unit` is a unit of measure or None, `kind` says how its cells are read."""

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
    columns: tuple[Column, ...]


_OWN = (
    Column("source", "the standard to look in; no standard document was bought or read in full", kind="text"),
    Column("verified", "how the row was verified; memory means: re-check before relying on it alone", kind="text"),
    Column("notes", "what else to know", kind="text"),
)


def _described(name: str, title: str, standard: str, *columns: Column) -> Description:
    return Description(name, title, standard, (Column("id", "names the row", kind="text"), *columns, *_OWN))


_DESIGNATION = Column("designation", "thread designation", kind="text")
_CLASS = Column("property_class", "strength class as marked on the head", kind="text")
_PITCH = Column("pitch_mm", "pitch", "mm")

DESCRIPTIONS: tuple[Description, ...] = (
    _described(
        "threads",
        "ISO metric threads and their stress areas",
        "ISO 261, ISO 68-1, ISO 724, ISO 898-1",
        _DESIGNATION,
        Column("diameter_mm", "nominal diameter d", "mm"),
        _PITCH,
        Column("series", "coarse or fine", kind="text"),
        Column("pitch_diameter_mm", "basic pitch diameter d2", "mm"),
        Column("minor_diameter_mm", "basic minor diameter d1", "mm"),
        Column("root_diameter_mm", "minor diameter of the external thread d3", "mm"),
        Column("stress_area_computed_mm2", "As = (π/4)·((d2 + d3)/2)²", "mm²"),
        Column("stress_area_mm2", "nominal stress area as tabulated in ISO 898-1", "mm²"),
        Column("tap_drill_mm", "approximate tap drill, diameter less pitch", "mm"),
    ),
    _described(
        "property-classes",
        "Strength of bolts and screws by class",
        "ISO 898-1, ISO 3506-1",
        _CLASS,
        Column("material", "steel or stainless steel", kind="text"),
        Column("diameter_over_mm", "holds above this nominal diameter", "mm"),
        Column("diameter_to_mm", "holds up to and including this nominal diameter", "mm"),
        Column("tensile_nominal_mpa", "nominal tensile strength", "MPa"),
        Column("tensile_min_mpa", "minimum tensile strength", "MPa"),
        Column("yield_nominal_mpa", "nominal yield or 0.2 % proof strength", "MPa"),
        Column("yield_min_mpa", "minimum yield or 0.2 % proof strength", "MPa"),
        Column("proof_stress_mpa", "stress under proof load Sp; ISO 3506-1 gives none", "MPa"),
    ),
    _described(
        "proof-loads",
        "Minimum proof and ultimate tensile loads of bolts and screws",
        "ISO 898-1",
        Column("kind", "proof load or ultimate tensile load", kind="text"),
        _DESIGNATION,
        _PITCH,
        _CLASS,
        Column("load_n", "the load as tabulated, rounded by the standard's own habit", "N"),
    ),
    _described(
        "key-sizes",
        "Hexagon keys of socket screws",
        "ISO 4762, ISO 7380, ISO 10642, ISO 4026",
        Column("standard", "the screw's standard", kind="text"),
        Column("screw", "the kind of screw", kind="text"),
        Column("thread", "coarse thread of that diameter", kind="text"),
        Column("diameter_mm", "nominal diameter", "mm"),
        Column("key_mm", "nominal width across flats of the key", "mm"),
    ),
    _described(
        "retaining-rings",
        "Internal retaining rings for bores",
        "DIN 472",
        Column("bore_mm", "bore d1", "mm"),
        Column("ring_thickness_mm", "ring thickness s", "mm"),
        Column("groove_diameter_mm", "groove diameter d2", "mm"),
        Column("groove_diameter_tolerance_mm", "upper tolerance of d2, the lower is 0", "mm"),
        Column("groove_width_min_mm", "least groove width m", "mm"),
        Column("groove_depth_mm", "groove depth t", "mm"),
        Column("edge_margin_min_mm", "least distance n from groove to edge", "mm"),
        Column("free_diameter_mm", "outside diameter of the free ring d3", "mm"),
        Column("fitted_diameter_mm", "clear diameter inside the lugs while fitting d4", "mm"),
    ),
    _described(
        "o-rings",
        "O-ring sizes",
        "SAE AS568, ISO 3601-1",
        Column("dash_size", "dash number", kind="text"),
        Column("inside_diameter_mm", "inside diameter", "mm"),
        Column("cross_section_mm", "cross-section", "mm"),
        Column("inside_diameter_tolerance_mm", "± tolerance of the inside diameter", "mm"),
        Column("cross_section_tolerance_mm", "± tolerance of the cross-section", "mm"),
        Column("inside_diameter_in", "inside diameter", "in"),
        Column("cross_section_in", "cross-section", "in"),
    ),
    _described(
        "o-ring-squeeze",
        "Squeeze of O-rings in reciprocating glands",
        "ISO 3601-2",
        Column("cross_section_mm", "cross-section", "mm"),
        Column("squeeze_min_percent", "least squeeze of the cross-section", "%"),
        Column("squeeze_max_percent", "most squeeze of the cross-section", "%"),
    ),
    _described(
        "viscosity-classes",
        "Viscosity classes of industrial liquid lubricants",
        "ISO 3448",
        Column("iso_vg", "viscosity class ISO VG"),
        Column("midpoint_mm2_per_s", "midpoint kinematic viscosity", "mm²/s"),
        Column("min_mm2_per_s", "least kinematic viscosity", "mm²/s"),
        Column("max_mm2_per_s", "greatest kinematic viscosity", "mm²/s"),
        Column("temperature_c", "at this temperature", "°C"),
    ),
    _described(
        "grease-grades",
        "Consistency grades of greases",
        "ASTM D217 (NLGI classification)",
        Column("nlgi", "NLGI grade", kind="text"),
        Column("worked_penetration_min", "least worked penetration at 25 °C, 60 strokes", "0.1 mm"),
        Column("worked_penetration_max", "greatest worked penetration at 25 °C, 60 strokes", "0.1 mm"),
    ),
    _described(
        "engine-oil-grades",
        "Engine oil grades, which are not the weights of suspension fluid",
        "SAE J300",
        Column("grade", "SAE viscosity grade", kind="text"),
        Column("viscosity_100_min_mm2_per_s", "least kinematic viscosity at 100 °C", "mm²/s"),
        Column("viscosity_100_below_mm2_per_s", "kinematic viscosity at 100 °C stays below this", "mm²/s"),
        Column("cold_crank_max_mpa_s", "greatest cold cranking viscosity", "mPa·s"),
        Column("cold_crank_temperature_c", "at this temperature", "°C"),
    ),
    _described(
        "atmosphere",
        "Standard atmosphere to 3000 m",
        "ISO 2533",
        Column("altitude_m", "altitude", "m"),
        Column("pressure_geometric_pa", "absolute pressure where the altitude is geometric", "Pa"),
        Column("pressure_geopotential_pa", "absolute pressure where the altitude is geopotential", "Pa"),
        Column("temperature_k", "temperature at that geometric altitude", "K"),
        Column("density_kg_per_m3", "density of air at that geometric altitude", "kg/m³"),
    ),
    _described(
        "bead-seats",
        "Bead seat diameters of bicycle rims",
        "ISO 5775",
        Column("bead_seat_diameter_mm", "bead seat diameter, the second number of the tyre's designation", "mm"),
        Column("trade_names", "what the trade calls it; common practice", kind="text"),
    ),
)
