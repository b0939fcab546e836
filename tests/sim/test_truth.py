"""What a coil is."""

from math import inf, pi

import pytest

from sim.lot import truth_near
from sim.truth import GOOD_CONTACT_OHM, SkinRise, ThermalTerm, shorting_piece


def test_resistance_follows_the_winding_constant() -> None:
    """R2/R1 = (234.5 + T2)/(234.5 + T1), IEC 60034-1: 20 to 74.5 degC is 309/254.5."""
    coil = truth_near("U1", resistance_20_ohm=10.0)

    assert 10.0 * 309.0 / 254.5 == pytest.approx(coil.resistance_ohm(74.5), rel=1e-12)


def test_impedance_is_that_of_a_coil_beside_its_capacitance() -> None:
    """Far below resonance the apparent L is L / (1 - w^2 L C), R aside."""
    plain = truth_near("U1", resistance_20_ohm=1e-6, inductance_h=10e-6)
    coil = type(plain)("U1", 1e-6, 10e-6, plain.field_per_ampere, self_capacitance_f=20e-12)
    omega = 2 * pi * 1e6
    expected_h = 10e-6 / (1 - omega**2 * 10e-6 * 20e-12)

    assert expected_h == pytest.approx(coil.impedance_ohm(1e6, 20.0).imag / omega, rel=1e-9)


def test_skin_rise_is_one_at_dc_and_two_at_its_corner() -> None:
    """The ratio grows with the square of frequency."""

    assert [1.0, 2.0, 5.0] == [SkinRise(1e6)(f) for f in (0.0, 1e6, 2e6)]


def test_open_coil_has_infinite_impedance() -> None:
    """A cut winding is known by its resistance."""
    coil = truth_near("U1", resistance_20_ohm=inf)

    assert coil.open
    assert inf == coil.impedance_ohm(1e5, 23.0).real


def test_reseating_cures_a_contact_that_it_can_cure() -> None:
    """The second seating has clean contacts."""
    plain = truth_near("U1")
    coil = type(plain)(
        "U1", 8.0, 1e-5, plain.field_per_ampere, contact_start_ohm=inf, contact_cured_by_reseating=True
    )

    assert (inf, GOOD_CONTACT_OHM) == coil.contacts_ohm(1)
    assert (GOOD_CONTACT_OHM, GOOD_CONTACT_OHM) == coil.contacts_ohm(2)


def test_shorting_piece_has_neither_resistance_nor_inductance() -> None:
    """It is what the short correction wants."""
    piece = shorting_piece()

    assert 0j == piece.impedance_ohm(1e5, 23.0)
    assert 0.0 == piece.flux_density_t_per_a(0.001, 0.0)


def test_time_constant_is_resistance_times_capacity() -> None:
    """70 K/W and 0.2 J/K are 14 s."""

    assert 14.0 == pytest.approx(ThermalTerm(70.0, 0.2).time_constant_s)
