"""Narrow copper told from thin by coupons, widths and sections, on simulated lots of known etch and plating."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from sim.design import IS_20
from sim.lot import NO_DEFECTS, Lot, Spread
from station.causes.copper import CopperFinding, copper_parts
from station.causes.copper_findings import coupon_finding, thickness_finding, width_finding
from station.causes.explain import LotExplanation, explain_lot, explain_unit
from station.causes.kinds import CAUSES, COPPER_HIGH, Cause
from station.causes.level import ReferenceShift
from station.causes.study import Study, study_of, unit_probabilities
from station.coil import predict
from station.coil.constants import COPPER_RESISTIVITY_OHM_M
from station.coil.coupons import CouponTrack, etch_and_sheet
from station.coil.track_widths import TrackWidth, implied_resistance
from tests.causes.makers import DRAWN, LIMITS, Bench, lot_units, measure

STILL = Spread(etch_bias_m=0.0, panel_etch_m=1e-6, panel_copper=0.02, gradient=0.04, neck=0.01)
"""A board maker of little spread, so that what is put on the lot is what it has."""
ETCHED, THIN = 0.92, 0.92
STEADY = (ReferenceShift("R20", 2e-4, 5e-4), ReferenceShift("L", -1e-4, 8e-4))


def _coupons(panel: str, width: float, thickness: float, *, seed: int = 0) -> CopperFinding:
    """Coupons of a panel whose tracks are `width` and copper `thickness` of the drawing, read at 0.1 %."""
    generator = np.random.default_rng(seed)
    loss_m, copper_m = IS_20.track_width_m * (1 - width), IS_20.copper_m * thickness
    tracks = []
    for drawn_m in (0.1e-3, 0.4e-3):
        ohm = COPPER_RESISTIVITY_OHM_M * 0.05 / (copper_m * (drawn_m - loss_m))
        tracks.append(CouponTrack(drawn_m, 0.05, ohm * (1 + 1e-3 * generator.standard_normal()), 20.0, 1e-3 * ohm))
    return coupon_finding(panel, IS_20, etch_and_sheet(tracks, temperature_uncertainty_k=0.3))


def _widths(serial: str, width: float, *, seen_ohm: float = float("nan")) -> CopperFinding:
    places = [
        TrackWidth(layer, turn, IS_20.track_width_m * width, 1e-6) for layer in (1, 2) for turn in (1.0, 10.0, 20.0)
    ]
    return width_finding(serial, IS_20, implied_resistance(IS_20, places), seen_ohm=seen_ohm)


def _lot(
    factor: float,
    copper: Sequence[CopperFinding] = (),
    *,
    bench: Bench | None = None,
    reference: tuple[ReferenceShift, ...] = STEADY,
) -> Study:
    """A lot of four panels whose R20 is 1/factor of the drawing's, for whatever reason."""
    findings = measure(lot_units(Lot(3, panels=4, rates=NO_DEFECTS, spread=STILL)), bench=bench)
    luck = np.median(findings.value("R20")) / (bench.dc_gain if bench else 1.0) / predict(IS_20).resistance_20_ohm
    values = {
        name: column / luck / factor if name.startswith("R") else column for name, column in findings.values.items()
    }
    low, high = LIMITS["R20"]
    decisions = tuple("PASS" if low <= each <= high else "FAIL" for each in values["R20"])
    return study_of(
        replace(findings, values=values, decisions=decisions), DRAWN, reference=reference, copper=tuple(copper)
    )


def _level(found: LotExplanation) -> Cause:
    return found.level[0].cause


def test_without_measured_copper_narrow_stays_narrow_or_thin() -> None:
    """R and L alone can't tell, and the answer doesn't pretend to."""
    found = explain_lot(_lot(ETCHED))

    assert Cause.NARROW is _level(found)
    assert not {Cause.NARROW_TRACK, Cause.THIN_COPPER} & {each.cause for each in found.level}


@pytest.mark.parametrize(
    ("width", "thickness", "cause"), [(ETCHED, 1.0, Cause.NARROW_TRACK), (1.0, THIN, Cause.THIN_COPPER)]
)
def test_coupons_of_two_panels_tell_an_etched_lot_from_a_thin_one(width: float, thickness: float, cause: Cause) -> None:
    """Same R20, same L: two widths say which; the ask names it and no longer asks for coupons."""
    copper = [_coupons("01", width, thickness, seed=1), _coupons("03", width, thickness, seed=2)]
    found = explain_lot(_lot(ETCHED, copper))

    assert cause is _level(found)
    assert found.level[0].probability > 0.9
    assert any("copper explains R20" in each for each in found.level_evidence)
    assert "by measurement" in found.asks[0]


