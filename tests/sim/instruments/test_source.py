"""The DC source."""

import pytest

from sim.bench import SOURCE, BenchOptions
from sim.errors import BenchErrors
from sim.lot import truth_near
from tests.sim.talk import Talk

ISOTHERMAL = type(truth_near("U1"))("U1", 8.0, 1e-5, truth_near("U1").field_per_ampere, thermal=())


def _loaded(*, errors: BenchErrors | None = None) -> Talk:
    talk = Talk(options=BenchOptions(ambient_degc=20.0, errors=errors or BenchErrors()), units=[ISOTHERMAL])
    talk.load("U1")
    return talk


def test_driven_coil_shows_voltage_and_current() -> None:
    """0.8 V on 8 ohm is 0.1 A."""
    talk = _loaded()
    talk.drive(0.8)

    assert ("+8.00000E-01", "+1.00000E-01") == (
        talk.ask(SOURCE, "MEAS:VOLT?"),
        talk.ask(SOURCE, "MEAS:CURR?"),
    )


def test_measuring_takes_20_ms() -> None:
    """Each of the two queries does."""
    talk = Talk()
    talk.ask(SOURCE, "MEAS:VOLT?")
    talk.ask(SOURCE, "MEAS:CURR?")

    assert 0.040 == pytest.approx(talk.clock.monotonic())


def test_read_back_has_gain_and_offset() -> None:
    """What is shown is (1 + gain) true + offset; the output's own error is in the truth."""
    talk = _loaded(
        errors=BenchErrors(
            source_output_gain=0.01,
            source_voltage_gain=0.1,
            source_voltage_offset_v=0.001,
            source_current_gain=0.2,
            source_current_offset_a=0.002,
        )
    )
    talk.drive(0.8)

    assert 0.808 * 1.1 + 0.001 == pytest.approx(float(talk.ask(SOURCE, "MEAS:VOLT?")), rel=1e-5)
    assert 0.101 * 1.2 + 0.002 == pytest.approx(float(talk.ask(SOURCE, "MEAS:CURR?")), rel=1e-5)


def test_current_above_protection_trips_and_is_reported() -> None:
    """The output goes off and the queue says why."""
    talk = _loaded()
    talk.tell(SOURCE, "CURR:PROT 0.05")
    talk.drive(0.8)

    assert "0" == talk.ask(SOURCE, "OUTP?")
    assert '-240,"Hardware error"' == talk.ask(SOURCE, "SYST:ERR?")
    assert not talk.world.drive.on


def test_reset_switches_off_and_restores_protection() -> None:
    """`*RST`: output off, levels 0, protection 22 V / 2.2 A."""
    talk = _loaded()
    talk.tell(SOURCE, "VOLT:PROT 5", "CURR:PROT 0.5")
    talk.drive(0.8)
    talk.tell(SOURCE, "*RST")

    assert "0" == talk.ask(SOURCE, "OUTP?")
    assert ["+0.00000E+00", "+0.00000E+00", "+2.20000E+01", "+2.20000E+00"] == [
        talk.ask(SOURCE, query) for query in ("VOLT?", "CURR?", "VOLT:PROT?", "CURR:PROT?")
    ]


def test_output_stays_on_when_the_client_goes() -> None:
    """No dead-man in the source: that is the station's and the fixture's duty."""
    talk = _loaded()
    talk.drive(0.8)
    talk.link(SOURCE).close()

    assert talk.world.drive.on


def test_off_sent_just_before_closing_is_carried_out() -> None:
    """What came whole counts, also when the client is gone before it is carried out."""
    talk = _loaded()
    talk.drive(0.8)
    link = talk.link(SOURCE)
    link.write(b"MEAS:CURR?\n\nOUTP 0\n")
    link.close()
    talk.clock.sleep(0.1)
    talk.host.run_to(talk.clock.monotonic())

    assert not talk.world.drive.on


def test_answer_to_a_client_who_has_gone_is_not_given_to_the_next() -> None:
    """Work under way ends, its response is lost."""
    talk = Talk()
    first = talk.link(SOURCE)
    first.write(b"MEAS:VOLT?\n")
    first.close()
    second = talk.host.link(SOURCE)
    second.write(b"OUTP?\n")

    assert b"0" == second.read_until(b"\n", timeout=1.0)


@pytest.mark.parametrize("message", ["OUTP ON", "OUTP", "VOLT", "VOLT five"])
def test_wrong_argument_is_a_data_type_error(message: str) -> None:
    """The output takes 1 and 0, the levels take numbers."""
    talk = Talk()
    talk.tell(SOURCE, message)

    assert '-104,"Data type error"' == talk.ask(SOURCE, "SYST:ERR?")


def test_level_out_of_range_leaves_the_level() -> None:
    """25 V is refused and 3 V stays."""
    talk = Talk()
    talk.tell(SOURCE, "VOLT 3", "VOLT 25")

    assert '-222,"Data out of range"' == talk.ask(SOURCE, "SYST:ERR?")
    assert "+3.00000E+00" == talk.ask(SOURCE, "VOLT?")


def test_output_on_an_open_route_carries_no_current() -> None:
    """The voltage is there, the current is not."""
    talk = _loaded()
    talk.tell(SOURCE, "VOLT 1", "CURR 1", "OUTP 1")

    assert ("+1.00000E+00", "+0.00000E+00") == (
        talk.ask(SOURCE, "MEAS:VOLT?"),
        talk.ask(SOURCE, "MEAS:CURR?"),
    )
    assert "OPEN" in talk.fixture("STATE")
