"""Files of gauge studies: what is read, and that every mistake is named with its line."""

import contextlib
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import StudyError
from station.quality.csv_columns import SHOWN_MISTAKES
from station.quality.study_file import (
    CROSSED_HEADERS,
    agreement_readings,
    attribute_decisions,
    crossed_readings,
    linearity_readings,
    single_values,
    stability_readings,
)
from tests.quality.published import aiag_csv, aiag_readings

SMALL = "part,appraiser,trial,value\n1,A,1,1.0\n1,A,2,1.1\n2,A,1,2.0\n2,A,2,2.1\n"


def mistakes(text: str) -> list[tuple[int, str, str]]:
    """Line, column and message of each mistake of a crossed study."""
    with pytest.raises(StudyError) as caught:
        crossed_readings(text, "study.csv")
    return [(each.line, each.key, each.message) for each in caught.value.mistakes]


def test_crossed_file_gives_its_readings() -> None:
    """Parts and appraisers in the order of the rows, values by trial."""
    found, expected = crossed_readings(aiag_csv(), "study.csv"), aiag_readings()

    assert (expected.parts, expected.appraisers) == (found.parts, found.appraisers)
    np.testing.assert_array_equal(expected.values, found.values)


def test_other_headers_are_mapped() -> None:
    """In any case of letters, with columns that don't matter."""
    text = SMALL.replace("part,appraiser,trial,value", "Unit, Badge ,Pass,R20").replace("\n1", "\n1")
    headers = {"part": "unit", "appraiser": "badge", "trial": "pass", "value": "r20"}

    assert ("1", "2") == crossed_readings(text, "study.csv", headers=headers).parts


def test_trials_are_counted_without_a_trial_column() -> None:
    """In the order of the rows."""
    text = "part,appraiser,value\n1,A,1.0\n2,A,2.0\n1,A,1.1\n2,A,2.1\n"

    np.testing.assert_array_equal([[[1.0, 1.1]], [[2.0, 2.1]]], crossed_readings(text, "study.csv").values)


def test_semicolons_and_decimal_commas_are_read() -> None:
    """As spreadsheets of many countries write them, byte order mark included."""
    text = "\ufeff" + SMALL.replace(",", ";").replace(".", ",")

    np.testing.assert_array_equal(
        crossed_readings(SMALL, "study.csv").values, crossed_readings(text, "study.csv").values
    )


def test_tabs_blank_lines_and_quotes_are_read() -> None:
    """What spreadsheets leave behind does no harm."""
    text = SMALL.replace(",", "\t").replace("1.1", '"1.1"') + "\n\t\t\t\n"

    assert 2 == crossed_readings(text, "study.csv").trials


def test_all_mistakes_are_named_at_once_with_their_lines() -> None:
    """Not a number, overload, nothing, a name missing: each on its line."""
    text = "part,appraiser,trial,value\n1,A,1,7.8 ohm\n1,A,2,9.9E37\n,A,1,\n2,A,2,nan\n"

    assert [(2, "value"), (3, "value"), (4, "part"), (4, "value"), (5, "value")] == sorted(
        (line, key) for line, key, _ in mistakes(text)
    )


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ("7.8 ohm", "without unit"),
        ("1_0", "without unit"),
        ("nan", "without unit"),
        ("inf", "without unit"),
        ("0x10", "without unit"),
        ("1e999", "overload"),
        ("9.91E37", "overload"),
        ("-9.9E37", "overload"),
        ("", "is empty"),
        ("٣", "without unit"),
    ],
)
def test_field_that_is_no_reading_is_refused(field: str, words: str) -> None:
    """Python would read some of these as numbers; an instrument's overload is none."""
    found = mistakes(SMALL.replace("2.1", field))

    assert [(5, "value")] == [(line, key) for line, key, _ in found]
    assert words in found[0][2]


def test_decimal_comma_among_commas_is_refused() -> None:
    """`"1,5"` in a file with commas may be one and a half or fifteen."""
    assert [5] == [line for line, _, _ in mistakes(SMALL.replace("2.1", '"2,1"'))]


def test_missing_cell_is_named() -> None:
    """Part, appraiser and trial that lack, at the line of the cell's first reading."""
    found = mistakes(SMALL.replace("2,A,2,2.1\n", "") + "3,A,1,3.0\n3,A,2,3.1\n")

    assert [(4, "part")] == [(line, key) for line, key, _ in found]
    assert "part '2', appraiser 'A': 1 reading, the others have 2 (no trial '2')" in found[0][2]


def test_appraiser_who_left_out_a_part_is_named() -> None:
    """A cell without any reading stands at its part's first line."""
    found = mistakes(SMALL + "1,B,1,1.0\n1,B,2,1.1\n")

    assert [(4, "part")] == [(line, key) for line, key, _ in found]
    assert "part '2', appraiser 'B': no reading" in found[0][2]


def test_reading_that_stands_twice_is_named() -> None:
    """With the line where it stood first."""
    found = mistakes(SMALL.replace("2,A,2,2.1", "2,A,1,2.1"))

    assert (5, "trial") == found[0][:2]
    assert "stands on line 4 already" in found[0][2]


def test_missing_column_is_named_with_the_option() -> None:
    """What the file has, and how to map it."""
    found = mistakes("unit,appraiser,trial,value\n1,A,1,2\n")

    assert [(1, "part")] == [(line, key) for line, key, _ in found]
    assert "the file has 'unit', 'appraiser', 'trial', 'value'. Name it by --part-header" in found[0][2]


