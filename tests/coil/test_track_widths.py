"""What resistance measured widths imply."""

from dataclasses import replace

import numpy as np
import pytest

from sim.design import IS_20
from station.coil.resistance import resistance_20_ohm, turn_resistances_ohm
from station.coil.track_widths import TrackWidth, implied_resistance, mean_width_m

DRAWN_M = IS_20.track_width_m


def _widths(factor: float, *, pitch: float | None = None, u_m: float = 1e-6) -> list[TrackWidth]:
    return [
        TrackWidth(layer, turn, DRAWN_M * factor, u_m, None if pitch is None else IS_20.pitch_m * pitch)
        for layer in (1, 2)
        for turn in (1.0, 10.0, 20.0)
    ]


@pytest.mark.parametrize("factor", [0.9, 1.0, 1.1])
def test_even_widths_imply_the_models_resistance(factor: float) -> None:
    """Every place at one width: R of the drawing etched to that width (the centre line stays)."""
    found = implied_resistance(IS_20, _widths(factor))
    etched = IS_20.with_width_change((factor - 1) * DRAWN_M)

    assert resistance_20_ohm(etched) == pytest.approx(found.resistance_ohm, rel=1e-6)
    assert resistance_20_ohm(IS_20) == pytest.approx(found.drawn_ohm, rel=1e-12)
    assert DRAWN_M * factor == pytest.approx(found.width_m, rel=1e-9)


def test_narrow_places_cost_more_than_wide_ones_gain() -> None:
    """The mean of 1/w counts: +10 and -10 % on two places of a turn are +1 %."""
    places = [TrackWidth(1, 10.0, DRAWN_M * each, 1e-6) for each in (0.9, 1.1)]
    found = implied_resistance(replace(IS_20, layers=1, layer_gaps_m=()), places)

    assert 1 / (1 - 0.01) == pytest.approx(found.resistance_ohm / found.drawn_ohm, rel=1e-9)


def test_turns_between_places_are_interpolated() -> None:
    """1/w that rises evenly from the first to the last turn: R is the sum over the turns' own lengths."""
    coil = replace(IS_20, layers=1, layer_gaps_m=())
    lengths = coil.turn_radii_m()  # the mean length of a turn goes with its mean radius
    one_over = np.linspace(1 / (0.9 * DRAWN_M), 1 / (1.1 * DRAWN_M), 20)
    expected = float(np.sum(lengths * one_over * DRAWN_M) / np.sum(lengths))
    ends = [TrackWidth(1, 1.0, 0.9 * DRAWN_M, 1e-6), TrackWidth(1, 20.0, 1.1 * DRAWN_M, 1e-6)]
    found = implied_resistance(coil, ends)

    assert expected == pytest.approx(found.resistance_ohm / found.drawn_ohm, rel=1e-3)


def test_pitch_takes_a_microscopes_scale_out() -> None:
    """A microscope that reads 2 % long reads pitch and width alike: the pitch, set by the artwork, gives it away."""
    found = implied_resistance(IS_20, _widths(1.02, pitch=1.02))

    assert 1.02 == pytest.approx(found.scale)
    assert resistance_20_ohm(IS_20) == pytest.approx(found.resistance_ohm, rel=1e-6)


def test_a_layer_not_looked_at_widens_the_uncertainty() -> None:
    """Half of the track unseen, 1.5 % between layers: 0.75 % more."""
    both = implied_resistance(IS_20, _widths(1.0))
    top = implied_resistance(IS_20, [each for each in _widths(1.0) if each.layer == 1] * 2)

    assert (2, 1) == (both.layers_seen, top.layers_seen)
    assert both.relative_uncertainty**2 + 0.0075**2 == pytest.approx(top.relative_uncertainty**2, rel=1e-6)


def test_more_places_narrow_the_sampling_not_the_method() -> None:
    """Against the method's common 1 um of 120 um no number of places helps."""
    few, many = implied_resistance(IS_20, _widths(1.0)), implied_resistance(IS_20, _widths(1.0) * 20)

    assert many.relative_uncertainty < few.relative_uncertainty
    assert many.relative_uncertainty > 1e-6 / DRAWN_M


def test_missing_edge_is_reckoned_with_a_usual_undercut() -> None:
    """Etch factors 2 to 6: the mean lies t/6 to t/2 from either edge."""
    both, none = mean_width_m(top_m=110e-6, foot_m=122e-6, thickness_m=18e-6)
    top, doubt = mean_width_m(top_m=110e-6, foot_m=None, thickness_m=18e-6)
    foot, _ = mean_width_m(top_m=None, foot_m=122e-6, thickness_m=18e-6)

    assert (116e-6, 0.0) == pytest.approx((both, none))
    assert (116e-6, 116e-6) == pytest.approx((top, foot))
    assert 18e-6 / 6 / 3**0.5 == pytest.approx(doubt)


@pytest.mark.parametrize(
    ("width", "words"),
    [
        (TrackWidth(3, 1.0, DRAWN_M, 1e-6), "layer must be 1 to 2"),
        (TrackWidth(1, 21.0, DRAWN_M, 1e-6), r"turn must be 1 \(innermost\) to 20"),
        (TrackWidth(1, 1.0, 0.3e-3, 1e-6), "below the pitch"),
        (TrackWidth(1, 1.0, DRAWN_M, 0.0), "uncertainty above 0"),
        (TrackWidth(1, 1.0, DRAWN_M, 1e-6, 0.2e-3), "wrong magnification"),
    ],
)
def test_width_that_the_drawing_cant_have_is_refused(width: TrackWidth, words: str) -> None:
    """The message says what would be right."""
    with pytest.raises(ValueError, match=words):
        implied_resistance(IS_20, [width])


@pytest.mark.slow
def test_intervals_hold_r_of_simulated_tracks() -> None:
    """2,000 tracks whose width wanders from turn to turn and between layers, seen at six places by a microscope that is
    off by 1 um (standard): R lies within two standard uncertainties in 93 to 99 %.

    The spread between places is pooled with an assumed one, so that few places cover rather more than 95 %.
    """
    generator = np.random.default_rng(3)
    turns, held, rounds = 20, 0, 2_000
    for _ in range(rounds):
        etched = DRAWN_M * (1 + 0.04 * generator.standard_normal())
        by_layer = etched * (1 + 0.005 * generator.standard_normal((2, 1)))
        width = by_layer * (1 + 0.02 * generator.standard_normal((2, turns)))
        in_order = np.concatenate([width[0][::-1], width[1]])  # the current runs inward on the top layer
        true_ohm = float(turn_resistances_ohm(IS_20, turn_widths_m=in_order).sum())
        off_m = 1e-6 * generator.standard_normal()
        places = [
            TrackWidth(layer, float(turn), width[layer - 1, turn - 1] + off_m, 1e-6)
            for layer in (1, 2)
            for turn in (1, 10, 20)
        ]
        found = implied_resistance(IS_20, places)
        held += abs(found.resistance_ohm / true_ohm - 1) <= 2 * found.relative_uncertainty

    assert 0.93 < held / rounds < 0.99