def test_shift_of_a_lot_is_divided_between_bench_and_boards() -> None:
    """R20 8 % high of etch on a bench whose reference unit reads 2 % high: 2 % ours, the rest theirs, by width."""
    reference = (ReferenceShift("R20", np.log(1.02), 5e-4),)
    bench = Bench(dc_gain=1.02)
    plain = explain_lot(_lot(ETCHED, bench=bench, reference=reference)).shift
    copper = [_coupons("01", ETCHED, 1.0, seed=1), _coupons("03", ETCHED, 1.0, seed=2)]
    told = explain_lot(_lot(ETCHED, copper, bench=bench, reference=reference)).shift

    assert plain is not None
    assert told is not None
    assert plain.bench is not None
    assert np.log(1.02) == pytest.approx(plain.bench.value)
    assert -np.log(ETCHED) == pytest.approx(plain.boards[0].value, abs=0.002)
    assert plain.total == pytest.approx(plain.bench.value + sum(each.value for each in told.boards), abs=1e-9)
    assert -np.log(ETCHED) == pytest.approx(told.boards[0].value, abs=2 * told.boards[0].standard_uncertainty)


def test_panels_are_told_apart_by_their_own_coupons() -> None:
    """One panel etched, another thin, R20 alike: each gets its own cause."""
    found = explain_lot(_lot(0.85, [_coupons("01", 0.85, 1.0, seed=1), _coupons("02", 1.0, 0.85, seed=2)]))

    assert ["01", "02"] == [each.panel for each in found.panels]
    assert [Cause.NARROW_TRACK, Cause.THIN_COPPER] == [each.causes[0].cause for each in found.panels]
    assert all("against the drawing: width" in each.words for each in found.panels)


def test_failing_units_of_an_etched_lot_are_called_narrow_tracks_on_every_panel() -> None:
    """Those on the panels with coupons, and, less surely, on the others of the lot."""
    study = _lot(0.82, [_coupons("01", 0.82, 1.0, seed=1), _coupons("02", 0.82, 1.0, seed=2)])
    found = explain_lot(study)
    called = {each.cause: each.passed + each.not_passed for each in found.table}

    assert Cause.NARROW not in called
    assert called[Cause.NARROW_TRACK] > 0.9 * sum(called.values())


@pytest.mark.parametrize(
    ("width", "thickness", "cause"),
    [(0.8, 1.0, Cause.NARROW_TRACK), (1.0, 0.8, Cause.THIN_COPPER), (1.0, 1.0, Cause.LOCAL)],
)
def test_odd_unit_is_divided_by_its_own_widths_and_section(width: float, thickness: float, cause: Cause) -> None:
    """A unit 25 % high: etched, thin, or, if both are as drawn, one narrow place or a poor via."""
    study = _lot(1.0)
    serial = study.findings.serials[5]
    copper = (
        _widths(serial, width),
        thickness_finding(serial, IS_20, [IS_20.copper_m * thickness], 0.2e-6, of_unit=True),
    )
    values = {name: column.copy() for name, column in study.findings.values.items()}
    for name in ("R20", "Rs"):
        values[name][5] = predict(IS_20).resistance_20_ohm * 1.25
    decisions = tuple("FAIL" if place == 5 else each for place, each in enumerate(study.findings.decisions))
    findings = replace(study.findings, values=values, decisions=decisions)
    found = explain_unit(study_of(findings, DRAWN, reference=STEADY, copper=copper), 5)
    causes = {each.cause: each.probability for each in found.causes}

    assert cause is found.likeliest.cause, causes
    assert any("widths at 6 places" in each for each in found.evidence)
    assert any("against the drawing: width" in each for each in found.evidence)


def test_copper_as_drawn_takes_what_is_odd_to_contact_and_warmth() -> None:
    """A unit 12 % high whose widths and section are as drawn: where no contact was proved, that is the likelier by
    far more than before anybody looked."""
    study = _lot(1.0)
    serial = study.findings.serials[5]
    values = {name: column.copy() for name, column in study.findings.values.items()}
    for name in ("R20", "Rs"):
        values[name][5] = predict(IS_20).resistance_20_ohm * 1.12
    findings, drawn = replace(study.findings, values=values), replace(DRAWN, contact_checked=False)
    copper = (
        _widths(serial, 1.0),
        thickness_finding(serial, IS_20, [IS_20.copper_m] * 4, 0.2e-6, of_unit=True),
    )
    before, after = (
        unit_probabilities(study_of(findings, drawn, reference=STEADY, copper=each))[5] for each in ((), copper)
    )
    contact = CAUSES.index(Cause.POOR_CONTACT)
    high = [CAUSES.index(each) for each in COPPER_HIGH]

    assert after[contact] / after[high].sum() > 3 * before[contact] / before[high].sum()


def test_copper_as_drawn_and_r20_high_without_a_reference_unit_points_at_the_bench() -> None:
    """Widths and sections owe nothing to our meter: they speak where no reference unit was run."""
    bench = Bench(dc_gain=1.08, ac_gain=1.08)
    drifted = _lot(1.0, bench=bench, reference=())
    plain = explain_lot(drifted)
    order = np.argsort(np.abs(drifted.seen[:, 0] - np.median(drifted.seen[:, 0])))
    names = [drifted.findings.serials[each] for each in order[:3]]
    copper = [_widths(each, 1.0) for each in names]
    copper += [thickness_finding(each, IS_20, [IS_20.copper_m], 0.2e-6, of_unit=True) for each in names]
    told = explain_lot(_lot(1.0, copper, bench=bench, reference=()))

    assert _drift(told) > 0.9
    assert _drift(plain) < _drift(told)
    assert any("copper does not explain R20" in each for each in told.level_evidence)


