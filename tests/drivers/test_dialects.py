"""Dialect files: what ships is read, what is wrong is told."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from drivers.dialect_reader import DialectError
from drivers.dialects import FixtureDialect, LcrDialect, SourceDialect, load_dialect, read_dialect
from drivers.instruments import Route
from drivers.readings import Quantity, ReadingStatus
from tests.drivers.benches import FIXTURE, FOLDER, LCR_FIRST, LCR_LAST, POLLED, SOURCE, STREAMING

SHIPPED = {
    "fixture-line": "fixture",
    "lcr-status-first": "lcr",
    "lcr-status-last": "lcr",
    "source-scpi": "source",
    "thermometer-polled": "thermometer",
    "thermometer-streaming": "thermometer",
}


def test_all_shipped_dialects_are_known_here() -> None:
    """A new file in the folder gets a line in this test."""

    assert sorted(SHIPPED) == sorted(path.stem for path in FOLDER.glob("*.toml"))


@pytest.mark.parametrize(("name", "kind"), SHIPPED.items())
def test_shipped_dialect_is_read(name: str, kind: str) -> None:
    """Name from the file, kind from its content."""
    dialect = load_dialect(FOLDER / f"{name}.toml")

    assert (name, kind) == (dialect.name, dialect.kind)


def test_shipped_meters_differ_in_words_order_and_overload_convention() -> None:
    """Two dialects that a single driver has to serve."""
    last, first = LCR_LAST.functions[0], LCR_FIRST.functions[0]

    assert last.fields == first.fields[::-1] == (Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE)
    assert (False, True) == (LCR_LAST.status_first, LCR_FIRST.status_first)
    assert ReadingStatus.OVERLOAD is LCR_LAST.status_words[b"+1"] is LCR_FIRST.status_words[b"O"]


def test_fixture_dialect_has_a_word_for_each_route() -> None:
    """No route can be missing."""

    assert set(Route) == set(FIXTURE.routes)


def test_source_exchange_is_short_enough_with_the_drive_on() -> None:
    """No exchange takes longer than 1 s, switching off no longer than 3 s (see `drivers.source`)."""

    assert isinstance(SOURCE, SourceDialect)
    assert SOURCE.wire.timeout_s <= 1.0
    assert 3 * (0.2 + 3 * SOURCE.off_timeout_s) <= 3.0


def test_streaming_and_polled_thermometer_differ() -> None:
    """One waits for lines, one asks."""

    assert (False, True) == (POLLED.streaming, STREAMING.streaming)


def changed(name: str, old: str, new: str) -> str:
    """Return the text of a shipped dialect with one change."""
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    if old not in text:
        raise ValueError(f"{old!r} is not in {name}")
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("lcr-status-last", 'kind = "lcr"', 'kind = "lrc"', "'kind' must be one of 'lcr', 'source'"),
        (
            "lcr-status-last",
            "timeout_s = 1.0",
            "timeout_s = 0",
            "line 8: 'wire.timeout_s' must be a number above 0",
        ),
        (
            "lcr-status-last",
            "timeout_s = 1.0",
            'timeout_s = "1"',
            "'wire.timeout_s' must be a number above 0; got '1'",
        ),
        (
            "lcr-status-last",
            "timeout_s = 1.0",
            "timeout_s = nan",
            "'wire.timeout_s' must be a number above 0; got nan",
        ),
        (
            "lcr-status-last",
            "timeout_s = 1.0\n",
            "",
            "'wire.timeout_s' must be a number above 0; got nothing",
        ),
        ("lcr-status-last", "quiet_s", "quite_s", "'wire.quite_s' is not known here"),
        ("lcr-status-last", '"FREQ {}"', '"FREQ"', "'settings.frequency' must have one {}"),
        ("lcr-status-last", '"series_resistance_ohm"', '"Rs"', "'function[1].fields' must name quantities"),
        (
            "lcr-status-last",
            'status = "last"',
            'status = "end"',
            "'response.status' must be one of 'first', 'last'",
        ),
        (
            "lcr-status-last",
            "number = '[+-]",
            "number = '[+-",
            "'response.number' must be a regular expression",
        ),
        (
            "lcr-status-last",
            'good = ["+0"]',
            'good = "+0"',
            "'response.status_words.good' must be a list of texts",
        ),
        ("source-scpi", 'voltage_query = "VOLT?"\n', "", "'settings.voltage_query' must be there"),
        ("fixture-line", "baud = 115200", "baud = 0", "'wire.baud' must be a whole number of at least 1"),
        ("fixture-line", 'lcr = "LCR"\n', "", "'routes.lcr' must be a text"),
        ("thermometer-polled", "?P<coil>", "?P<cold>", "'response.line' must have the groups (?P<coil>...)"),
        (
            "thermometer-polled",
            'mode = "polled"',
            'mode = "pushed"',
            "'mode' must be one of 'polled', 'streaming'",
        ),
        ("thermometer-polled", "[messages]", "[orders]", "'messages' must be a table [messages]"),
    ],
)
def test_mistake_is_told_with_file_key_and_what_would_be_right(
    name: str, old: str, new: str, told: str
) -> None:
    """One clear line for whoever wrote the file."""
    with pytest.raises(DialectError) as caught:
        read_dialect(changed(name, old, new), f"{name}.toml")

    assert told in str(caught.value)
    assert str(caught.value).startswith(f"{name}.toml")


def test_all_mistakes_are_told_at_once() -> None:
    """Nobody likes to mend a file one line a try."""
    text = changed("lcr-status-last", "timeout_s = 1.0", "timeout_s = 0").replace(
        "reading_s = 0.02", "reading = 1"
    )
    with pytest.raises(DialectError) as caught:
        read_dialect(text, "mine.toml")

    assert 3 == len(str(caught.value).splitlines())


def test_text_that_is_no_toml_is_told() -> None:
    """File and line of the parser's complaint."""
    with pytest.raises(DialectError, match=r"mine\.toml.*line 1"):
        read_dialect("kind = \nx = 1", "mine.toml")


