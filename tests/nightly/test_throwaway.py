"""Folders of nights: gone afterwards; what killed nights left goes a day later."""

import os
from pathlib import Path

from station.nightly.throwaway import OLD_S, PREFIX, forget_broken_off, throwaway

NOW_S = 2_000_000_000.0


def test_folder_is_there_during_the_night_and_gone_afterwards() -> None:
    """Wherever it stands."""
    with throwaway() as home:
        there = Path(home).is_dir()

    assert (True, False) == (there, Path(home).exists())


def test_only_old_folders_of_nights_are_forgotten(tmp_path: Path) -> None:
    """A night that may still run stays, and so does what is not ours."""
    for name, age_s in ((f"{PREFIX}old", OLD_S + 60.0), (f"{PREFIX}new", OLD_S - 60.0), ("other", 10.0 * OLD_S)):
        (tmp_path / name).mkdir()
        os.utime(tmp_path / name, (NOW_S - age_s, NOW_S - age_s))
    forget_broken_off(tmp_path, now_s=NOW_S)

    assert ["coilgate-nightly-new", "other"] == sorted(each.name for each in tmp_path.iterdir())
