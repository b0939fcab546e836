"""A lot of coils."""

from math import inf
from statistics import fmean, stdev

import pytest

from sim.design import IS_20, design_values
from sim.lot import DEFECTS, NO_DEFECTS, DefectRates, Lot, truth_near


def test_unit_does_not_depend_on_who_asked_before() -> None:
    """A truth is a function of seed and serial."""
    first, second = Lot(7), Lot(7)
    second.truth("L2641-02-C03")

    assert first.truth("L2641-01-A01") == second.truth("L2641-01-A01")
    assert first.truth("L2641-01-A01") != Lot(8).truth("L2641-01-A01")


def test_lot_lists_panels_of_eight_rows_by_twelve() -> None:
    """Serials run through rows A to H and columns 1 to 12 of each panel."""
    serials = list(Lot(1, panels=2).serials())

    assert 192 == len(set(serials))
    assert ("L2641-01-A01", "L2641-02-H12") == (serials[0], serials[-1])


@pytest.mark.parametrize("serial", ["L2642-01-A01", "L2641-99-A01", "L2641-01-A13", "L2641-01-I01", "x"])
def test_serial_of_another_lot_is_unknown(serial: str) -> None:
    """Lot, panel, row and column must be there."""
    with pytest.raises(KeyError):
        Lot(1, panels=10).truth(serial)


def test_resistance_spreads_by_tens_of_per_cent_while_inductance_hardly_moves() -> None:
    """Over 2,880 healthy units: R within +-40 %, several per cent of deviation; L within about 0.2 %."""
    lot = Lot(1, rates=NO_DEFECTS)
    units = [lot.truth(serial) for serial in lot.serials()]
    resistances = [unit.resistance_20_ohm for unit in units]
    inductances = [unit.inductance_h for unit in units]
    nominal = design_values(IS_20)

    assert 0.05 < stdev(resistances) / fmean(resistances) < 0.12
    assert max(resistances) / min(resistances) > 1.3
    assert stdev(inductances) / fmean(inductances) < 0.004
    assert nominal.resistance_20_ohm == pytest.approx(fmean(resistances), rel=0.1)


def test_units_of_one_panel_are_alike() -> None:
    """The spread within a panel is below that of the lot: thickness belongs to the panel."""
    lot = Lot(1, rates=NO_DEFECTS)
    resistances = [lot.truth(serial).resistance_20_ohm for serial in lot.serials()]
    panels = [resistances[start : start + 96] for start in range(0, len(resistances), 96)]

    assert fmean(stdev(panel) for panel in panels) < stdev(resistances)


def test_defects_come_at_their_rates() -> None:
    """With one in ten of each, 2,880 units hold 288 of each within five standard deviations."""
    lot = Lot(1, rates=DefectRates(0.1, 0.1, 0.1, 0.1, 0.1))
    defects = [lot.truth(serial).defect for serial in lot.serials()]

    assert all(288 == pytest.approx(defects.count(defect), abs=80) for defect in DEFECTS)


def test_named_defect_is_put_on_its_serial() -> None:
    """What the script says overrules chance, both ways."""
    lot = Lot(1, defects={"L2641-01-A01": "open", "L2641-01-A02": ""}, rates=DefectRates(open=1.0))

    assert ("open", inf) == (lot.truth("L2641-01-A01").defect, lot.truth("L2641-01-A01").resistance_20_ohm)
    assert "" == lot.truth("L2641-01-A02").defect


def test_shorted_turns_lower_resistance_and_inductance_together() -> None:
    """Both fall, L by more."""
    serial = "L2641-01-A01"
    healthy = Lot(1, rates=NO_DEFECTS).truth(serial)
    shorted = Lot(1, defects={serial: "shorted_turns"}).truth(serial)
    of_resistance = shorted.resistance_20_ohm / healthy.resistance_20_ohm
    of_inductance = shorted.inductance_h / healthy.inductance_h

    assert of_inductance < of_resistance < 1.0
    assert shorted.flux_density_t_per_a(2e-3, 0.0) < healthy.flux_density_t_per_a(2e-3, 0.0)


def test_bridged_winding_answers_by_frequency() -> None:
    """A shorted turn takes more of L and adds more to R the higher the frequency; R follows the temperature."""
    serial = "L2641-01-A01"
    shorted = Lot(1, defects={serial: "shorted_turns"}).truth(serial)
    low, high = (shorted.impedance_ohm(each, 20.0) for each in (1e3, 1e6))
    warm = shorted.impedance_ohm(1e3, 45.0)

    assert high.real > 1.5 * low.real
    assert high.imag / 1e6 < low.imag / 1e3
    assert (234.5 + 45.0) / 254.5 == pytest.approx(warm.real / low.real, rel=1e-3)


def test_layer_short_takes_more_than_one_turn() -> None:
    """A bridge through the film cuts out the inner part of both layers."""
    serial = "L2641-01-A01"
    healthy = Lot(1, rates=NO_DEFECTS).truth(serial)
    shorted = Lot(1, defects={serial: "layer_short"}).truth(serial)

    assert shorted.resistance_20_ohm < 0.99 * healthy.resistance_20_ohm
    assert shorted.inductance_h < 0.99 * healthy.inductance_h


def test_poor_contact_is_cured_by_reseating() -> None:
    """The first seating is bad on one pad, the second good."""
    serial = "L2641-01-A01"
    unit = Lot(1, defects={serial: "poor_contact"}).truth(serial)

    assert max(unit.contacts_ohm(1)) >= 5.0
    assert max(unit.contacts_ohm(2)) < 0.01


def test_truth_near_is_what_is_stated() -> None:
    """Stated values are kept, the others are the design's."""
    unit = truth_near("U1", resistance_20_ohm=9.2)

    assert (9.2, design_values(IS_20).inductance_h) == (unit.resistance_20_ohm, unit.inductance_h)
