"""Text types and index names for both databases, so that the two engines sort and migrate alike."""

from sqlalchemy import MetaData, String

BYTEWISE = String().with_variant(String(collation="C"), "postgresql")
"""Text that both engines compare byte by byte."""


def new_metadata() -> MetaData:
    """The metadata of one database; an index without a name is named after table and column, as in the migrations."""
    names = {"ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s_%(column_0_N_name)s"}
    return MetaData(naming_convention=names)
