"""Keep the text of every plan that a run followed, drafts too: their hash alone can't be read again."""

import sqlalchemy as sa
from alembic import op

from station.records.append_only import append_only_ddl

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make table `plan_text`."""
    op.create_table(
        "plan_text",
        sa.Column("plan_hash", sa.Text(), nullable=False),
        sa.Column("source_text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("plan_hash", name="pk_plan_text"),
        sqlite_strict=True,
    )
    for statement in append_only_ddl(op.get_bind().dialect.name, ("plan_text",)):
        op.execute(statement)
