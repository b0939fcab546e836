"""What pages say of numbers and times."""

import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from station.pages.words import moment


@pytest.fixture
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The machine's time zone, for one test."""
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("zone")
@pytest.mark.parametrize(
    ("zone", "words"),
    [
        ("UTC", "2026-11-25 18:46 UTC"),
        ("Asia/Kathmandu", "2026-11-26 00:31 UTC+05:45"),
        ("America/St_Johns", "2026-11-25 15:16 UTC-03:30"),
    ],
    indirect=["zone"],
)
def test_moment_is_local_and_says_its_offset(words: str) -> None:
    """A time is read at the bench: its own zone, with an offset that can't be taken for another number."""
    assert words == moment(datetime(2026, 11, 25, 18, 46, tzinfo=UTC))
