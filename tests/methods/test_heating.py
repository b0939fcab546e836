"""Self-heating against truth: rises, thermal resistance, climbing, audits."""

from dataclasses import replace
from pathlib import Path

import pytest

from sim.truth import CoilTruth
from station.core.equipment import InstrumentSetup
from station.core.results import Decision, ResultStatus
from tests.end_to_end.shop import code_of
from tests.methods.oven import ONE, QUICK, coil, oven, plan_with, safe, steady_rise_k, terms, value

TWO = terms(70.0, (0.7, 15.0), (0.3, 1.2))


def _early(home: Path, unit: CoilTruth, *, seed: int = 7) -> tuple[float, float, float, float]:
    """Return rise, uncertainty, truth and duration of a unit that may be stopped early."""
    with oven(home, [coil(8.0), unit], seed=seed) as opened:
        opened.measure(0)
        before_s = opened.place.clock.monotonic()
        record = opened.measure(1)
        rise_k, uncertainty_k = value(record, "rise@2V")
        took_s = opened.place.clock.monotonic() - before_s
        return rise_k, uncertainty_k, steady_rise_k(opened, opened.units[1], 2.0), took_s


@pytest.mark.slow
def test_ladder_finds_the_rise_of_each_level(tmp_path: Path) -> None:
    """The first unit is soaked out; every rise covers the truth, and so does what follows from them."""
    with oven(tmp_path, [coil(8.0, thermal=TWO)], plan=plan_with()) as opened:
        record = opened.measure(0)
        wrong = [
            (name, got, truth_k)
            for name, voltage_v in (("rise@1V", 1.0), ("rise@1.5V", 1.5), ("rise@2V", 2.0))
            for got, truth_k in [(value(record, name), steady_rise_k(opened, opened.units[0], voltage_v))]
            if abs(got[0] - truth_k) > 1.5 * got[1] or got[1] > 0.5
        ]

        assert (Decision.PASS, []) == (record.decision, wrong)
        assert 70.0 == pytest.approx(value(record, "Rth@air")[0], abs=1.0)
        assert safe(opened)


@pytest.mark.slow
@pytest.mark.parametrize("thermal", [ONE, TWO], ids=["one time constant", "two"])
def test_early_stop_covers_the_truth(tmp_path: Path, thermal: tuple[object, ...]) -> None:
    """The second unit is stopped while it climbs, and right all the same."""
    unit = replace(coil(7.6), thermal=thermal)  # type: ignore[arg-type]
    rise_k, uncertainty_k, truth_k, took_s = _early(tmp_path, unit)

    assert abs(rise_k - truth_k) <= 1.5 * uncertainty_k
    assert uncertainty_k < 0.5
    assert took_s < 60.0


@pytest.mark.slow
def test_common_practice_at_five_volt(tmp_path: Path) -> None:
    """Common practice, no source: 16.5 and 23.4 ohm at 5 V and 70 K/W differ by about 20 K; at 45 K/W by 14.5 K.

    Hot copper resists more: without that it would be 31 K at 70 K/W and 20 K at 45 K/W.
    """
    plan = plan_with(
        *QUICK, ('"2 V"]', '"5 V"]'), ('"rise@2V"', '"rise@5V"'), ('"40 K"', '"110 K"'), ("80 degC", "130 degC"),
        ('"9.2 ohm"', '"30 ohm"'), ('power_limit = "1.5 W"', 'power_limit = "5 W"'),
        ('"50 K/W"', '"20 K/W"'), ('soak = "2 min"', 'soak = "3 min"'),
    )
    coils = [
        coil(ohm, thermal=terms(total, (1.0, 15.0))) for total in (70.0, 45.0) for ohm in (16.5, 23.4)
    ]
    with oven(tmp_path, coils, plan=plan) as opened:
        rises = [value(opened.measure(index), "rise@5V")[0] for index in range(4)]

    assert 20.0 == pytest.approx(rises[0] - rises[1], abs=0.7)
    assert 14.5 == pytest.approx(rises[2] - rises[3], abs=0.7)


@pytest.mark.slow
def test_current_drive_finds_the_rise(tmp_path: Path) -> None:
    """A constant current heats a copper coil the more the hotter it gets: closed form of the energy balance."""
    plan = plan_with(*QUICK, ('"2 V"]', '"200 mA"]'), ('"rise@2V"', '"rise@0.2A"'))
    with oven(tmp_path, [coil(8.0)], plan=plan) as opened:
        rise_k, uncertainty_k = value(opened.measure(0), "rise@0.2A")
    gain = 0.2**2 * 8.0 * 70.0
    truth_k = gain * (1 + 3.0 / 254.5) / (1 - gain / 254.5)

    assert truth_k == pytest.approx(rise_k, abs=1.5 * uncertainty_k)


@pytest.mark.slow
def test_largest_drive_would_reach_the_limit(tmp_path: Path) -> None:
    """`drive@80degC` put into the closed form gives the plan's limit, at the plan's ambient."""
    with oven(tmp_path, [coil(8.0)]) as opened:
        voltage_v, _ = value(opened.measure(0), "drive@80degC")

        assert 57.0 == pytest.approx(steady_rise_k(opened, opened.units[0], voltage_v), abs=0.7)


@pytest.mark.slow
def test_surface_is_kept_apart_from_the_winding(tmp_path: Path) -> None:
    """A surface that shows four fifths of the winding's rise has a result of its own."""
    with oven(tmp_path, [coil(8.0, surface=0.8)]) as opened:
        record = opened.measure(0)
        winding_k, surface_k = value(record, "rise@2V")[0], value(record, "surface@2V")[0]

    assert 0.8 == pytest.approx(surface_k / winding_k, abs=0.02)


