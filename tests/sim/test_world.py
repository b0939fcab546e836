"""The world: heat, drive, mishaps."""

from dataclasses import replace
from math import exp, inf

import pytest

from sim.errors import BenchErrors
from sim.lot import truth_near
from sim.truth import CoilTruth, ThermalTerm
from sim.world import RETRACTED_M, Route, World


def _driven(coil: CoilTruth, voltage_v: float, *, current_a: float = 2.0) -> World:
    world = World(ambient_degc=20.0)
    world.load(coil)
    world.connect_route(Route.FORWARD)
    world.drive.voltage_v, world.drive.current_a, world.drive.on = voltage_v, current_a, True
    return world


def test_coil_at_constant_voltage_settles_where_heat_in_is_heat_out() -> None:
    """The rise solves theta = Rth V^2 / R(T0 + theta), a quadratic with one good root."""
    world = _driven(truth_near("U1", resistance_20_ohm=8.0), 3.0)
    for step in range(1, 401):
        world.advance(step * 0.5)
    # theta (1 + theta / 254.5) = 70 * 9 / 8
    cold_k = 70.0 * 9.0 / 8.0
    expected_k = 254.5 / 2 * ((1 + 4 * cold_k / 254.5) ** 0.5 - 1)

    assert expected_k == pytest.approx(world.rise_k, rel=1e-4)


def test_rise_hardly_depends_on_the_steps_of_time() -> None:
    """One jump of 20 s and many small steps agree within 0.01 K."""
    jump, crawl = (_driven(truth_near("U1", resistance_20_ohm=8.0), 3.0) for _ in range(2))
    jump.advance(20.0)
    for step in range(1, 2001):
        crawl.advance(step * 0.01)

    assert jump.rise_k == pytest.approx(crawl.rise_k, abs=0.01)


def test_undriven_coil_cools_exponentially() -> None:
    """A coil from a warm hand relaxes to the nest with its time constant of 15 s."""
    world = World(ambient_degc=23.0)
    world.load(truth_near("U1"), warm_k=5.0)
    world.advance(15.0)

    assert 23.0 + 5.0 * exp(-1.0) == pytest.approx(world.coil_degc, abs=1e-9)


def test_two_terms_rise_each_with_its_own_time_constant() -> None:
    """At constant power the rises add up (alpha made zero by a huge winding constant)."""
    coil = replace(
        truth_near("U1", resistance_20_ohm=10.0),
        thermal=(ThermalTerm(40.0, 0.25), ThermalTerm(30.0, 2.0)),
        winding_constant_k=1e12,
    )
    world = _driven(coil, 1.0)
    world.advance(10.0)
    expected_k = 0.1 * (40.0 * (1 - exp(-1.0)) + 30.0 * (1 - exp(-10.0 / 60.0)))

    assert expected_k == pytest.approx(world.rise_k, rel=1e-6)


def test_current_level_limits_the_current() -> None:
    """Above the level the source gives constant current at a lower voltage."""
    world = _driven(truth_near("U1", resistance_20_ohm=8.0), 3.0, current_a=0.1)

    assert (0.8, 0.1) == pytest.approx(world.drive_point())


@pytest.mark.parametrize(
    ("change", "value"),
    [("route", Route.LCR), ("hand_stop", True), ("coil", None)],
)
def test_no_current_flows_without_a_closed_way(change: str, value: object) -> None:
    """Another route, the hand stop or an empty nest leave the voltage and take the current."""
    world = _driven(truth_near("U1"), 3.0)
    setattr(world, change, value)

    assert (3.0, 0.0) == world.drive_point()


def test_open_coil_takes_no_current() -> None:
    """A cut winding leaves the voltage and takes the current."""

    assert (3.0, 0.0) == _driven(truth_near("U1", resistance_20_ohm=inf), 3.0).drive_point()


def test_over_current_switches_the_output_off() -> None:
    """Protection acts when current is above its level."""
    world = _driven(truth_near("U1", resistance_20_ohm=8.0), 3.0)
    world.drive.over_current_a = 0.3
    world.check_protection()

    assert (False, True) == (world.drive.on, world.drive.tripped)