def test_column_that_stands_twice_is_refused() -> None:
    """Which one is meant can't be told."""
    assert [(1, "value")] == [each[:2] for each in mistakes("part,appraiser,value,value\n1,A,1,2\n")]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the file is empty"),
        ("part,appraiser,trial,value\n", "no readings follow"),
        ("part,appraiser,trial,value\n1,A\n", "has 2 fields"),
        ('part,appraiser,trial,value\n1,A,1,"2', "is no CSV"),
        ("part,appraiser,trial,value\n1,A,1,2\n1,A,2,3\n", "2 parts"),
        ("part,appraiser,trial,value\n1,A,1,2\n2,A,1,3\n", "2 trials"),
        (SMALL.replace("1.1", "1.0").replace("2.1", "2.0"), "resolution is too coarse"),
        ("part,appraiser,trial,value\n1,A,1,2\n1,A,2,2\n2,A,1,2\n2,A,2,2\n", "nothing varies"),
    ],
)
def test_file_without_a_study_is_refused(text: str, words: str) -> None:
    """Each in words that say what would be right."""
    assert words in mistakes(text)[0][2]


def test_many_mistakes_are_cut_short() -> None:
    """Twenty are shown, the rest is counted."""
    found = mistakes("part,appraiser,trial,value\n" + "".join(f"{i},A,1,x\n{i},A,2,x\n" for i in range(30)))

    assert SHOWN_MISTAKES + 1 == len(found)
    assert "40 more" in found[-1][2]


@pytest.mark.slow
@given(
    st.integers(2, 5),
    st.integers(1, 3),
    st.integers(2, 3),
    st.lists(st.floats(-1e6, 1e6), min_size=45, max_size=45, unique=True),
    st.randoms(use_true_random=False),
)
def test_rows_may_come_in_any_order(
    parts: int, appraisers: int, trials: int, values: list[float], chance: random.Random
) -> None:
    """Every value is found again in its cell."""
    supply = iter(values)
    rows = [(p, a, t, next(supply)) for p in range(parts) for a in range(appraisers) for t in range(trials)]
    shuffled = rows.copy()
    chance.shuffle(shuffled)
    lines = [f"p{p},a{a},{t},{value!r}" for p, a, t, value in shuffled]
    found = crossed_readings("part,appraiser,trial,value\n" + "\n".join(lines), "study.csv")

    for p, a, _, value in rows:
        assert value in found.values[found.parts.index(f"p{p}"), found.appraisers.index(f"a{a}")]


@given(st.text(max_size=300))
def test_any_text_is_a_study_or_a_study_error(text: str) -> None:
    """Nothing else ever comes out of it."""
    for content in (text, "part,appraiser,trial,value\n" + text):
        with contextlib.suppress(StudyError):
            crossed_readings(content, "study.csv")


def test_default_headers_are_the_documented_ones() -> None:
    """`part, appraiser, trial, value`."""
    assert ["part", "appraiser", "trial", "value"] == list(CROSSED_HEADERS.values())


def test_single_values_are_read() -> None:
    """One column of a file that may have more."""
    assert [1.5, -2e-6] == single_values("n,value\n1,1.5\n2,-2e-6\n", "t.csv").tolist()


def test_linearity_readings_are_read() -> None:
    """Reference and value of each row."""
    references, values = linearity_readings("reference,value\n2,2.1\n4,3.9\n", "t.csv")

    assert ([2.0, 4.0], [2.1, 3.9]) == (references.tolist(), values.tolist())


def test_stability_readings_need_equal_occasions() -> None:
    """The odd one is named."""
    text = "occasion,value\nmon,1\nmon,2\ntue,1\ntue,2\nwed,1\n"
    with pytest.raises(StudyError, match=r"t.csv:6: occasion: 'wed' has 1 readings, the others have 2"):
        stability_readings(text, "t.csv")


def test_stability_readings_are_read_by_occasion() -> None:
    """Occasions in the order of their first row."""
    occasions, values = stability_readings("occasion,value\nmon,1\ntue,3\nmon,2\ntue,4\n", "t.csv")

    assert (("mon", "tue"), [[1.0, 2.0], [3.0, 4.0]]) == (occasions, values.tolist())


def test_agreement_refuses_a_unit_that_stands_twice() -> None:
    """Pairs would be doubled."""
    text = "part,first,second\nu1,1,1\nu2,2,2\nu1,3,3\n"
    with pytest.raises(StudyError, match=r"t.csv:4: part: 'u1' stands on line 2 already"):
        agreement_readings(text, "t.csv")


def test_agreement_readings_are_read() -> None:
    """Units, first side, second side."""
    parts, first, second = agreement_readings("part,first,second\nu1,1,2\nu2,3,4\n", "t.csv")

    assert (("u1", "u2"), [1.0, 3.0], [2.0, 4.0]) == (parts, first.tolist(), second.tolist())


def test_attribute_decisions_are_read() -> None:
    """Words or digits; a part's reference once for all its rows."""
    text = "part,appraiser,trial,decision,reference\n1,A,1,pass,1\n1,A,2,FAIL,1\n2,A,1,0,reject\n2,A,2,0,0\n"
    appraisers, decisions, references = attribute_decisions(text, "t.csv")

    assert (("A",), [[[True, False]], [[False, False]]], [True, False]) == (
        appraisers,
        decisions.tolist(),
        references.tolist(),
    )


def test_attribute_refuses_other_words_and_changed_references() -> None:
    """Both named at once."""
    text = "part,appraiser,trial,decision,reference\n1,A,1,maybe,1\n1,A,2,1,0\n"
    with pytest.raises(StudyError) as caught:
        attribute_decisions(text, "t.csv")

    assert [(2, "decision"), (3, "reference")] == [(each.line, each.key) for each in caught.value.mistakes]