def test_coupons_read_on_the_drifted_meter_dont_acquit_it() -> None:
    """They read 8 % thin as the coils do; the reference unit still says that it is the bench."""
    drifted = (ReferenceShift("R20", np.log(1.08), 5e-4), ReferenceShift("L", np.log(1.08), 8e-4))
    bench = Bench(dc_gain=1.08, ac_gain=1.08)
    found = explain_lot(_lot(1.0, [_coupons("01", 1.0, 1 / 1.08)], bench=bench, reference=drifted))

    assert Cause.BENCH_DRIFT is _level(found)


def test_damage_stays_damage_whatever_the_copper() -> None:
    """A unit with shorted turns on a panel with coupons keeps its cause."""
    lot = Lot(3, panels=4, rates=NO_DEFECTS, spread=STILL, defects={"L2641-01-B03": "shorted_turns"})
    findings = measure(lot_units(lot))
    plain = study_of(findings, DRAWN, reference=STEADY)
    row = findings.serials.index("L2641-01-B03")
    told = study_of(findings, DRAWN, reference=STEADY, copper=(_coupons("01", 1.0, 1.0), _widths("L2641-01-B03", 1.0)))

    assert Cause.SHORTED_TURNS is explain_unit(plain, row).likeliest.cause
    assert Cause.SHORTED_TURNS is explain_unit(told, row).likeliest.cause


def test_parts_add_up_to_r20_and_hold_the_truth() -> None:
    """2,000 panels of random etch, plating and necks: the parts' 95 % intervals hold 93 % or more of the true parts.

    Priors are wider than the simulated maker, so more than 95 % is right.
    """
    generator = np.random.default_rng(5)
    held = np.zeros(3)
    rounds = 2_000
    for number in range(rounds):
        width, thickness, neck = 0.05 * generator.standard_normal(), 0.07 * generator.standard_normal(), 0.01
        panel_r = -width - thickness
        unit_r = panel_r + neck + 0.004 * generator.standard_normal()
        finding = _coupons("01", float(np.exp(width)), float(np.exp(thickness)), seed=number)
        found = copper_parts([finding], np.array([unit_r]), panel_r, 0.0)
        sd = np.sqrt(np.diag(found.covariance[0]))
        held += np.abs(found.parts[0] - [-width, -thickness, neck]) <= 1.96 * sd
        assert unit_r == pytest.approx(float(found.parts[0].sum()), abs=0.01)

    assert (held / rounds > 0.93).all()


@pytest.mark.slow
def test_stated_probability_of_narrow_or_thin_is_the_share_that_is_right() -> None:
    """1,500 high units of random etch, plating, resistivity and necks, their panels with coarse coupons: of what is
    said with 70 to 90 %, as much is so (four standard errors are 0.08)."""
    generator = np.random.default_rng(9)
    spreads = np.array([0.06, 0.08, 0.015, 0.04, 0.02, 0.015])
    covariance = np.diag([0.04**2, 0.05**2])
    stated, right = [], []
    while len(stated) < 1_500:
        width, thickness, own_width, own_thickness, resistivity, place = spreads * generator.standard_normal(6)
        if generator.random() < 0.1:
            place = 0.2 * generator.standard_normal()  # one unit in ten has a neck or a poor via
        panel_r = resistivity - width - thickness
        unit_r = panel_r - own_width - own_thickness + place
        if unit_r < 0.05:
            continue
        values = np.array([width, resistivity - thickness]) + generator.multivariate_normal([0, 0], covariance)
        finding = CopperFinding("01", False, ("width", "sheet"), values, covariance, "")
        main = copper_parts([finding], np.array([unit_r]), panel_r, 0.0).main(narrow=True)[0]
        true = [-width - own_width, resistivity - thickness - own_thickness, place]
        stated.append(float(main.max()))
        right.append(int(main.argmax()) == int(np.argmax(true)))
    between = (np.array(stated) > 0.7) & (np.array(stated) < 0.9)

    assert between.sum() > 200
    assert np.array(stated)[between].mean() == pytest.approx(np.array(right)[between].mean(), abs=0.08)


def test_lot_without_findings_is_reckoned_as_before() -> None:
    """No finding, no change: the same numbers to the last digit."""
    study = _lot(0.85)

    assert np.array_equal(unit_probabilities(study), unit_probabilities(replace(study, copper=type(study.copper)())))
    assert not study.copper


def _drift(found: LotExplanation) -> float:
    return sum(each.probability for each in found.level if each.cause is Cause.BENCH_DRIFT)
