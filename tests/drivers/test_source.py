"""The DC source: settings before output, and off whatever happens."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from drivers.clock import ManualClock
from drivers.contracts.faults import FAULTS, doubled, hung_up
from drivers.contracts.scripted import ScriptedLink
from drivers.errors import (
    DriveNotOff,
    InstrumentError,
    InstrumentReported,
    LinkClosed,
    LinkOpenError,
    LinkTimeout,
    ReplyError,
)
from drivers.instruments import SourceSetup
from drivers.link import Link
from drivers.readings import Quantity
from drivers.source import OFF_ATTEMPTS, ScpiSource, off_bytes, off_queries, off_verified
from drivers.stop import Stopped, StopToken
from tests.drivers.benches import SOURCE, SourceBench
from tests.drivers.peers import SourcePeer

DRIVE = SourceSetup(voltage_v=2.0, current_a=0.5, over_voltage_v=5.0, over_current_a=1.0)
LONGEST_OFF_S = 3.0


def driven() -> SourceBench:
    """Return a bench whose drive is on."""
    bench = SourceBench()
    bench.driver.identify()
    bench.driver.configure(DRIVE)
    bench.driver.output_on()
    return bench


def test_protection_is_set_before_levels_and_each_is_read_back() -> None:
    """Nothing but protected and verified settings can be switched on."""
    bench = SourceBench()
    bench.driver.configure(DRIVE)
    headers = [message.split()[0] for message in bench.peer.received if not message.startswith("SYST")]

    assert headers == [
        *("VOLT:PROT", "CURR:PROT", "VOLT", "CURR"),
        *("VOLT:PROT?", "CURR:PROT?", "VOLT?", "CURR?"),
    ]


def test_output_on_is_refused_before_configuration() -> None:
    """Nothing is sent: the source's levels are somebody else's."""
    bench = SourceBench()
    with pytest.raises(InstrumentError, match="Configure it first"):
        bench.driver.output_on()

    assert [] == bench.peer.received


@pytest.mark.parametrize("lost", ["VOLT 2.000000E+00", "CURR:PROT 1.000000E+00"])
def test_output_on_is_refused_after_settings_disagreed(lost: str) -> None:
    """A lost level or protection is found, and the output stays open."""
    bench = SourceBench()
    bench.peer.deaf_to = {lost}
    with pytest.raises(InstrumentError, match="set to"):
        bench.driver.configure(DRIVE)
    with pytest.raises(InstrumentError, match="Configure it first"):
        bench.driver.output_on()

    assert not bench.peer.output


def test_output_on_that_was_lost_is_found() -> None:
    """The output is looked at after the order."""
    bench = SourceBench()
    bench.driver.configure(DRIVE)
    bench.peer.deaf_to = {"OUTP 1"}
    with pytest.raises(InstrumentError, match="answered 0"):
        bench.driver.output_on()


def test_setup_in_force_is_not_sent_again() -> None:
    """Between drives of one run nothing but the output changes."""
    bench = driven()
    bench.driver.output_off()
    bench.peer.received.clear()
    bench.driver.configure(DRIVE)

    assert [] == bench.peer.received

    bench.driver.output_on()

    assert bench.peer.output


def fail_to_measure(bench: SourceBench) -> None:
    """A reading that times out."""
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        bench.driver.measure()


def report_at_the_end(bench: SourceBench) -> None:
    """A protection that tripped, told by the closing query."""
    bench.peer.errors = ['-240,"Hardware error"']
    with pytest.raises(InstrumentReported):
        bench.driver.measure()


def report_while_off(bench: SourceBench) -> None:
    """A protection that tripped, told by the last query of switching off."""
    bench.peer.errors = ['-240,"Hardware error"']
    bench.driver.output_off()


def lose_an_off(bench: SourceBench) -> None:
    """An order to switch off that did nothing."""
    bench.peer.off_orders_to_lose = 1
    bench.driver.output_off()


def other_setup(bench: SourceBench) -> None:
    """Another way to drive."""
    bench.driver.configure(replace(DRIVE, current_a=0.4))


@pytest.mark.parametrize(
    "spoil",
    [
        fail_to_measure,
        report_at_the_end,
        report_while_off,
        lose_an_off,
        other_setup,
        lambda bench: bench.driver.forget_setup(),
        lambda bench: bench.driver.identify(),
    ],
)
def test_setup_is_sent_and_read_back_again_after_anything_went_wrong(
    spoil: Callable[[SourceBench], object],
) -> None:
    """A failure, a trip, a lost order, another setup, a new run: the settings are nobody's any more."""
    bench = driven()
    spoil(bench)
    bench.driver.output_off()
    bench.peer.received.clear()
    bench.driver.configure(DRIVE)

    assert {"CURR:PROT 1.000000E+00", "CURR 5.000000E-01", "CURR:PROT?", "CURR?"} <= set(bench.peer.received)


