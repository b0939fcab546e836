"""What goes wrong while a coil is heated: not measured, drive off, and nobody gets a hot coil into the hand."""

from collections.abc import Callable
from dataclasses import replace
from itertools import groupby, pairwise
from pathlib import Path

import pytest

import sim.instruments.thermometer_polled as polled
from sim.bench import SOURCE, THERMOMETER
from sim.faults import Fault, FaultKind
from sim.instruments.line import LineInstrument
from sim.truth import CoilTruth
from sim.world import World
from station.core.events import Event, HeatingSample, NestCool, NestHot, NextAction
from station.core.results import Decision
from station.core.run_record import RunRecord
from station.heat_memory import HeatOnDisk
from tests.end_to_end.shop import OpenShop, code_of
from tests.methods.oven import QUICK, Meddler, coil, oven, plan_with, safe, steady_rise_k, terms

pytestmark = pytest.mark.slow


def _run(
    home: Path,
    unit: CoilTruth,
    *changes: tuple[str, str],
    faults: tuple[Fault, ...] = (),
    act: Callable[[World, float], None] | None = None,
    at_k: float = 10.0,
) -> tuple[RunRecord, bool]:
    meddler = Meddler(at_k, act) if act else None
    with oven(home, [unit], plan=plan_with(*QUICK, *changes), faults=faults, hook=meddler) as opened:
        if meddler:
            meddler.opened = opened
        record = opened.measure(0)
        return record, safe(opened) and record.drive_off_verified


def test_sensor_that_opens_ends_the_heating(tmp_path: Path) -> None:
    """A missing reading is not a cold one."""
    record, off = _run(
        tmp_path, coil(8.0), faults=(Fault(THERMOMETER, FaultKind.OVERLOAD, nth=150, amount=1e6),)
    )

    assert (Decision.INVALID, "sensor_open", True) == (record.decision, code_of(record), off)


def test_thermometer_that_falls_silent_ends_the_heating(tmp_path: Path) -> None:
    """No reply is no temperature."""
    record, off = _run(tmp_path, coil(8.0), faults=(Fault(THERMOMETER, FaultKind.SILENT, nth=150, times=0),))

    assert (Decision.INVALID, "no_reply", True) == (record.decision, code_of(record), off)


@pytest.mark.parametrize(("ratio", "code"), [(-1.0, "thermometer_reversed"), (0.0, "thermometer_idle")])
def test_thermometer_that_does_not_follow_ends_the_heating(tmp_path: Path, ratio: float, code: str) -> None:
    """Plugged in the wrong way round it falls; off the coil it stays."""
    record, off = _run(tmp_path, coil(8.0, surface=ratio))

    assert (Decision.INVALID, code, True) == (record.decision, code_of(record), off)


