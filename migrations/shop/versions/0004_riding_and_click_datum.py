"""the kind of riding of forks and services; clicks noted so far get the datum of the form they were noted by"""

import json

from alembic import op
import sqlalchemy as sa


revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

TEXT = sa.String().with_variant(sa.String(collation="C"), "postgresql")
CLICKS = ("rebound_clicks", "compression_clicks")
SERVICES = sa.table("services", sa.column("fork"), sa.column("number"), sa.column("done"))


def upgrade() -> None:
    op.add_column("forks", sa.Column("riding", TEXT, nullable=True))
    op.add_column("services", sa.Column("riding", TEXT, nullable=True))
    # The log has said "from closed" of every click until now.
    _each_measured(lambda measured: measured.setdefault("clicks_from", "closed"))


def downgrade() -> None:
    names = ("clicks_from", "rebound_clicks_total", "compression_clicks_total")
    _each_measured(lambda measured: [measured.pop(name, None) for name in names])
    with op.batch_alter_table("services") as services:
        services.drop_column("riding")
    with op.batch_alter_table("forks") as forks:
        forks.drop_column("riding")


def _each_measured(change) -> None:
    """Change what was measured in every service that has clicks."""
    connection = op.get_bind()
    for row in connection.execute(sa.select(SERVICES)).fetchall():
        done = json.loads(row.done)
        if not any(name in done["measured"] for name in CLICKS):
            continue
        change(done["measured"])
        text = json.dumps(done, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        same = (SERVICES.c.fork == row.fork, SERVICES.c.number == row.number)
        connection.execute(sa.update(SERVICES).where(*same).values(done=text))