def test_field_changes_sign_with_the_route() -> None:
    """Reversed current gives the reversed field."""
    forward, reverse = (_driven(truth_near("U1", resistance_20_ohm=8.0), 0.8) for _ in range(2))
    reverse.route = Route.REVERSE

    assert forward.flux_density_t() == -reverse.flux_density_t() > 0.0


def test_field_is_felt_where_the_sensor_really_is() -> None:
    """Height and lateral offsets of the bench are in the true field."""
    coil = truth_near("U1", resistance_20_ohm=8.0)
    world = _driven(coil, 0.8)
    world.errors = BenchErrors(height_offset_m=1e-4, lateral_offset_m=-2e-4)
    world.height_m = 0.002

    assert 0.1 * coil.field_per_ampere(0.0021, 2e-4) == pytest.approx(world.flux_density_t(), rel=1e-12)


def test_metal_near_the_coil_lowers_its_inductance() -> None:
    """The field sensor takes some of L when it is near, none when it is retracted."""
    world = World(errors=BenchErrors(sensor_metal_effect=0.02))
    world.load(truth_near("U1"))
    far = world.coil_impedance_ohm(1e5).imag
    world.height_m = 0.001
    near = world.coil_impedance_ohm(1e5).imag

    assert RETRACTED_M == World().height_m
    assert 1.0 - 0.02 * exp(-1 / 3) == pytest.approx(near / far, abs=1e-4)


def test_switching_a_driven_route_is_a_mishap() -> None:
    """Relays that break a current weld."""
    world = _driven(truth_near("U1"), 1.0)
    world.connect_route(Route.OPEN)

    assert ["hot_switching"] == [mishap.kind for mishap in world.mishaps]


def test_interlock_that_opens_a_driven_route_is_no_mishap() -> None:
    """Safety comes before relays."""
    world = _driven(truth_near("U1"), 1.0)
    world.connect_route(Route.OPEN, by_itself=True)

    assert [] == world.mishaps


def test_hands_in_a_driven_nest_are_a_mishap() -> None:
    """Taking out a coil under current is noted."""
    world = _driven(truth_near("U1"), 1.0)
    world.unload()

    assert ["hands_in_driven_nest"] == [mishap.kind for mishap in world.mishaps]


def test_runaway_is_noted_as_burnt() -> None:
    """A coil that gets too hot is spoilt."""
    world = _driven(truth_near("U1", resistance_20_ohm=8.0), 8.0)
    for second in range(1, 60):
        world.advance(float(second))

    assert ["burnt"] == [mishap.kind for mishap in world.mishaps]


def test_ambient_drifts_with_time() -> None:
    """Half a kelvin a minute is thirty an hour."""
    world = World(ambient_degc=23.0, ambient_drift_k_per_h=30.0)
    world.advance(60.0)

    assert 23.5 == pytest.approx(world.ambient_degc)


@pytest.mark.parametrize(("keeps_heat", "left"), [(False, 0.0), (True, exp(-10.0 / 15.0))])
def test_coil_that_is_loaded_again_keeps_its_heat_if_asked_for(keeps_heat: bool, left: float) -> None:
    """Unloaded 20 K warm and loaded again after 10 s: its share of a time constant of 15 s is left; another is cold."""
    world = World(ambient_degc=20.0, keeps_heat=keeps_heat)
    coil, other = truth_near("U1"), truth_near("U2")
    rises = []
    for each in (coil, other):
        world.load(coil, warm_k=20.0)
        world.unload()
        world.advance(world.now_s + 10.0)
        world.load(each)
        rises.append(world.rise_k)
        world.unload()

    assert [pytest.approx(20.0 * left), 0.0] == rises


def test_switching_of_the_output_is_noted_with_its_time_whoever_did_it() -> None:
    """On by order, off by protection: two entries; ordering off once more adds none."""
    world = World(ambient_degc=20.0)
    world.load(truth_near("U1", resistance_20_ohm=8.0))
    world.drive.voltage_v, world.drive.current_a, world.drive.over_current_a = 1.0, 1.0, 0.01
    world.advance(2.0)
    world.switch(on=True)
    world.advance(3.0)
    world.connect_route(Route.FORWARD, by_itself=True)
    world.switch(on=False)

    assert [(2.0, True), (3.0, False)] == world.switched
