"""The tables. SQLite and PostgreSQL alike; what differs between them is said in the types and options here.

Rows are added, never changed: triggers (`append_only.py`) hold everybody to it. The one exception is
`unfinished`, the short list of runs that were opened and not closed yet. Keys called `*_key` are the
database's own small integers and appear in no digest and no export; names, serials and ids are what counts.

Times are ISO 8601 text in UTC with microseconds. Numbers are SI, unscaled, 64 bit.
"""

from typing import Any

from sqlalchemy import (
    REAL,
    BigInteger,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    Identity,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.types import TypeEngine

SCHEMA_VERSION = "0004"
"""The newest migration; the one row of `alembic_version` says which a database has."""

_NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

metadata = MetaData(naming_convention=_NAMES)

# STRICT tables take only INTEGER, REAL, TEXT and BLOB; PostgreSQL's REAL has 32 bit, its INTEGER too.
Key = BigInteger().with_variant(Integer(), "sqlite")
Number: TypeEngine[float] = REAL().with_variant(Double(), "postgresql")

_ROWS: dict[str, Any] = {"sqlite_strict": True}
# A table whose primary key is the way it is always read needs no second tree. Not for rows with blobs.
_KEYED: dict[str, Any] = {"sqlite_strict": True, "sqlite_with_rowid": False}


def _own_key(name: str) -> Column[int]:
    return Column(name, Key, Identity(), primary_key=True)


def _words(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


def _flag(name: str) -> Column[int]:
    return Column(name, Integer, CheckConstraint(f'"{name}" IN (0, 1)', name=name), nullable=False)


def _link(name: str, target: str, *, primary_key: bool = False, nullable: bool = False) -> Column[int]:
    return Column(name, Key, ForeignKey(target), primary_key=primary_key, nullable=nullable)


alembic_version = Table("alembic_version", metadata, Column("version_num", Text, primary_key=True), **_KEYED)

seal = Table(
    "seal",
    metadata,
    # Which key file the digests were made with; the key itself is never in here.
    Column("key_fingerprint", Text, primary_key=True),
    _words("made_utc"),
    **_KEYED,
)

lot = Table(
    "lot",
    metadata,
    _own_key("lot_key"),
    Column("lot", Text, nullable=False, unique=True),
    _flag("simulated"),
    **_ROWS,
)

unit = Table(
    "unit",
    metadata,
    _own_key("unit_key"),
    Column("serial", Text, nullable=False, unique=True),
    _link("lot_key", "lot.lot_key"),
    _words("panel"),
    _words("row"),
    _words("column"),
    Index(None, "lot_key"),
    **_ROWS,
)

unit_position = Table(
    "unit_position",
    metadata,
    # How many units of its lot and panel were decided when this one was: what frequencies count by.
    _link("unit_key", "unit.unit_key", primary_key=True),
    _link("lot_key", "lot.lot_key"),
    _words("panel"),
    Column("in_lot", Integer, nullable=False),
    Column("in_panel", Integer, nullable=False),
    UniqueConstraint("lot_key", "in_lot"),
    UniqueConstraint("lot_key", "panel", "in_panel"),
    **_ROWS,
)

plan_revision = Table(
    "plan_revision",
    metadata,
    Column("plan_hash", Text, primary_key=True),
    _words("part"),
    Column("revision", Integer, nullable=False),
    _words("title"),
    _words("source_text"),
    _words("who"),
    _words("why"),
    _words("released_utc"),
    UniqueConstraint("part", "revision"),
    **_ROWS,
)

plan_text = Table(
    "plan_text",
    metadata,
    # The plans that runs followed and nobody released: the hash proves the text.
    Column("plan_hash", Text, primary_key=True),
    _words("source_text"),
    **_ROWS,
)

run_opened = Table(
    "run_opened",
    metadata,
    _own_key("run_key"),
    Column("run_id", Text, nullable=False, unique=True),
    _link("unit_key", "unit.unit_key"),
    _words("part"),
    # No foreign key: an engineering run may follow a draft.
    _words("plan_hash"),
    _words("bench"),
    _words("nest"),
    _words("operator"),
    _words("purpose"),
    _flag("simulated"),
    _words("opened_utc"),
    _words("software_version"),
    _words("repeats_run_id"),
    Index(None, "unit_key", "purpose"),
    **_ROWS,
)

unfinished = Table(
    "unfinished",
    metadata,
    _link("run_key", "run_opened.run_key", primary_key=True),
    **_ROWS,
)

run = Table(
    "run",
    metadata,
    _link("run_key", "run_opened.run_key", primary_key=True),
    _words("closed_utc"),
    _flag("drive_off_verified"),
    _words("verification_id"),
    Column("clock_speed", Number, nullable=False),
    # Text: a seed may have more than 64 bits.
    Column("seed", Text),
    Index(
        "ix_run_verification_id",
        "verification_id",
        sqlite_where=text("verification_id <> ''"),
        postgresql_where=text("verification_id <> ''"),
    ),
    **_ROWS,
)

result = Table(
    "result",
    metadata,
    _link("run_key", "run_opened.run_key", primary_key=True),
    Column("characteristic", Text, primary_key=True),
    # Places in the run's results and judgements; one of the two may be missing.
    Column("result_place", Integer),
    Column("judgement_place", Integer),
    Column("unit_symbol", Text),
    Column("status", Text),
    Column("value", Number),
    Column("standard_uncertainty", Number),
    Column("degrees_of_freedom", Number),
    Column("expanded_uncertainty", Number),
    Column("reason_code", Text),
    Column("reason_words", Text),
    Column("reason_remedy", Text),
    Column("first_message", Integer),
    Column("past_message", Integer),
    Column("judgement", Text),
    Column("conditional", Integer),
    Column("acceptance_lower", Number),
    Column("acceptance_upper", Number),
    Column("judgement_code", Text),
    Column("judgement_words", Text),
    Column("judgement_remedy", Text),
    Index(
        "ix_result_failures",
        "characteristic",
        "judgement",
        sqlite_where=text("judgement IN ('FAIL', 'INVALID')"),
        postgresql_where=text("judgement IN ('FAIL', 'INVALID')"),
    ),
    **_KEYED,
)

budget = Table(
    "budget",
    metadata,
    # Uncertainty terms of all results of a run, apart from them: they are wide and seldom read.
    _link("run_key", "run_opened.run_key", primary_key=True),
    Column("format", Integer, nullable=False),
    Column("data", LargeBinary, nullable=False),
    **_ROWS,
)

decision = Table(
    "decision",
    metadata,
    _own_key("decision_key"),
    _link("run_key", "run_opened.run_key"),
    # 0 is the decision of the run itself; 1, 2, ... judge the same run again.
    Column("place", Integer, nullable=False),
    _words("plan_hash"),
    _words("decision"),
    Column("reason_code", Text),
    Column("reason_words", Text),
    Column("reason_remedy", Text),
    Column("bin_number", Integer, nullable=False),
    _words("bin_name"),
    _flag("held"),
    _words("concession"),
    _words("who"),
    _words("why"),
    _words("decided_utc"),
    # Null at place 0: its judgements stand beside the results.
    Column("judgements", Text),
    UniqueConstraint("run_key", "place"),
    **_ROWS,
)

hold = Table(
    "hold",
    metadata,
    _own_key("hold_key"),
    _link("unit_key", "unit.unit_key"),
    _link("run_key", "run_opened.run_key", nullable=True),
    _flag("held"),
    _words("reason_code"),
    _words("who"),
    _words("why"),
    _words("utc"),
    Index(None, "unit_key"),
    Index(None, "run_key"),
    **_ROWS,
)

trace = Table(
    "trace",
    metadata,
    _link("run_key", "run_opened.run_key", primary_key=True),
    Column("place", Integer, primary_key=True, autoincrement=False),
    _words("name"),
    # JSON: [[column name, length], ...]; the data are those columns one after the other, float64, LSB first.
    _words("columns"),
    Column("data", LargeBinary, nullable=False),
    **_ROWS,
)

transcript = Table(
    "transcript",
    metadata,
    _link("run_key", "run_opened.run_key", primary_key=True),
    Column("format", Integer, nullable=False),
    Column("data", LargeBinary, nullable=False),
    **_ROWS,
)

instrument_identity = Table(
    "instrument_identity",
    metadata,
    _own_key("identity_key"),
    _words("name"),
    _words("identity"),
    _words("calibration_due"),
    UniqueConstraint("name", "identity", "calibration_due"),
    **_ROWS,
)

run_identity = Table(
    "run_identity",
    metadata,
    _link("run_key", "run_opened.run_key", primary_key=True),
    Column("place", Integer, primary_key=True, autoincrement=False),
    _link("identity_key", "instrument_identity.identity_key"),
    **_KEYED,
)

verification = Table(
    "verification",
    metadata,
    _own_key("verification_key"),
    Column("verification_id", Text, nullable=False, unique=True),
    _words("bench"),
    _words("nest"),
    _words("fixture_identity"),
    _words("part"),
    _words("done_utc"),
    _flag("verified"),
    _words("verified_until_utc"),
    Column("unit_limit", Integer, nullable=False),
    _words("operator"),
    _words("words"),
    # JSON list.
    _words("run_ids"),
    Index(None, "bench", "nest"),
    **_ROWS,
)

verification_value = Table(
    "verification_value",
    metadata,
    # What a verification rests on, to be drawn over time; in the chain as one entry of kind "values".
    _link("verification_key", "verification.verification_key", primary_key=True),
    Column("place", Integer, primary_key=True, autoincrement=False),
    # A reference unit's serial; empty: the bench itself.
    _words("subject"),
    _words("characteristic"),
    _words("unit_symbol"),
    Column("value", Number),
    _flag("agrees"),
    _words("words"),
    Column("expanded_uncertainty", Number),
    Column("assigned", Number),
    Column("assigned_uncertainty", Number),
    Column("lower", Number),
    Column("upper", Number),
    _words("run_id"),
    **_KEYED,
)

verification_plan = Table(
    "verification_plan",
    metadata,
    # The plan that the reference units were measured with; part of the verification's own entry in the chain.
    _link("verification_key", "verification.verification_key", primary_key=True),
    _words("plan_hash"),
    **_ROWS,
)

fixture_service = Table(
    "fixture_service",
    metadata,
    # The cleaning log: a fixture was cleaned, or got other probes, at so many contact cycles.
    _own_key("service_key"),
    _words("bench"),
    _words("nest"),
    _words("fixture_identity"),
    _words("action"),
    Column("contact_cycles", Integer, nullable=False),
    _words("who"),
    _words("why"),
    _words("utc"),
    Index(None, "bench", "nest"),
    **_ROWS,
)

placing = Table(
    "placing",
    metadata,
    # Where a unit lies after sorting; a unit's latest row counts. A pocket's latest row names who may still lie in it.
    _own_key("placing_key"),
    _link("unit_key", "unit.unit_key"),
    # Empty: taken out; the pocket is 0 then.
    _words("tray"),
    Column("pocket", Integer, nullable=False),
    # What the unit was when it was placed: good units and others never share a tray.
    _words("decision"),
    _words("who"),
    _words("why"),
    _words("utc"),
    Index(None, "unit_key"),
    Index(None, "tray", "pocket"),
    **_ROWS,
)

audit_entry = Table(
    "audit_entry",
    metadata,
    _own_key("audit_key"),
    _words("utc"),
    _words("who"),
    _words("action"),
    _words("subject"),
    _words("why"),
    Index(None, "subject"),
    **_ROWS,
)

chain = Table(
    "chain",
    metadata,
    _own_key("chain_key"),
    # Empty: what belongs to the station and no one bench (plans, holds, audit entries).
    _words("bench"),
    Column("seq", Integer, nullable=False),
    _words("kind"),
    _words("subject"),
    Column("format", Integer, nullable=False),
    Column("content", LargeBinary, nullable=False),
    Column("previous", LargeBinary, nullable=False),
    Column("digest", LargeBinary, nullable=False),
    UniqueConstraint("bench", "seq"),
    UniqueConstraint("kind", "subject"),
    **_ROWS,
)

APPEND_ONLY: tuple[Table, ...] = tuple(
    each for each in metadata.sorted_tables if each.name not in {"alembic_version", "unfinished"}
)
