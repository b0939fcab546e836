"""Old records are brought up to date; the newest schema is the same, made or migrated to."""

import gzip
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import Connection, create_engine, text
from sqlalchemy.engine import make_url

from station.core.results import Decision
from station.core.verification import VerificationValue
from station.errors import RecordError
from station.records import Head, Records
from station.records.migrate import migrate
from station.records.placings import lot_pockets, place_unit
from tests.records.makers import START, make_opened, make_plan, make_record, make_verification

_FILES = Path(__file__).parent / "files"
# Heads of the chains in the old file, noted when it was made.
_OLD_HEADS = (
    Head("bench-1", 5, "4d714b789e2dd78aaed514231ce71e737e0f732b1253e25b1cca27366d0e7071"),
    Head("", 3, "6f322b8f96483f462a505089d09844a741885afda484b5e6d8e21e8e1087929b"),
)
_HEADS_2 = (
    Head("bench-1", 3, "cf188fe589ec0b78affe555d6fdf22c56c293486f59325bcc0be8cdb49b38f78"),
    Head("", 3, "52a0cf663ec9917f9ccf6596c40e563d6877df1c499ba2ccae7ca43fcc0b391e"),
)
_HEADS_3 = (
    Head("bench-1", 6, "5372fc90adf3b18522ebf5ab8eeb48b67acb1dcc564328bca689598df947319c"),
    Head("", 2, "b561938974bbf7d17b7b620b5a8e019b3996d41b5db862584402b8a814ab8422"),
)


@pytest.fixture
def old_home(tmp_path: Path) -> Path:
    """A home with records of schema 1, made by the version that had it."""
    return _unpack("schema_0001", tmp_path)


def _unpack(name: str, home: Path) -> Path:
    (home / "records.sqlite3").write_bytes(gzip.decompress((_FILES / f"{name}.sqlite3.gz").read_bytes()))
    (home / "records.key").write_bytes((_FILES / f"{name}.key").read_bytes())
    return home


@pytest.mark.slow
def test_old_records_are_whole_when_migrated(old_home: Path) -> None:
    """Everything of schema 1 is there afterwards, its chains unbroken."""
    with Records.open(old_home) as records:
        report = records.check(heads=_OLD_HEADS)
        runs = {each: records.run(f"old-{each}").decision for each in "ABC"}
        again = records.later_decisions("old-B")
        summary = records.lot_summary("L2641")
        verification = records.latest_verification("bench-1", "nest-1")

    assert () == report.faults
    assert {"A": Decision.PASS, "B": Decision.FAIL, "C": Decision.INVALID} == runs
    assert ["C-12"] == [each.concession for each in again]
    assert (3, 2, 0, 1, 0) == (summary.units, summary.passed, summary.failed, summary.invalid, summary.held)
    assert make_verification() == verification


@pytest.mark.slow
def test_old_records_take_new_runs_when_migrated(old_home: Path) -> None:
    """What schema 1 left open is closed, new runs and kept plans go on behind it."""
    plan = make_plan(title="draft")
    with Records.open(old_home) as records:
        closed = records.close_unfinished("bench-1", closed_utc=START)
        record = make_record(make_opened("L2641-01-E01"))
        records.open_run(record.opened)
        number = records.close_run(record)
        records.keep_plan(plan)
        kept = records.plan_text(plan.text_hash)
        sound = records.check(heads=_OLD_HEADS).sound

    assert (["old-D"], 7, plan.source_text, True) == (closed, number, kept, sound)


@pytest.mark.slow
def test_records_of_schema_2_take_values_and_services_when_migrated(tmp_path: Path) -> None:
    """Everything of schema 2 is there, its chains unbroken; verifications now keep their values."""
    home = _unpack("schema_0002", tmp_path)
    value = VerificationValue("L2600-01-A01", "R20", "ohm", 7.05, True, assigned=7.051)
    with Records.open(home) as records:
        before = records.check(heads=_HEADS_2).sound
        draft = records.plan_text(make_plan(title="draft").text_hash)
        records.add_verification(make_verification(2), values=[value])
        values = records.verification_values("verification-2")
        old_values = records.verification_values("verification-1")
        after = records.check(heads=_HEADS_2).sound

    assert (True, make_plan(title="draft").source_text) == (before, draft)
    assert ((value,), (), True) == (values, old_values, after)


