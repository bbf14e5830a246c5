"""The SQL tables of the shop database; so far it holds none."""

from sqlalchemy import MetaData

SHOP = MetaData(
    naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s_%(column_0_N_name)s"}
)