def test_empty_text_is_told() -> None:
    """An empty file has every mistake, and no traceback."""
    with pytest.raises(DialectError, match="'kind' must be one of"):
        read_dialect("", "mine.toml")


def test_missing_file_is_told(tmp_path: Path) -> None:
    """A wrong path is a dialect error with the path in it."""
    with pytest.raises(DialectError, match=r"none\.toml: cannot be read"):
        load_dialect(tmp_path / "none.toml")


def test_dialects_are_frozen() -> None:
    """A dialect is shared by drivers."""
    for dialect in (LCR_LAST, FIXTURE):
        assert isinstance(dialect, LcrDialect | FixtureDialect)
        with pytest.raises(AttributeError):
            dialect.name = "other"  # type: ignore[misc]


def keys_of(table: Mapping[str, object]) -> Iterator[str]:
    """Yield every key of a file, tables and their keys alike."""
    for key, value in table.items():
        yield key
        if isinstance(value, dict):
            yield from keys_of(value)
        elif isinstance(value, list):
            for item in value:
                yield from keys_of(item) if isinstance(item, dict) else ()


@pytest.mark.parametrize("name", SHIPPED)
def test_every_key_of_a_shipped_dialect_is_described(name: str) -> None:
    """Whoever writes a dialect finds each key in the folder's description."""
    description = (
        (FOLDER / "README.md").read_text(encoding="utf-8").partition("## What a dialect file says")[2]
    )
    keys = set(keys_of(tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))))
    stems = {key for key in keys if re.sub("_(query|resolution)$", "", key) not in keys - {key}}

    assert set() == {stem for stem in stems if not re.search(rf"[`\[.]{stem}[`\].]", description)}