def test_output_on_is_refused_after_setup_was_forgotten() -> None:
    """A new run drives nothing on what an old one has set."""
    bench = driven()
    bench.driver.output_off()
    bench.driver.forget_setup()
    with pytest.raises(InstrumentError, match="Configure it first"):
        bench.driver.output_on()


def test_group_of_currents_is_proved_by_one_query() -> None:
    """However many are taken, the error queue is asked once, at the end."""
    bench = driven()
    bench.peer.received.clear()
    group = bench.driver.current_group()
    for _ in range(3):
        group.take()

    assert [0.25] * 3 == [reading.value for reading in group.hand_out()]
    assert [*["MEAS:CURR?"] * 3, "SYST:ERR?"] == bench.peer.received


def test_setting_that_cannot_be_read_back_keeps_the_drive_off() -> None:
    """A dialect made in code, without the reader's checks, is no way round."""
    bench = SourceBench()
    blind = replace(SOURCE, current=replace(SOURCE.current, query=None))
    driver = ScpiSource(bench.link, bench.clock, blind)
    with pytest.raises(InstrumentError, match="cannot ask"):
        driver.configure(DRIVE)


def test_output_state_that_is_neither_is_refused() -> None:
    """Whether the output is on must not be guessed."""
    bench = SourceBench()
    bench.driver.configure(DRIVE)
    bench.link.spoil(0, lambda time_s, data: [(time_s, b"ON\n")])
    with pytest.raises(ReplyError, match="1 or 0 was expected"):
        bench.driver.output_on()


def test_capability_is_voltage_and_current() -> None:
    """What the source measures, and no more."""
    driver = SourceBench().driver

    assert driver.can(Quantity.VOLTAGE)
    assert driver.can(Quantity.CURRENT)
    assert not driver.can(Quantity.DC_RESISTANCE)


def test_measure_returns_voltage_then_current() -> None:
    """Measured values at the sense terminals, in SI."""
    bench = driven()
    voltage, current = bench.driver.measure()

    assert (Quantity.VOLTAGE, 2.0) == (voltage.quantity, voltage.value)
    assert (Quantity.CURRENT, 0.25) == (current.quantity, current.value)


def test_trip_of_protection_is_reported_by_measure() -> None:
    """What a protection leaves in the error queue spoils the measurement."""
    bench = driven()
    bench.peer.errors = ['-240,"Hardware error"']
    with pytest.raises(InstrumentReported) as caught:
        bench.driver.measure()

    assert -240 == caught.value.code


def test_off_is_sent_first_and_verified() -> None:
    """Off goes out before anything is asked; in step no quiet is waited for, since a unit has many offs."""
    bench = driven()
    bench.peer.received.clear()
    start_s = bench.clock.monotonic()
    bench.driver.output_off()

    assert ["OUTP 0", "OUTP?", "MEAS:CURR?"] == bench.peer.received[:3]
    assert not bench.peer.output
    assert bench.clock.monotonic() - start_s < SOURCE.off_quiet_s


