"""each revision has a hash chained over the records of all revisions up to it"""

import hashlib
import json

from alembic import op
import sqlalchemy as sa


revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")
AT_ONCE = 1000


def upgrade() -> None:
    op.add_column("revisions", sa.Column("lineage", BYTEWISE, nullable=True))
    stored = sa.table("revisions", *(sa.column(name) for name in ("number", "recorded_at", "reason", "who", "lineage")))
    records = sa.select(*(stored.c[name] for name in ("number", "recorded_at", "reason", "who")))
    fill = sa.update(stored).where(stored.c.number == sa.bindparam("of")).values(lineage=sa.bindparam("hash"))
    connection, lineage, last = op.get_bind(), "0" * 16, 0
    while True:
        wanted = records.where(stored.c.number > last).order_by(stored.c.number).limit(AT_ONCE)
        hashes = []
        for record in connection.execute(wanted).fetchall():
            text = json.dumps([lineage, *record], ensure_ascii=False, separators=(",", ":"))
            lineage, last = hashlib.sha256(text.encode()).hexdigest()[:16], record.number
            hashes.append({"of": last, "hash": lineage})
        if not hashes:
            break
        connection.execute(fill, hashes)
    with op.batch_alter_table("revisions") as table:
        table.alter_column("lineage", existing_type=BYTEWISE, nullable=False)


def downgrade() -> None:
    op.drop_column("revisions", "lineage")
