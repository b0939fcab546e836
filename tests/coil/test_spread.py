"""Spread of a lot: who owns the variance, and whether the quick way equals the full one."""

from dataclasses import replace

import numpy as np
import pytest

from station.coil import GeometryError
from station.coil.field import axis_flux_density_t_per_a
from station.coil.heating import Drive, steady_state
from station.coil.inductance import inductance_h
from station.coil.resistance import at_temperature, resistance_20_ohm
from station.coil.spread import (
    Conditions,
    QuantitySpread,
    SpreadResult,
    Tolerances,
    response_surface,
    simulate_spread,
    varied,
)
from tests.coil.references import ten_turns, two_by_35

FAB = Tolerances(track_width_m=20e-6, copper_m=4e-6, layer_gap_m=16e-6, temperature_k=2.0, drive=0.01)
READ = Conditions(
    temperature_degc=23.0, drive=Drive(voltage_v=1.0), heights_m=(1e-3, 3e-3), thermal_resistance_k_per_w=60.0
)


def _of(result: SpreadResult, name: str) -> QuantitySpread:
    return next(quantity for quantity in result.quantities if quantity.name == name)


@pytest.mark.slow
def test_width_and_thickness_own_the_resistance_and_little_of_the_inductance() -> None:
    """R spreads by per cents, L by tenths of a per cent; both shares of R sum to one."""
    result = simulate_spread(two_by_35(), FAB, READ)
    resistance, inductance = _of(result, "R20"), _of(result, "L")

    assert 1.0 == pytest.approx(
        resistance.contributions["track_width_m"] + resistance.contributions["copper_m"], abs=1e-6
    )
    assert 0.05 < resistance.standard_deviation / resistance.nominal
    assert inductance.standard_deviation / inductance.nominal < 0.005


@pytest.mark.slow
def test_field_follows_the_resistance_at_fixed_voltage_only() -> None:
    """As 1/R from a voltage; almost not at all from a current."""
    from_voltage = simulate_spread(two_by_35(), FAB, READ)
    from_current = simulate_spread(two_by_35(), replace(FAB, drive=0.0), replace(READ, drive=Drive(current_a=0.1)))

    product = from_voltage.draws["B@3mm"] * from_voltage.draws["R"]
    assert np.std(product) / np.mean(product) < 0.006
    assert _of(from_current, "B@3mm").standard_deviation / _of(from_current, "B@3mm").nominal < 0.003


@pytest.mark.slow
def test_first_order_variance_agrees_with_the_draws() -> None:
    """Sensitivities times deviations, squared and summed, against 20,000 draws (normal, cut off at 3 sigma)."""
    result = simulate_spread(two_by_35(), replace(FAB, track_width_m=6e-6), READ, draws=20_000)
    resistance = _of(result, "R")
    width = abs(resistance.sensitivities["track_width_m"]) * 6e-6 / 3 / 0.1e-3
    total = width / np.sqrt(resistance.contributions["track_width_m"])

    assert total == pytest.approx(resistance.standard_deviation / resistance.nominal, rel=0.04)


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["circle", "square"])
def test_surface_agrees_with_the_full_calculation(shape: str) -> None:
    """Within 1e-4 for changes up to a quarter of each dimension, all at once."""
    coil = replace(two_by_35(), shape=shape, turns_per_layer=8)
    generator = np.random.default_rng(2)
    changes = generator.uniform(-0.25, 0.25, (12, 4)) * np.array([0.1e-3, 0.02e-3, 18e-6, 82e-6])
    full = np.array(
        [
            [inductance_h(varied(coil, *change)), axis_flux_density_t_per_a(varied(coil, *change), 2e-3)]
            for change in changes
        ]
    )

    quick = response_surface(coil, (2e-3,)).evaluate(changes)

    np.testing.assert_allclose(quick, full, rtol=1e-4)


