"""Whatever a run holds comes back the same, and damaged contents are told, not believed."""

import math
import shutil
import sqlite3
import zlib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from station.core.results import Decision, Judgement, Reason, Result, ResultStatus, Shape, Term
from station.core.run_record import InstrumentIdentity, RunRecord, Trace, TranscriptMessage
from station.errors import RecordError
from station.records import Records
from tests.records.makers import make_opened, make_record

_TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20)
_NAME = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=20)
_NUMBER = st.floats(allow_nan=False)
_MAYBE = st.none() | _NUMBER
_REASON = st.none() | st.builds(Reason, _TEXT, _TEXT, _TEXT)
# The zone comes back as UTC itself.
_WHEN = st.datetimes(datetime(1, 1, 2), datetime(9999, 12, 30), timezones=st.just(UTC))
_TERMS = st.lists(
    st.builds(Term, _TEXT, _NUMBER, st.just(math.inf) | st.floats(0, 1e9, exclude_min=True), st.sampled_from(Shape)),
    max_size=3,
).map(tuple)
_RESULT = st.builds(
    Result,
    _NAME, _TEXT, st.sampled_from(ResultStatus), _MAYBE, _MAYBE, _MAYBE, _MAYBE, _TERMS, _REASON,
    st.none() | st.tuples(st.integers(0, 1000), st.integers(0, 1000)),
)  # fmt: skip
_JUDGEMENT = st.builds(Judgement, _NAME, st.none() | st.sampled_from(Decision), st.booleans(), _MAYBE, _MAYBE, _REASON)
_COLUMN = st.tuples(_TEXT, st.lists(_NUMBER, max_size=5).map(tuple))
_TRACE = st.builds(Trace, _TEXT, st.lists(_COLUMN, max_size=3).map(tuple))
_MESSAGE = st.builds(TranscriptMessage, _TEXT, st.sampled_from(["out", "in"]), _NUMBER, st.binary(max_size=30))


def _tuple_of(each: st.SearchStrategy, *, unique: bool = False) -> st.SearchStrategy:
    key = (lambda item: item.characteristic) if unique else None
    return st.lists(each, max_size=4, unique_by=key).map(tuple)


_RECORD = st.builds(
    RunRecord,
    opened=st.builds(make_opened),
    closed_utc=_WHEN,
    results=_tuple_of(_RESULT, unique=True),
    judgements=_tuple_of(_JUDGEMENT, unique=True),
    decision=st.sampled_from(Decision),
    reason=_REASON,
    bin_number=st.integers(-(2**31), 2**31 - 1),
    bin_name=_TEXT,
    held=st.booleans(),
    traces=_tuple_of(_TRACE),
    identities=_tuple_of(st.builds(InstrumentIdentity, _TEXT, _TEXT, _TEXT)),
    transcript=_tuple_of(_MESSAGE),
    drive_off_verified=st.booleans(),
    verification_id=_TEXT,
    clock_speed=st.floats(allow_nan=False),
    seed=st.none() | st.integers(),
)
_numbers: Iterator[int] = count()


@pytest.mark.slow
@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(record=_RECORD)
def test_any_run_comes_back_the_same(records: Records, record: RunRecord) -> None:
    """Texts of every script, infinities, denormal numbers, any order, nothing at all: the same comes back."""
    opened = make_opened(f"unit {next(_numbers)}")
    record = replace(record, opened=opened)
    records.open_run(opened)
    records.close_run(record)

    assert record == records.run(opened.run_id)
    assert records.check().sound


def test_digest_holds_when_zero_is_negative(records: Records) -> None:
    """SQLite keeps -0.0 as 0.0; the digest is made of what is kept."""
    record = make_record(make_opened(), r20_ohm=-0.0)
    records.open_run(record.opened)
    records.close_run(record)

    assert records.check().sound


_ODD_BUDGET = zlib.compress(b'{"R20": [1]}').hex()


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with one run, without triggers."""
    home = tmp_path_factory.mktemp("measured")
    with Records.open(home) as records:
        record = make_record(make_opened(run_id="run-1"))
        records.open_run(record.opened)
        records.close_run(record)
    connection = sqlite3.connect(home / "records.sqlite3")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    connection.commit()
    connection.close()
    return home


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE transcript SET data = x'00'",
        "UPDATE transcript SET data = substr(data, 1, 20)",
        "UPDATE transcript SET data = x'789c030000000001'",
        "UPDATE transcript SET format = 99",
        "DELETE FROM transcript",
        f"UPDATE transcript SET data = x'{zlib.compress(b'[' * 200_000).hex()}'",
        f"UPDATE transcript SET data = x'{zlib.compress(b'[[1, 2, 3, 4]]').hex()}'",
        f"UPDATE budget SET data = x'{_ODD_BUDGET}'",
        f"UPDATE budget SET data = x'{zlib.compress(b'7').hex()}'",
        "UPDATE trace SET columns = '[[\"height_m\", Infinity]]'",
        "UPDATE trace SET columns = '[[\"height_m\", 1000000000000000000]]'",
        "UPDATE trace SET columns = '[[\"height_m\", 99999]]'",
        "UPDATE trace SET columns = 'nonsense'",
        "UPDATE trace SET data = x''",
        "UPDATE result SET status = 'fine'",
        "UPDATE decision SET decision = 'MAYBE'",
        "DELETE FROM decision",
        "UPDATE run SET closed_utc = 'yesterday'",
        "UPDATE run SET seed = 'x'",
        "UPDATE run_opened SET purpose = 'fun'",
    ],
)
def test_damaged_contents_are_told(measured: Path, tmp_path: Path, statement: str) -> None:
    """Damage to any part of a run is one error that names the run, and the check names it too."""
    home = tmp_path / "home"
    shutil.copytree(measured, home)
    connection = sqlite3.connect(home / "records.sqlite3")
    connection.execute(statement)
    connection.commit()
    connection.close()
    with Records.open(home) as records:
        with pytest.raises(RecordError, match="run run-1 can't be read"):
            records.run("run-1")
        faults = records.check().faults

    assert [("changed", "run-1")] == [(fault.what, fault.subject) for fault in faults]