def test_off_is_sent_at_once_although_out_of_step() -> None:
    """After a time-out no quiet is waited for: the order goes out in the same instant."""
    bench = driven()
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        bench.driver.measure()
    start_s = bench.clock.monotonic()
    switched_s: list[float] = []
    write = bench.link.write

    def stamped(data: bytes) -> None:
        switched_s.append(bench.clock.monotonic())
        write(data)

    bench.link.write = stamped  # type: ignore[method-assign]
    bench.driver.output_off()

    assert start_s == switched_s[0]
    assert not bench.peer.output


def test_off_waits_for_quiet_if_something_came_unasked() -> None:
    """In step by our books, but bytes are waiting: the line is made quiet before a response is believed."""
    bench = driven()
    bench.link.spoil(2, lambda time_s, data: doubled(0.0, time_s, data))
    bench.driver.measure()
    start_s = bench.clock.monotonic()
    bench.driver.output_off()

    assert bench.clock.monotonic() - start_s > SOURCE.off_quiet_s


def test_off_ends_a_half_sent_message_first() -> None:
    """A leading terminator keeps half a message from swallowing the order."""
    bench = driven()
    bench.link.write(b"VOLT 1")
    bench.driver.output_off()

    assert not bench.peer.output


@pytest.mark.parametrize("lost", range(1, OFF_ATTEMPTS))
def test_lost_off_is_found_and_ordered_again(lost: int) -> None:
    """An order that did nothing shows by the output, and goes out again."""
    bench = driven()
    bench.peer.off_orders_to_lose = lost
    bench.driver.output_off()

    assert not bench.peer.output


def test_off_that_never_acts_is_told() -> None:
    """An output that stays on is an error that says so aloud."""
    bench = driven()
    bench.peer.off_orders_to_lose = 1000
    with pytest.raises(DriveNotOff, match="DRIVE MAY BE ON"):
        bench.driver.output_off()


def test_current_that_stays_is_told_although_output_reads_off() -> None:
    """The measured current has the last word over the output's own."""
    bench = driven()
    bench.peer.stuck_current_a = 0.1
    with pytest.raises(DriveNotOff):
        bench.driver.output_off()


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("fault", FAULTS)
def test_off_is_verified_whatever_happens_to_a_response(fault: str, place: int) -> None:
    """Each fault on each response of switching off: off and verified, in bounded time."""
    bench = driven()
    bench.link.spoil(place, FAULTS[fault])
    start_s = bench.clock.monotonic()
    bench.driver.output_off()

    assert not bench.peer.output
    assert bench.clock.monotonic() - start_s <= LONGEST_OFF_S


@pytest.mark.parametrize("fault", FAULTS)
def test_off_is_never_believed_on_while_output_stays_on(fault: str) -> None:
    """No fault makes a drive that is on pass for off."""
    bench = driven()
    bench.peer.off_orders_to_lose = 1000
    bench.link.spoil(0, FAULTS[fault])
    with pytest.raises(DriveNotOff):
        bench.driver.output_off()


def test_off_after_hang_up_opens_anew() -> None:
    """A source that closed its connection is reached by a new one; one client at a time."""
    bench = driven()
    bench.link.spoil(0, hung_up)
    with pytest.raises(LinkClosed):
        bench.driver.measure()
    bench.driver.output_off()

    assert not bench.peer.output
    assert 2 == len(bench.links)


def test_output_on_needs_configuration_after_opening_anew() -> None:
    """After a new connection nobody knows the source's settings."""
    bench = driven()
    bench.link.spoil(0, hung_up)
    with pytest.raises(LinkClosed):
        bench.driver.measure()
    bench.driver.output_off()
    with pytest.raises(InstrumentError, match="Configure it first"):
        bench.driver.output_on()