def test_draws_are_what_the_model_says_of_each_coil() -> None:
    """With one factor at work the extreme draw is the coil itself, heating included."""
    coil = ten_turns()
    result = simulate_spread(coil, Tolerances(copper_m=7e-6), READ, draws=400, seed=4, distribution="rectangular")
    r20 = result.draws["R20"]
    thinnest = int(np.argmax(r20))
    copper = 35e-6 * resistance_20_ohm(coil) / r20[thinnest]
    thin = replace(coil, copper_m=copper)

    assert resistance_20_ohm(thin) == pytest.approx(r20[thinnest])
    assert inductance_h(thin) == pytest.approx(result.draws["L"][thinnest], rel=2e-5)
    hot = float(at_temperature(r20[thinnest], 23.0))
    assert hot == pytest.approx(result.draws["R"][thinnest])
    assert steady_state(r20[thinnest], Drive(voltage_v=1.0), 60.0, 23.0).rise_k == pytest.approx(
        result.draws["rise"][thinnest]
    )
    assert float(axis_flux_density_t_per_a(thin, 1e-3)) / hot == pytest.approx(
        result.draws["B@1mm"][thinnest], rel=1e-5
    )


@pytest.mark.parametrize("shape", ["circle", "hexagon"])
def test_gap_is_the_artworks_pitch(shape: str) -> None:
    """A wider gap makes a longer track: R of the extreme draws is that of the coils drawn so, leads included."""
    coil = replace(ten_turns(), shape=shape, lead_resistance_ohm=0.1)
    result = simulate_spread(coil, Tolerances(track_gap_m=20e-6), READ, draws=2000, seed=3, distribution="rectangular")
    low, high = (resistance_20_ohm(varied(coil, 0.0, gap, 0.0, 0.0)) for gap in (-20e-6, 20e-6))

    slope = _of(result, "R20").sensitivities["track_gap_m"]
    assert (high - low) / 40e-6 * coil.track_gap_m / resistance_20_ohm(coil) == pytest.approx(slope, rel=1e-3)
    assert low == pytest.approx(float(result.draws["R20"].min()), rel=1e-4)
    assert high == pytest.approx(float(result.draws["R20"].max()), rel=1e-4)


def test_same_seed_gives_the_same_draws() -> None:
    """To the last digit."""
    first = simulate_spread(ten_turns(), Tolerances(track_width_m=10e-6), READ, draws=50, seed=9)
    again = simulate_spread(ten_turns(), Tolerances(track_width_m=10e-6), READ, draws=50, seed=9)

    np.testing.assert_array_equal(first.draws["L"], again.draws["L"])


@pytest.mark.parametrize("distribution", ["normal", "rectangular"])
def test_draws_stay_within_the_tolerance(distribution: str) -> None:
    """No coil that the tolerance excludes."""
    result = simulate_spread(ten_turns(), Tolerances(track_width_m=30e-6), READ, draws=5000, distribution=distribution)
    low, high = (resistance_20_ohm(ten_turns().with_width_change(w)) for w in (30e-6, -30e-6))

    assert low <= result.draws["R20"].min() * (1 + 1e-9)
    assert result.draws["R20"].max() <= high * (1 + 1e-9)


def test_no_tolerance_gives_no_spread() -> None:
    """All contributions are 0, not a division by zero."""
    result = simulate_spread(ten_turns(), Tolerances(), READ, draws=10)

    assert 0.0 == pytest.approx(_of(result, "L").standard_deviation, abs=1e-20)
    assert {0.0} == set(_of(result, "L").contributions.values())


def test_tolerance_that_leaves_no_coil_is_refused() -> None:
    """Wider than the gap."""
    with pytest.raises(GeometryError, match="track gap"):
        simulate_spread(ten_turns(), Tolerances(track_width_m=0.25e-3), READ)


@pytest.mark.parametrize(
    ("change", "message"),
    [({"draws": 1}, "draws must be"), ({"distribution": "triangular"}, "distribution must be")],
)
def test_impossible_request_is_refused(change: dict[str, object], message: str) -> None:
    """In words."""
    with pytest.raises(ValueError, match=message):
        simulate_spread(ten_turns(), Tolerances(), READ, **change)
    with pytest.raises(ValueError, match="0 or above"):
        simulate_spread(ten_turns(), Tolerances(copper_m=-1e-6), READ)
