"""The station finds its own files."""

import pytest

from station.data import data_path
from station.errors import BenchError


def test_data_path_finds_a_dialect() -> None:
    """A file below `fixtures` is found."""
    assert data_path("dialects/source-scpi.toml").is_file()


def test_data_path_of_unknown_file_names_what_there_is() -> None:
    """A wrong name is told with the right ones."""
    with pytest.raises(BenchError, match=r"dialects has .*source-scpi\.toml"):
        data_path("dialects/none.toml")


@pytest.mark.parametrize("name", ["/etc/passwd", "../README.md"])
def test_data_path_stays_below_its_folder(name: str) -> None:
    """A name that leads elsewhere is refused."""
    with pytest.raises(ValueError, match="must stay below"):
        data_path(name)