def test_off_is_verified_under_a_shielded_stop() -> None:
    """A second stop does not come between the order and its verification."""
    stop = StopToken()
    clock = ManualClock(stop=stop)
    peer = SourcePeer()
    driver = ScpiSource(ScriptedLink(peer, clock, terminator_out=b"\n", name="source-1"), clock, SOURCE)
    driver.configure(DRIVE)
    driver.output_on()
    stop.set("hand stop")
    with pytest.raises(Stopped):
        driver.measure()
    with stop.shielded():
        driver.output_off()

    assert not peer.output


def unreachable() -> Link:
    """Open nothing."""
    raise LinkOpenError("source-1: nothing answers at its address. Check its cable.")


@pytest.mark.parametrize("reopen", [None, unreachable])
def test_off_over_dead_link_is_told_in_bounded_time(reopen: Callable[[], Link] | None) -> None:
    """Without a way to the source the drive's state is unknown, and soon."""
    clock = ManualClock()
    link = ScriptedLink(SourcePeer(), clock, terminator_out=b"\n", name="source-1")
    driver = ScpiSource(link, clock, SOURCE, reopen=reopen)
    link.close()
    with pytest.raises(DriveNotOff):
        driver.output_off()

    assert clock.monotonic() <= LONGEST_OFF_S


def test_off_of_silent_source_is_told_in_bounded_time() -> None:
    """Silence proves nothing."""
    clock = ManualClock()
    link = ScriptedLink(SourcePeer(), clock, terminator_out=b"\n", name="source-1")
    link.silence()
    with pytest.raises(DriveNotOff):
        ScpiSource(link, clock, SOURCE).output_off()

    assert clock.monotonic() <= LONGEST_OFF_S


def test_off_of_babbling_source_is_told_in_bounded_time() -> None:
    """A source that never gets quiet proves nothing either; the order went out all the same."""
    bench = driven()
    bench.link.spoil(0, lambda time_s, data: [(time_s + 0.01 * n, b"7") for n in range(1000)])
    with pytest.raises(LinkTimeout):
        bench.driver.measure()
    start_s = bench.clock.monotonic()
    driver = ScpiSource(bench.link, bench.clock, SOURCE)
    with pytest.raises(DriveNotOff):
        driver.output_off()

    assert not bench.peer.output
    assert bench.clock.monotonic() - start_s <= LONGEST_OFF_S


def test_errors_before_off_are_not_told_to_the_next_measurement() -> None:
    """Once off is proved the queue is emptied: a half message left an entry there."""
    bench = driven()
    bench.peer.errors = ['-240,"Hardware error"', '-113,"Undefined header"', '-113,"Undefined header"']
    bench.driver.output_off()
    bench.driver.measure()


def test_off_bytes_and_queries_are_whole_messages() -> None:
    """What a watchdog process is given: order, then queries, each with its terminator."""

    assert b"\nOUTP 0\n" == off_bytes(SOURCE)
    assert (b"OUTP?\n", b"MEAS:CURR?\n", b"SYST:ERR?\n") == off_queries(SOURCE)


@pytest.mark.parametrize(
    ("replies", "verified"),
    [
        ((b"0", b"+1.00000E-05", b'0,"No error"'), True),
        ((b"0", b"-1.00000E-05", b'-113,"Undefined header"'), True),
        ((b"1", b"+1.00000E-05", b'0,"No error"'), False),
        ((b"0", b"+1.00000E-01", b'0,"No error"'), False),
        ((b"0", b"-1.00000E-01", b'0,"No error"'), False),
        ((b"0", b"+9.91000E+37", b'0,"No error"'), False),
        ((b"0", b"0", b'0,"No error"'), False),
        ((b"0", b"nan", b'0,"No error"'), False),
        ((b"0", b"+1.00000E-05", b"0"), False),
        ((b"0", b'0,"No error"', b"0"), False),
        ((b"", b"", b""), False),
        ((b"0", b"+1.00000E-05"), False),
        ((), False),
    ],
)
def test_only_complete_and_well_formed_replies_prove_off(replies: tuple[bytes, ...], verified: bool) -> None:
    """Anything missing, shifted or malformed proves nothing."""

    assert verified == off_verified(SOURCE, replies)
