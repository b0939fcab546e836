"""Examples in docstrings."""

import doctest
import importlib

import pytest


@pytest.mark.parametrize("name", ["intervals", "quantity"])
def test_examples_in_docstrings_give_what_they_show(name: str) -> None:
    """An example that no longer runs would mislead."""
    found = doctest.testmod(importlib.import_module(f"station.core.{name}"))

    assert (0, True) == (found.failed, found.attempted > 0)