def test_swapped_thermometers_end_the_heating(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The ambient's climbs with the winding, the coil's does not."""
    shown = polled.shown_temperatures

    def swapped(instrument: LineInstrument) -> tuple[float, float] | None:
        found = shown(instrument)
        return found and (found[1], found[0])

    monkeypatch.setattr(polled, "shown_temperatures", swapped)
    record, off = _run(tmp_path, coil(8.0))

    assert (Decision.INVALID, "thermometers_swapped", True) == (record.decision, code_of(record), off)


def test_source_that_limits_the_current_is_in_the_wrong_mode(tmp_path: Path) -> None:
    """2 V were asked for, 50 mA flow."""
    record, off = _run(tmp_path, coil(8.0), ('current_limit = "0.5 A"', 'current_limit = "50 mA"'))

    assert (Decision.INVALID, "drive_not_as_set", True) == (record.decision, code_of(record), off)


def test_protection_that_was_not_taken_keeps_the_drive_off(tmp_path: Path) -> None:
    """The source's own over-current protection reads back otherwise: no output on."""
    record, off = _run(
        tmp_path, coil(8.0), faults=(Fault(SOURCE, FaultKind.COMMAND_LOST, matching="CURR:PROT ", times=0),)
    )

    assert (Decision.INVALID, "not_as_set", True) == (record.decision, code_of(record), off)


def _scaled(world: World, part: float) -> None:
    assert world.coil is not None
    world.coil = replace(world.coil, resistance_20_ohm=8.0 * part)


def test_resistance_that_falls_ends_the_heating(tmp_path: Path) -> None:
    """A winding that loses turns to a growing short gets hotter while its resistance falls."""
    record, off = _run(tmp_path, coil(8.0), act=lambda world, since_s: _scaled(world, 1.0 - 0.005 * since_s))

    assert (Decision.INVALID, "resistance_falls", True) == (record.decision, code_of(record), off)


@pytest.mark.parametrize("part", [0.9, 1.1])
def test_jump_of_resistance_ends_the_heating(tmp_path: Path, part: float) -> None:
    """A short, or a contact that works loose."""
    record, off = _run(tmp_path, coil(8.0), act=lambda world, since_s: _scaled(world, part))

    assert (Decision.INVALID, "resistance_jumps", True) == (record.decision, code_of(record), off)


def test_two_coils_in_one_nest_are_not_heated(tmp_path: Path) -> None:
    """Half the resistance of any coil that passes."""
    record, off = _run(tmp_path, coil(4.0))

    assert (Decision.INVALID, "resistance_unlike", True) == (record.decision, code_of(record), off)


def test_coil_that_reaches_the_limit_is_cut_off(tmp_path: Path) -> None:
    """The first level was too high for it: off at once, and not hotter than a kelvin above."""
    hottest = 0.0

    def note(world: World, since_s: float) -> None:
        nonlocal hottest
        hottest = max(hottest, world.coil_degc)

    record, off = _run(tmp_path, coil(8.0), ("80 degC", "45 degC"), act=note, at_k=1.0)

    assert (Decision.INVALID, "too_hot", True) == (record.decision, code_of(record), off)
    assert hottest < 46.0


def test_power_above_the_limit_is_cut_off(tmp_path: Path) -> None:
    """The plan's power limit holds whatever the drive is."""
    record, off = _run(tmp_path, coil(8.0), ('power_limit = "1.5 W"', 'power_limit = "0.3 W"'))

    assert (Decision.INVALID, "power_above_limit", True) == (record.decision, code_of(record), off)


@pytest.mark.parametrize(("what", "code"), [("guard", "guard_open"), ("stop", "hand_stop")])
def test_guard_and_hand_stop_end_the_heating(tmp_path: Path, what: str, code: str) -> None:
    """Fixture inputs, looked at while the drive is on."""

    def act(world: World, since_s: float) -> None:
        world.guard_closed = what != "guard"
        world.hand_stop = what == "stop"

    record, off = _run(tmp_path, coil(8.0), act=act)

    assert (Decision.INVALID, code, True) == (record.decision, code_of(record), off)


def _heat_unwatched(home: Path, *changes: tuple[str, str]) -> RunRecord:
    with oven(home, [coil(8.0)], plan=plan_with(*QUICK, *changes)) as opened:
        _without_dead_man(opened)
        return opened.measure(0)


def _without_dead_man(opened: OpenShop) -> None:
    setup = opened.bench.setup
    opened.bench.setup = replace(setup, fixture=replace(setup.fixture, dead_man=False))


def test_bench_that_nobody_watches_does_not_heat_above_the_touch_limit(tmp_path: Path) -> None:
    """Memory links have no watchdog; without a dead-man too, only what stays touchable is heated."""
    refused = _heat_unwatched(tmp_path / "hot")
    touchable = _heat_unwatched(
        tmp_path / "warm", ('drive = ["2 V"]', 'drive = ["1 V"]'), ("80 degC", "40 degC"), ("rise@2V", "rise@1V")
    )

    assert (Decision.INVALID, "nobody_watches") == (refused.decision, code_of(refused))
    assert "nobody_watches" != code_of(touchable)


def test_bench_that_is_too_coarse_for_the_plan_is_refused(tmp_path: Path) -> None:
    """Without remote sense a rise can't be told to half a kelvin; neither to 0.05 K with it."""
    with oven(tmp_path / "a", [coil(8.0)]) as opened:
        setup = opened.bench.setup
        opened.bench.setup = replace(setup, fixture=replace(setup.fixture, remote_sense=False))
        by_source_only = opened.measure(0)
    with oven(tmp_path / "b", [coil(8.0)], plan=plan_with(*QUICK, ('"0.5 K"', '"0.05 K"'))) as opened:
        too_fine = opened.measure(0)

    assert ["bench_too_coarse"] * 2 == [code_of(by_source_only), code_of(too_fine)]


def test_warm_coil_is_not_heated_before_it_is_at_ambient(tmp_path: Path) -> None:
    """A coil that stays 5 K above the ambient is refused."""
    with oven(tmp_path, [coil(8.0)]) as opened:
        opened.sim.world.errors = replace(opened.sim.world.errors, coil_thermometer_offset_k=5.0)
        record = opened.measure(0)

    assert (Decision.INVALID, "not_at_ambient") == (record.decision, code_of(record))


@pytest.mark.parametrize("surface", [1.0, 0.5])
def test_unit_is_released_cool(tmp_path: Path, surface: float) -> None:
    """When the run is over the winding is below the touch limit, also where its surface shows half of it."""
    with oven(tmp_path, [coil(5.5, surface=surface)], plan=plan_with(*QUICK, ('"6.8 ohm"', '"5 ohm"'))) as opened:
        record = opened.measure(0)
        memory = HeatOnDisk(tmp_path, opened.bench.setup.name, opened.bench.setup.nest)

        assert code_of(record) == "above_upper"
        assert opened.sim.world.coil_degc < 48.0
        assert memory.hot() is None


def test_hot_nest_is_not_opened_after_a_failure(tmp_path: Path) -> None:
    """The thermometer died while the coil was hot: the worst-case time is waited before anything is unloaded."""
    told: list[str] = []

    def note(event: Event) -> None:
        if isinstance(event, NextAction):
            told.append(event.words)

    slow = terms(70.0, (1.0, 60.0))
    faults = (Fault(THERMOMETER, FaultKind.OVERLOAD, nth=250, amount=1e6),)
    with oven(tmp_path, [coil(8.0, thermal=slow)], faults=faults) as opened:
        opened.inspection.tell = note
        before_s = opened.place.clock.monotonic()
        record = opened.measure(0)
        took_s = opened.place.clock.monotonic() - before_s

    assert "sensor_open" == code_of(record)
    assert took_s > 180.0
    assert "Do not touch: the nest is hot. Wait until it is released." in told


def test_sensor_that_slips_off_late_does_not_release_a_hot_coil(tmp_path: Path) -> None:
    """Heated for longer than a coil takes to cool, then the sensor slips off: cooling begins with the drive off."""

    def slip(world: World, since_s: float) -> None:
        if since_s > 90.0 and world.coil is not None:
            world.coil = replace(world.coil, surface_rise_ratio=0.0)

    meddler = Meddler(10.0, slip)
    plan = plan_with(*QUICK, ('cooling = "3 min"', 'cooling = "1 min"'))
    with oven(tmp_path, [coil(8.0)], plan=plan, hook=meddler) as opened:
        meddler.opened = opened
        record = opened.measure(0)
        released_degc = opened.sim.world.coil_degc

    assert (Decision.INVALID, "thermometer_idle") == (record.decision, code_of(record))
    assert released_degc < 48.0


def test_whoever_looks_on_sees_the_curve_and_when_the_coil_is_cool(tmp_path: Path) -> None:
    """Samples come while it climbs, foretold within its own interval; then it is hot without drive, then released."""
    told: list[Event] = []
    unit = coil(8.0)
    with oven(tmp_path, [unit]) as opened:
        opened.inspection.tell = told.append
        opened.measure(0)
        steady_k = steady_rise_k(opened, unit, 2.0)
    samples = [each for each in told if isinstance(each, HeatingSample)]
    foretold = [each for each in samples if each.foretold_rise_k is not None]
    hot = [each.driven for each in told if isinstance(each, NestHot)]
    least_s, most_s = (f([each.left_s for each in samples]) for f in (min, max))

    assert samples[0].foretold_rise_k is None
    assert steady_k == pytest.approx(foretold[-1].foretold_rise_k, abs=1.0)
    assert all(before.time_s < after.time_s for before, after in pairwise(samples))
    assert (0.0, 120.0) == (pytest.approx(least_s, abs=0.5), pytest.approx(most_s, abs=0.5))
    assert [True, False] == [driven for driven, _ in groupby(hot)]
    assert isinstance([each for each in told if isinstance(each, NestHot | NestCool)][-1], NestCool)


def test_hot_nest_stays_hot_over_a_restart(tmp_path: Path) -> None:
    """A stop in the middle of cooling: the next program waits until the nest is cool before it asks to unload."""
    slow = terms(70.0, (1.0, 60.0))

    def stop_when_hot(world: World, since_s: float) -> None:
        meddler.opened.station.stop.set("a test says so")  # type: ignore[union-attr]

    plan = plan_with(*QUICK, ('touch_limit = "48 degC"', 'touch_limit = "35 degC"'))
    meddler = Meddler(25.0, stop_when_hot)
    coils = [coil(8.0, thermal=slow), coil(8.0)]
    with oven(tmp_path, coils, plan=plan, hook=meddler) as opened:
        meddler.opened = opened
        record = opened.measure(0)
        meddler.opened = None
        hot = HeatOnDisk(tmp_path, opened.bench.setup.name, opened.bench.setup.nest).hot()
        warm_degc = opened.sim.world.coil_degc
        opened.station.stop.clear()
        asked: list[float] = []
        unload = opened.place.hands.unload

        def seen() -> None:
            asked.append(opened.sim.world.coil_degc)
            unload()

        opened.place.hands.unload = seen  # type: ignore[method-assign]
        opened.measure(1)

        assert ("stopped", True) == (code_of(record), hot is not None)
        assert warm_degc > 40.0
        assert asked[0] < 35.0


def test_heating_is_refused_if_hot_can_t_be_kept(tmp_path: Path) -> None:
    """A disk that is full: the drive never goes on."""
    with oven(tmp_path, [coil(8.0)]) as opened:
        (tmp_path / "heat").write_text("a file where the folder should be", encoding="utf-8")
        record = opened.measure(0)
        warmest = opened.sim.world.rise_k

    assert ("hot_not_kept", True) == (code_of(record), warmest < 0.5)
