"""One station for all runs of a module, and whether every point is wanted."""

import os
from collections.abc import Iterator

import pytest

from tests.end_to_end.shop import Shop


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A station with its records in a home of its own."""
    with Shop(tmp_path_factory.mktemp("home")) as opened:
        yield opened


@pytest.fixture(scope="session")
def every_point() -> bool:
    """Whether to try each message (the nightly, minutes) or a thinned set (each change, about a minute)."""
    return os.environ.get("COILGATE_NIGHTLY") == "1"
