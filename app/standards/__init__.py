"""Public standards as tables, each row with its standard and how it was verified."""

from app.standards.lookups import (
    KeySize,
    MetricThread,
    PropertyClass,
    key_size,
    property_class,
    thread,
)
from app.standards.tables import TableAnswer, TableDescription, table, tables

__all__ = [
    "KeySize",
    "MetricThread",
    "PropertyClass",
    "TableAnswer",
    "TableDescription",
    "key_size",
    "property_class",
    "table",
    "tables",
    "thread",
]
