"""Keep each value of a verification, to be drawn over time, and when a fixture was cleaned or got other probes."""

import sqlalchemy as sa
from alembic import op

from station.records.append_only import append_only_ddl

revision = "0003"
down_revision = "0002"

_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_NUMBER: sa.types.TypeEngine[float] = sa.REAL().with_variant(sa.Double(), "postgresql")


def upgrade() -> None:
    """Make tables `verification_value`, `verification_plan` and `fixture_service`."""
    _make_values()
    _make_plans()
    _make_services()
    tables = ("verification_value", "verification_plan", "fixture_service")
    for statement in append_only_ddl(op.get_bind().dialect.name, tables):
        op.execute(statement)


def _words(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def _make_values() -> None:
    agrees = sa.CheckConstraint('"agrees" IN (0, 1)', name=op.f("ck_verification_value_agrees"))
    op.create_table(
        "verification_value",
        sa.Column("verification_key", _KEY, nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        _words("subject"),
        _words("characteristic"),
        _words("unit_symbol"),
        sa.Column("value", _NUMBER),
        sa.Column("agrees", sa.Integer(), agrees, nullable=False),
        _words("words"),
        sa.Column("expanded_uncertainty", _NUMBER),
        sa.Column("assigned", _NUMBER),
        sa.Column("assigned_uncertainty", _NUMBER),
        sa.Column("lower", _NUMBER),
        sa.Column("upper", _NUMBER),
        _words("run_id"),
        sa.PrimaryKeyConstraint("verification_key", "place", name="pk_verification_value"),
        sa.ForeignKeyConstraint(
            ["verification_key"],
            ["verification.verification_key"],
            name="fk_verification_value_verification_key_verification",
        ),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )


def _make_plans() -> None:
    op.create_table(
        "verification_plan",
        sa.Column("verification_key", _KEY, nullable=False),
        _words("plan_hash"),
        sa.PrimaryKeyConstraint("verification_key", name="pk_verification_plan"),
        sa.ForeignKeyConstraint(
            ["verification_key"],
            ["verification.verification_key"],
            name="fk_verification_plan_verification_key_verification",
        ),
        sqlite_strict=True,
    )


def _make_services() -> None:
    op.create_table(
        "fixture_service",
        sa.Column("service_key", _KEY, sa.Identity(), nullable=False),
        _words("bench"),
        _words("nest"),
        _words("fixture_identity"),
        _words("action"),
        sa.Column("contact_cycles", sa.Integer(), nullable=False),
        _words("who"),
        _words("why"),
        _words("utc"),
        sa.PrimaryKeyConstraint("service_key", name="pk_fixture_service"),
        sqlite_strict=True,
    )
    op.create_index("ix_fixture_service_bench_nest", "fixture_service", ["bench", "nest"])
