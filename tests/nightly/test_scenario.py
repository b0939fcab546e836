"""Scenario files: the shipped ones are sound, a wrong one says all that is wrong with it."""

from pathlib import Path

import pytest

from station.errors import BenchError
from station.nightly.figures import is_figure
from station.nightly.scenario import scenario_names, scenario_path
from station.nightly.scenario_file import read_scenario

NEVER = ("drive_on", "mishaps", "lost_runs", "open_runs", "recorded_early", "wrong_bin", "chain_faults")
"""What no scenario may allow."""


@pytest.mark.parametrize("name", scenario_names())
def test_shipped_scenario_is_sound_and_allows_no_drive_left_on_nor_record_lost(name: str) -> None:
    """Each file reads, and bounds what must never happen at 0."""
    scenario = read_scenario(scenario_path(name), known=is_figure)

    assert [0.0] * len(NEVER) == [scenario.at_most.get(each) for each in NEVER]
    assert "escapes" in scenario.at_most


def test_wrong_scenario_names_every_mistake(tmp_path: Path) -> None:
    """Unknown keys, units of measurement left out, figures that do not exist: each with its line."""
    path = tmp_path / "wrong.toml"
    path.write_text(
        'title = "Wrong"\n[lot]\nunits = 0\netch_shift = "3 ohm"\n[lot.defects]\nopne = "1 %"\n'
        '[operator]\nswaps = 3\n[[fault]]\ninstrument = "lcr-1"\nkind = "lat"\nfirst = 0\n[at_most]\nescape = 0\n',
        encoding="utf-8",
    )

    with pytest.raises(BenchError) as caught:
        read_scenario(path, known=is_figure)

    lines = [(each.line, each.key) for each in caught.value.mistakes]
    assert [
        (3, "lot.units"),
        (4, "lot.etch_shift"),
        (6, "lot.defects.opne"),
        (8, "operator.swaps"),
        (11, "fault 1 kind"),
        (14, "at_most.escape"),
    ] == lines


def test_unknown_scenario_names_the_nearest() -> None:
    """A slip of the finger is answered with the name that was meant."""
    with pytest.raises(BenchError, match="did you mean 'healthy'"):
        scenario_path("helthy")
