"""What a study file says of itself: simulated or not, and when."""

from datetime import UTC, datetime

import pytest

from station.errors import StudyError
from station.quality.study_marks import StudyMarks, study_marks


def test_file_without_marks_is_taken_as_measured_at_no_known_time() -> None:
    """Files that people typed have neither column."""
    assert StudyMarks() == study_marks("part,value\nU1,7.9\n", "typed.csv")


@pytest.mark.parametrize("word", ["1", "yes", "TRUE", "simulated"])
def test_one_simulated_row_marks_the_whole_file(word: str) -> None:
    """A mixture is no measurement either."""
    assert study_marks(f"value,simulated\n7.9,\n7.8,{word}\n", "file.csv").simulated


def test_newest_time_is_the_files() -> None:
    """In UTC, whatever zone it was written in; a time without one is UTC."""
    text = "value,utc\n7.9,2026-11-25T08:00:00+02:00\n7.8,2026-11-25T07:00:00\n7.7,\n"

    assert datetime(2026, 11, 25, 7, tzinfo=UTC) == study_marks(text, "file.csv").newest_utc


def test_unit_of_the_readings_is_one_for_all() -> None:
    """A file in two units is no study."""
    assert "ohm" == study_marks("value,unit\n7.9,ohm\n7.8,\n7.7,ohm\n", "file.csv").unit
    with pytest.raises(StudyError, match="must be the same for all readings"):
        study_marks("value,unit\n7.9,ohm\n7.8,mohm\n", "file.csv")


def test_marks_that_are_not_understood_are_refused() -> None:
    """Each by its line: a mark that was meant and not read would pass simulated values for real ones."""
    with pytest.raises(StudyError) as raised:
        study_marks("value,simulated,utc\n7.9,perhaps,yesterday\n", "file.csv")

    assert ["simulated", "utc"] == [
        word for word in ("simulated", "utc") if f"file.csv:2: {word}" in str(raised.value)
    ], str(raised.value)
