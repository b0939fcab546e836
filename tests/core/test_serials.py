"""Scans, serial patterns and check characters."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.check_digits import luhn_check, mod37_2_check, pure_system_check
from station.core.run_record import UnitId
from station.core.serial_pattern import SCAN_LENGTH_LIMIT, pattern_mistakes
from station.core.serials import read_serial
from station.errors import SerialError
from tests.core.examples import is_20

PLAN = is_20()
OTHER = replace(PLAN, part="IS-30", serial_pattern=r"(?P<lot>M[0-9]{4})/(?P<panel>[0-9]{2})")
CHECKED = replace(PLAN, serial_pattern=r"(?P<lot>[A-Z][0-9]{4})-(?P<panel>[0-9]{8})(?P<check>[0-9A-Z*])")


def refusal(scan: str, **settings: object) -> str:
    """What the refusal of a scan says."""
    plan = settings.get("plan", PLAN)
    with pytest.raises(SerialError) as caught:
        read_serial(plan, scan, others=(OTHER,), lot=str(settings.get("lot", "")))  # type: ignore[arg-type]
    return str(caught.value)


@pytest.mark.parametrize("scan", ["L2641-07-C11", "L2641-07-C11\r\n", " L2641-07-C11 ", "L2641-07-C11\n"])
def test_read_serial_places_the_unit(scan: str) -> None:
    """Lot, panel, row and column; the scanner's line end doesn't count."""
    assert UnitId("L2641-07-C11", "L2641", "07", "C", "11") == read_serial(PLAN, scan)


def test_read_serial_without_place_leaves_it_empty() -> None:
    """A pattern that names only the lot gives only the lot."""
    plan = replace(PLAN, serial_pattern=r"(?P<lot>L[0-9]{4})(-(?P<panel>[0-9]{2}))?")

    assert UnitId("L2641", "L2641") == read_serial(plan, "L2641")


@pytest.mark.parametrize(
    ("scan", "words"),
    [
        ("", "is empty"),
        ("\r\n", "is empty"),
        ("X123", "is no serial of IS-20"),
        ("L2641-07-C11L2641-07-C12", "is no serial"),
        ("M1234/05", "but of IS-30"),
        ("OP-07", "an operator's badge"),
        ("l2641-07-c11", "lower case"),
        ("L2641-07-C1\N{SUPERSCRIPT ONE}", "beyond ASCII"),
        ("L2641-07\x1dC11", "control character GS"),
        ("L2641\t07-C11", "control character TAB"),
        ("L2641\x7f07-C11", "control character DEL"),
        ("L2641\u200b07-C11", "control character U+200B"),
        ("L" * 65, "has 65 characters, a serial of IS-20 at most 64"),
        ("L" * 200, "has 200 characters; at most 128 are read"),
    ],
)
def test_read_serial_says_what_the_scan_is_instead(scan: str, words: str) -> None:
    """Each kind of wrong scan is told apart, and what to do is said."""
    assert words in refusal(scan)


def test_read_serial_shows_only_printable_characters() -> None:
    """A scan can't write control characters or pages of text to the operator's screen."""
    message = refusal("\x1b[31m" + "x" * 100)

    assert message.isprintable()
    assert len(message) < 250


def test_read_serial_checks_length_before_any_pattern(monkeypatch: pytest.MonkeyPatch) -> None:
    """An over-long scan never meets the matcher."""
    monkeypatch.setattr(re, "fullmatch", None)

    assert "characters" in refusal("L" * (SCAN_LENGTH_LIMIT + 1))
    assert "characters" in refusal("L" * 65)


def test_read_serial_of_another_lot() -> None:
    """A unit of another lot is refused by name of both."""
    assert "belongs to lot L2642, the lot on this bench is L2641" in refusal("L2642-07-C11", lot="L2641")


@given(st.text(max_size=150))
def test_read_serial_gives_a_unit_or_a_serial_error(scan: str) -> None:
    """Whatever is scanned, nothing else is raised."""
    try:
        unit = read_serial(PLAN, scan, others=(OTHER,))
    except SerialError:
        return

    assert re.fullmatch(PLAN.serial_pattern, unit.serial)


# Published examples. ISBT 128 donation number G1234 98 654321 with check character H (ISO/IEC 7064 mod 37-2);
# the other pure system of radix 2, mod 11-2: 0794 has 0 (ISO/IEC 7064), 0000-0002-1825-009 has 7 (the sample
# identifier of the ISNI/ORCID documentation); Luhn: 7992739871 has 3 (textbook). All from memory.
def test_check_characters_of_published_examples() -> None:
    """The examples that the standards' users print."""
    assert "H" == mod37_2_check("G1234 98 654321")
    assert 0 == pure_system_check([0, 7, 9, 4], modulus=11, radix=2)
    assert 7 == pure_system_check([int(each) for each in "000000021825009"], modulus=11, radix=2)
    assert "3" == luhn_check("7992739871")


