"""Public standards as tables, each row with its standard and how it was verified."""

from app.standards.lookups import (
    KeySize,
    PropertyClass,
    Thread,
    grease_grade,
    key_size,
    key_standards,
    property_class,
    thread,
    viscosity_class,
)
from app.standards.tables import TableAnswer, TableDescription, table, tables

__all__ = [
    "KeySize",
    "PropertyClass",
    "TableAnswer",
    "TableDescription",
    "Thread",
    "grease_grade",
    "key_size",
    "key_standards",
    "property_class",
    "table",
    "tables",
    "thread",
    "viscosity_class",
]
