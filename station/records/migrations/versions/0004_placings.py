"""Keep in which pocket of which tray a unit lies after sorting."""

import sqlalchemy as sa
from alembic import op

from station.records.append_only import append_only_ddl

revision = "0004"
down_revision = "0003"

_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make table `placing`."""
    op.create_table(
        "placing",
        sa.Column("placing_key", _KEY, sa.Identity(), nullable=False),
        sa.Column("unit_key", _KEY, nullable=False),
        _words("tray"),
        sa.Column("pocket", sa.Integer(), nullable=False),
        _words("decision"),
        _words("who"),
        _words("why"),
        _words("utc"),
        sa.PrimaryKeyConstraint("placing_key", name="pk_placing"),
        sa.ForeignKeyConstraint(["unit_key"], ["unit.unit_key"], name="fk_placing_unit_key_unit"),
        sqlite_strict=True,
    )
    op.create_index("ix_placing_unit_key", "placing", ["unit_key"])
    op.create_index("ix_placing_tray_pocket", "placing", ["tray", "pocket"])
    for statement in append_only_ddl(op.get_bind().dialect.name, ("placing",)):
        op.execute(statement)


def _words(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)
