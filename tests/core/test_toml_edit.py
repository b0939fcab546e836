"""Single values changed in a TOML text; everything else stays."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.toml_edit import array_spans, comment_place, find_key, key_literal, put, table_span, text_literal

TEXT = """a = 1   # first

[x."B@1mm"]   # a header
lower = "1 # mT"  # why
# above y

[[bin]]
number = 1

[[bin]]
number = 2
"""


def lines() -> list[str]:
    """Return the lines of the example."""
    return TEXT.splitlines(keepends=True)


def test_value_is_replaced_and_its_comment_stays() -> None:
    """One line differs; the note goes before the comment; a # in the text is none."""
    found = lines()
    span = table_span(found, "x", "B@1mm")
    assert span is not None
    put(found, span, "lower", text_literal("2 mT"), note="new")

    assert 'lower = "2 mT"  # new; why\n' == found[3]
    assert 1 == sum(a != b for a, b in zip(found, lines(), strict=True))


def test_new_key_goes_to_the_end_of_its_table() -> None:
    """Before the comment that stands above the next one."""
    found = lines()
    span = table_span(found, "x", "B@1mm")
    assert span is not None
    put(found, span, "upper", text_literal("3 mT"))

    assert 'upper = "3 mT"\n' == found[4]
    assert {"lower": "1 # mT", "upper": "3 mT"} == tomllib.loads("".join(found))["x"]["B@1mm"]


def test_empty_value_takes_the_line_away() -> None:
    """And nothing else."""
    found = lines()
    put(found, array_spans(found, "bin")[1], "number", "")

    assert [{"number": 1}, {}] == tomllib.loads("".join(found))["bin"]


def test_what_is_not_there_is_not_found() -> None:
    """No table, no key."""
    assert table_span(lines(), "x", "B@2mm") is None
    assert find_key(lines(), (0, 1), "b") is None


@given(st.text())
def test_any_text_and_key_come_back(text: str) -> None:
    """What is written as a literal, the reader reads; control characters apart, which no field of a plan has."""
    if not text.isprintable():
        return

    assert text == tomllib.loads(f"a = {text_literal(text)}")["a"]
    if text:
        assert [text] == list(tomllib.loads(f"{key_literal(text)} = 1"))


@pytest.mark.parametrize(
    ("line", "place"),
    [("a = 1 # b", 6), ('a = "# b"', 9), ("a = '#' # c", 8), ('a = "\\"#" # c', 10), ("a = 1\n", 5)],
)
def test_comment_begins_outside_of_texts(line: str, place: int) -> None:
    """Basic and literal strings, escaped quotes."""
    assert place == comment_place(line)