@pytest.mark.parametrize("check_digit", ["iso7064-mod37-2", "luhn"])
def test_read_serial_checks_the_check_character(check_digit: str) -> None:
    """The right character passes, a misread one does not, and the right one is not given away."""
    plan = replace(CHECKED, check_digit=check_digit)
    body = "L2641-12345678"
    right = mod37_2_check(body) if check_digit.startswith("iso") else luhn_check(body)

    assert "L2641" == read_serial(plan, body + right).lot
    message = refusal(f"{body}{'1' if right != '1' else '2'}", plan=plan)
    assert "misread" in message


characters = st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")


@given(st.lists(characters, min_size=2, max_size=20), st.data())
def test_mod37_2_finds_every_single_misread_and_swap(text: list[str], data: st.DataObject) -> None:
    """ISO/IEC 7064: pure systems find all single substitutions and all single swaps."""
    index = data.draw(st.integers(0, len(text) - 2))
    other = data.draw(characters)
    misread = [*text[:index], other, *text[index + 1 :]]
    swapped = [*text[:index], text[index + 1], text[index], *text[index + 2 :]]
    check = mod37_2_check("".join(text))

    assert misread == text or check != mod37_2_check("".join(misread))
    assert swapped == text or check != mod37_2_check("".join(swapped))


@pytest.mark.parametrize(
    "pattern",
    [
        PLAN.serial_pattern,
        r"(?P<lot>[A-Z]+)-(?P<panel>\d+)",
        r"(?P<lot>\w{1,8})(?:-(?P<panel>\d{2}))?",
        r"(?P<lot>(?:AB|CD)\d{4})",
        r"(?P<lot>(?:\d{2}){3})",
    ],
)
def test_pattern_that_can_be_used(pattern: str) -> None:
    """Counted and few open quantifiers are fine."""
    assert [] == pattern_mistakes(pattern)


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<lot>(a+)+)",
        r"(?P<lot>(a|a)*)",
        r"(?P<lot>(a*)*b)",
        r"(?P<lot>(\d+-?)+)",
        r"(?P<lot>.*.*.*)",
        r"(?P<lot>(a?){40}b)",
        r"(?P<lot>" + "a?" * 30 + ")",
        r"(?P<lot>(?=a+)+a)",
        r"(?P<lot>a(?>b+))",
    ],
)
def test_pattern_that_could_run_away_is_refused(pattern: str) -> None:
    """Patterns whose worst case explodes never meet a scan."""
    assert any("could take too long" in each for each in pattern_mistakes(pattern))


@pytest.mark.parametrize(
    ("pattern", "check_digit", "words"),
    [
        (r"L\d{4}", "", "must name the lot"),
        (r"(?P<lot>L\d{4}", "", "no valid regular expression"),
        (r"(?P<lot>\d)(?P<lane>\d)", "", "unknown group 'lane'"),
        (r"(?P<lot>\d)", "luhn", "must name the check character"),
        (r"(?P<lot>\d)(?P<check>\d)", "", "`check_digit` must say"),
        ("(?P<lot>" + "a" * 300 + ")", "", "at most 200 characters"),
    ],
)
def test_pattern_mistakes_say_what_would_be_right(pattern: str, check_digit: str, words: str) -> None:
    """Each mistake in words."""
    assert any(words in each for each in pattern_mistakes(pattern, check_digit=check_digit))
