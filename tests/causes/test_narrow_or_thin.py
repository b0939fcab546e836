"""Narrow told from thin on simulated panels: `python -m tests.causes.narrow_or_thin` prints the whole table."""

import pytest

from tests.causes.narrow_or_thin import panels_called


@pytest.mark.slow
@pytest.mark.parametrize("near", [False, True])
def test_odd_panels_are_called_by_their_larger_part(near: bool) -> None:
    """Whose parts differ by 5 % of R20 and more, with coupons at a corner where plating is thick: nine of ten and more
    right, none taken for the bench though no reference unit was run, nor for damage."""
    counts = panels_called(20, near=near, apart=0.05)
    right = sum(panels for (true, called), panels in counts.items() if true is called)
    copper = {"narrow_tracks", "thin_copper", "wide_tracks", "thick_copper", "nothing_unusual"}

    assert sum(counts.values()) > 20
    assert right >= 0.9 * sum(counts.values())
    assert {called.value for _, called in counts} <= copper