@pytest.mark.slow
def test_records_of_schema_3_take_placings_when_migrated(tmp_path: Path) -> None:
    """Everything of schema 3 is there, its chains unbroken; its units lie nowhere yet, and can be placed."""
    home = _unpack("schema_0003", tmp_path)
    with Records.open(home) as records:
        before = records.check(heads=_HEADS_3).sound
        values = [each.value for each in records.verification_values("verification-1")]
        services = [each.contact_cycles for each in records.fixture_services("bench-1")]
        old = lot_pockets(records, ("L2641",))
        pocket = place_unit(
            records, "L2641-01-A01", "T7", decision=Decision.PASS, who="OP-07", why="sorted", utc=START
        )
        new = lot_pockets(records, ("L2641",))
        after = records.check(heads=_HEADS_3).sound

    assert (True, [7.05], [120], {}) == (before, values, services, old)
    assert (1, {"L2641-01-A01": ("T7", 1)}, True) == (pocket, new, after)


@pytest.mark.slow
def test_schema_is_the_same_when_made_or_migrated_sqlite(tmp_path: Path) -> None:
    """Making the tables and running every migration give the same SQLite schema."""
    for name in ("made", "migrated"):
        (tmp_path / name).mkdir()
    Records.open(tmp_path / "made").close()
    query = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE '%alembic_version%' ORDER BY name"
    schemas = [
        _rows(f"sqlite:///{tmp_path / 'made' / 'records.sqlite3'}", query),
        _rows(f"sqlite:///{tmp_path / 'migrated' / 'records.sqlite3'}", query, first=migrate),
    ]

    assert schemas[0] == schemas[1]


@pytest.mark.slow
def test_schema_is_the_same_when_made_or_migrated_postgresql(postgresql_url: str, tmp_path: Path) -> None:
    """The same on PostgreSQL: columns, constraints, indexes, triggers."""
    query = """
        SELECT table_name || '.' || column_name, data_type || is_nullable FROM information_schema.columns
         WHERE table_schema = 'public' AND table_name <> 'alembic_version'
        UNION ALL SELECT conrelid::regclass || '.' || conname, pg_get_constraintdef(oid) FROM pg_constraint
         WHERE connamespace = 'public'::regnamespace AND conrelid::regclass::text <> 'alembic_version'
        UNION ALL SELECT indexname, indexdef FROM pg_indexes
         WHERE schemaname = 'public' AND tablename <> 'alembic_version'
        UNION ALL SELECT tgrelid::regclass || '.' || tgname, pg_get_triggerdef(oid) FROM pg_trigger
         WHERE NOT tgisinternal ORDER BY 1, 2
    """
    url = make_url(postgresql_url).set(drivername="postgresql+psycopg").render_as_string(hide_password=False)
    Records.open(tmp_path, url=postgresql_url).close()
    made = _rows(url, query)
    _rows(url, "SELECT 1", first=_empty_postgresql)
    migrated = _rows(url, query, first=migrate)

    assert made == migrated


def test_newer_schema_is_refused(tmp_path: Path) -> None:
    """Records of a newer version are left alone."""
    Records.open(tmp_path).close()
    url = f"sqlite:///{tmp_path / 'records.sqlite3'}"
    _rows(url, "SELECT 1", first=lambda c: c.execute(text("UPDATE alembic_version SET version_num = '9999'")))
    with pytest.raises(RecordError, match=r"newer version \(schema 9999.*Install the newer"):
        Records.open(tmp_path)


@pytest.mark.slow
def test_nothing_heavy_is_imported_before_it_is_due(tmp_path: Path) -> None:
    """Importing the records imports no database library; opening up-to-date ones imports no Alembic."""
    script = (
        "import sys; from pathlib import Path; from station.records import Records\n"
        "print('sqlalchemy' in sys.modules)\n"
        f"Records.open(Path({str(tmp_path)!r})).close(); Records.open(Path({str(tmp_path)!r})).close()\n"
        "print('sqlalchemy' in sys.modules, 'alembic' in sys.modules, 'numpy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert ["False", "True False False"] == done.stdout.splitlines()


def _rows(url: str, query: str, *, first: object = None) -> list[tuple[object, ...]]:
    engine = create_engine(url)
    try:
        with engine.begin() as connection:
            if callable(first):
                first(connection)
            return [tuple(row) for row in connection.execute(text(query))]
    finally:
        engine.dispose()


def _empty_postgresql(connection: Connection) -> None:
    connection.execute(text("DROP SCHEMA public CASCADE"))
    connection.execute(text("CREATE SCHEMA public"))
