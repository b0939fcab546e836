"""Homes that several tests of commands begin with."""

from pathlib import Path

import pytest

from tests.cli.lots import record_lot


@pytest.fixture(scope="session")
def two_lots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """L2641 and L2642, one panel each, on record; copied by who changes them."""
    folder = tmp_path_factory.mktemp("two-lots")
    record_lot(folder, "L2641", 1)
    record_lot(folder, "L2642", 1, seed=2)
    return folder
