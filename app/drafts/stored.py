"""The SQL table of drafts, in the shop database."""

from sqlalchemy import Integer, Table
from sqlmodel import Field

from app.access.stored import SHOP, ShopModel
from app.database.metadata import BYTEWISE


class StoredDraft(ShopModel, table=True):
    """A draft: what somebody gave to be entered, never the rows, which are derived each time it is viewed.

    `grids` (`app.drafts.grid.as_json`) and `content` (`app.drafts.content`) are JSON; `bytes` is the size of both.
    `loading_at` is set while it is being loaded; `loaded` is the revision that it became, which closes it.
    """

    __tablename__ = "drafts"

    id: str = Field(primary_key=True, sa_type=BYTEWISE)
    shop: str = Field(sa_type=BYTEWISE, index=True)
    title: str = Field(sa_type=BYTEWISE)
    grids: str = Field(sa_type=BYTEWISE)
    content: str = Field(sa_type=BYTEWISE)
    bytes: int = Field(sa_type=Integer)
    opened_at: str = Field(sa_type=BYTEWISE)
    opened_by: str = Field(sa_type=BYTEWISE)
    changed_at: str = Field(sa_type=BYTEWISE)
    version: int = Field(sa_type=Integer)
    loading_at: str | None = Field(default=None, sa_type=BYTEWISE)
    loaded: int | None = Field(default=None, sa_type=Integer)


DRAFTS: Table = SHOP.tables["drafts"]