@pytest.mark.slow
def test_curve_is_on_record(tmp_path: Path) -> None:
    """One trace with both temperatures, power and what was foretold."""
    with oven(tmp_path, [coil(8.0)]) as opened:
        record = opened.measure(0)
    trace = next(each for each in record.traces if each.name == "heating")
    columns = dict(trace.columns)

    assert {"time_s", "voltage_v", "current_a", "winding_rise_k", "surface_degc", "ambient_degc"} <= set(columns)
    assert len({len(each) for each in columns.values()}) == 1
    assert value(record, "rise@2V")[0] == pytest.approx(columns["foretold_rise_k"][-1], abs=0.3)


@pytest.mark.slow
def test_ladder_ends_below_the_temperature_limit(tmp_path: Path) -> None:
    """A level foretold to pass the limit is left out; a plan that limits it gets no PASS out of the levels below."""
    plan = plan_with(("80 degC", "50 degC"))
    with oven(tmp_path, [coil(8.0)], plan=plan) as opened:
        record = opened.measure(0)
    curve = next(each for each in record.traces if each.name == "heating")
    hottest_degc = max(dict(curve.columns)["surface_degc"])
    left_out = next(each for each in record.results if each.characteristic == "rise@2V")

    assert (Decision.INVALID, "level_above_limit") == (record.decision, code_of(record))
    assert ResultStatus.NOT_MEASURED is left_out.status
    assert hottest_degc < 50.0


@pytest.mark.slow
def test_level_left_out_that_nothing_limits_leaves_the_decision_to_the_others(tmp_path: Path) -> None:
    """Judged on what was measured, the reason on record."""
    plan = plan_with(("80 degC", "50 degC"), ('"rise@2V"', '"rise@1V"'))
    with oven(tmp_path, [coil(8.0)], plan=plan) as opened:
        record = opened.measure(0)
    left_out = next(each for each in record.results if each.characteristic == "rise@2V")

    assert Decision.PASS is record.decision
    assert left_out.reason is not None
    assert "degC" in left_out.reason.words


@pytest.mark.slow
def test_ambient_drift_is_removed(tmp_path: Path) -> None:
    """Half a kelvin a minute, over a full soak of two minutes, moves no rise."""

    with oven(tmp_path, [coil(8.0)]) as opened:
        world = opened.sim.world
        drift_k_per_s = 0.5 / 60.0
        start_s = opened.place.clock.monotonic()
        advance = world.advance

        def drifting(now_s: float) -> None:
            advance(now_s)
            world.set_ambient(23.0 + drift_k_per_s * (now_s - start_s))

        world.advance = drifting  # type: ignore[method-assign]
        rise_k, uncertainty_k = value(opened.measure(0), "rise@2V")

        # R follows the absolute temperature: a kelvin more of ambient is 0.4 % less power at constant voltage.
        assert steady_rise_k(opened, opened.units[0], 2.0) == pytest.approx(rise_k, abs=uncertainty_k + 0.25)


@pytest.mark.slow
def test_audit_takes_the_right_to_stop_early_away(tmp_path: Path) -> None:
    """A slow third term is there from the third unit on: the next soaked unit disagrees, and all are soaked out."""
    slow = terms(70.0, (0.62, 15.0), (0.28, 1.2), (0.1, 60.0))
    plan = plan_with(*QUICK, ("audit_one_in = 1000", "audit_one_in = 3"), ('soak = "2 min"', 'soak = "5 min"'))
    coils = [coil(8.0, thermal=TWO)] * 2 + [coil(8.0, thermal=slow)] * 4
    took = []
    with oven(tmp_path, coils, plan=plan) as opened:
        for index in range(len(coils)):
            before_s = opened.place.clock.monotonic()
            opened.measure(index)
            took.append(opened.place.clock.monotonic() - before_s > 250.0)

    assert [True, False, False, True, True, True] == took


@pytest.mark.slow
def test_source_with_counts_still_finds_the_rise(tmp_path: Path) -> None:
    """0.1 mA and 0.5 mV of offset are worth a kelvin at the cold look: the curve's own start says better."""
    with oven(tmp_path, [coil(8.0, thermal=TWO)] * 2, plan=plan_with()) as opened:
        errors = opened.sim.world.errors
        opened.sim.world.errors = replace(errors, source_current_offset_a=1e-4, source_voltage_offset_v=-5e-4)
        opened.bench.setup = replace(opened.bench.setup, instruments=_with_counts(opened.bench.setup.instruments))
        wrong = [
            (name, got, truth_k)
            for index in range(2)
            for record in [opened.measure(index)]
            for name, voltage_v in (("rise@1V", 1.0), ("rise@1.5V", 1.5), ("rise@2V", 2.0))
            for got, truth_k in [(value(record, name), steady_rise_k(opened, opened.units[index], voltage_v))]
            if abs(got[0] - truth_k) > 1.5 * got[1] or got[1] > 1.0
        ]

    assert [] == wrong


def _with_counts(instruments: tuple[InstrumentSetup, ...]) -> tuple[InstrumentSetup, ...]:
    counts = {"current_a": 1e-4, "voltage_v": 5e-4}
    return tuple(
        replace(
            each,
            accuracies=tuple(
                replace(line, counts=1.0, resolution=counts[line.quantity]) if each.kind == "source" else line
                for line in each.accuracies
            ),
        )
        for each in instruments
    )
