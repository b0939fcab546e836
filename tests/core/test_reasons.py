"""The table of causes."""

import re

import pytest

from station.core.reasons import CAUSES, reason


@pytest.mark.parametrize("code", CAUSES)
def test_cause_has_stable_code_words_and_remedy(code: str) -> None:
    """Every cause has a code fit for records, words and a remedy that is a sentence."""
    cause = CAUSES[code]

    assert re.fullmatch("[a-z]+(_[a-z]+)*", code)
    assert cause.words
    assert cause.remedy.endswith(".")


def test_reason_adds_details_in_order() -> None:
    """Details follow the words; a message stands as it is."""
    found = reason("no_reply", instrument="lcr-1", message="nothing came in 2 s")

    assert found.code == "no_reply"
    assert found.words == "an instrument did not reply in time: instrument lcr-1; nothing came in 2 s"


def test_reason_refuses_unknown_code() -> None:
    """A misspelt code is named, with the nearest one."""
    with pytest.raises(ValueError, match="did you mean 'no_reply'"):
        reason("no_replay")
