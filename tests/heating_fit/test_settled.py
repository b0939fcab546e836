"""The plateau rule and the end of a full soak, on an exponential."""

import numpy as np
import pytest

from station.heating_fit.settled import end_of_soak, plateau_stop_s

TIMES_S = np.arange(0.0, 200.0, 0.2)
CURVE_K = 30.0 * (1.0 - np.exp(-TIMES_S / 15.0))


def test_plateau_stops_where_ten_seconds_change_little() -> None:
    """Means of two windows differ by 30 e^(-t/15) (e^(20/15) - 2 e^(10/15) + 1) 15/10 at their end: 0.15 K at 88 s."""
    e = np.exp(10.0 / 15.0)
    expected_s = 15.0 * np.log(30.0 * 1.5 * (e * e - 2 * e + 1) / 0.15)

    assert expected_s == pytest.approx(plateau_stop_s(TIMES_S, CURVE_K), abs=0.5)


def test_plateau_that_never_comes_stops_at_the_end() -> None:
    """A ramp has none."""

    assert TIMES_S[-1] == plateau_stop_s(TIMES_S, TIMES_S)


def test_end_of_soak_states_what_is_left() -> None:
    """Stopped too early, at 60 s, the remaining 0.7 K lie within what it says."""
    early = TIMES_S <= 60.0
    end = end_of_soak(TIMES_S[early], CURVE_K[early], slowest_s=15.0)

    assert 30.0 - end.rise_k <= 1.1 * end.still_k


def test_end_of_soak_needs_two_windows() -> None:
    """Fifteen seconds are too short."""
    with pytest.raises(ValueError, match="at least 20 s"):
        end_of_soak(TIMES_S[:75], CURVE_K[:75], slowest_s=15.0)
