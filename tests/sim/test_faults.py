"""Scripted faults: each does what it says, at the message that it names."""

import pytest

from drivers.errors import LinkClosed, LinkTimeout, ReplyError
from sim.bench import FIXTURE, LCR, OPERATOR, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.faults import SENDING_FAULTS, SPOILERS, Fault, FaultKind
from sim.lot import truth_near
from sim.world import Route
from tests.sim.talk import Talk

NOMINAL = truth_near("U1")
ISOTHERMAL = type(NOMINAL)("U1", 8.0, 1e-5, NOMINAL.field_per_ampere, thermal=())


def _talk(*faults: Fault, thermometer_model: str = "TH-P") -> Talk:
    options = BenchOptions(faults=faults, ambient_degc=20.0, thermometer_model=thermometer_model)
    return Talk(options=options, units=[ISOTHERMAL])


def _on_source(kind: FaultKind, *, nth: int = 0, times: int = 1, seconds: float = 0.0) -> Talk:
    return _talk(
        Fault(
            SOURCE,
            kind,
            nth=nth,
            times=times,
            seconds=seconds,
            amount=100_000 if kind is FaultKind.BABBLE else 0.0,
        )
    )


def test_every_sending_fault_has_its_way_to_spoil() -> None:
    """No kind is forgotten in the table."""

    assert set(SPOILERS) == SENDING_FAULTS


def test_messages_are_counted_both_ways() -> None:
    """With an empty script the wrappers only count: so a test can enumerate every point of a run."""
    talk = _talk()
    talk.tell(SOURCE, "VOLT 1", "", "CURR 1")
    talk.ask(SOURCE, "OUTP?")
    wrapper = talk.bench.wrappers[SOURCE]

    assert (3, 1) == (wrapper.told, wrapper.sent)
    assert [] == wrapper.struck


def test_late_reply_comes_after_its_delay() -> None:
    """Late by 0.5 s: a wait of 0.4 s is in vain, the reply is there afterwards."""
    talk = _on_source(FaultKind.LATE, seconds=0.5)
    talk.tell(SOURCE, "OUTP?")
    with pytest.raises(LinkTimeout):
        talk.link(SOURCE).read_until(b"\n", timeout=0.4)

    assert b"0" == talk.link(SOURCE).read_until(b"\n", timeout=0.2)


def test_nothing_overtakes_a_late_reply() -> None:
    """A line keeps its order."""
    talk = _on_source(FaultKind.LATE, seconds=0.5)
    talk.tell(SOURCE, "*OPC?", "OUTP?")

    assert ["1", "0"] == [talk.link(SOURCE).read_until(b"\n", timeout=1.0).decode() for _ in range(2)]


def test_emissions_keep_their_order_of_time() -> None:
    """What is held back by a late message leaves at its time, not before."""
    talk = _on_source(FaultKind.LATE, seconds=0.5)
    wrapper = talk.bench.wrappers[SOURCE]
    wrapper.connect(0.0)
    wrapper.receive(b"*OPC?\nOUTP?\n", 0.0)
    wrapper.advance(0.1)

    assert [0.501, 0.501] == pytest.approx([emission.time_s for emission in wrapper.advance(1.0)])


def test_split_reply_comes_in_two_parts() -> None:
    """Half of it is there in time."""
    talk = _on_source(FaultKind.SPLIT, seconds=0.5)
    talk.tell(SOURCE, "VOLT?")
    with pytest.raises(LinkTimeout) as caught:
        talk.link(SOURCE).read_until(b"\n", timeout=0.1)

    assert b"+0.000" == caught.value.partial
    assert b"+0.00000E+00" == talk.link(SOURCE).read_until(b"\n", timeout=1.0)


def test_cut_reply_never_ends() -> None:
    """Half of it and no more."""
    talk = _on_source(FaultKind.CUT)
    talk.tell(SOURCE, "VOLT?")
    with pytest.raises(LinkTimeout) as caught:
        talk.link(SOURCE).read_until(b"\n", timeout=5.0)

    assert b"+0.000" == caught.value.partial


def test_lost_reply_never_comes() -> None:
    """And the next one does."""
    talk = _on_source(FaultKind.LOST_REPLY)
    talk.tell(SOURCE, "VOLT?")
    with pytest.raises(LinkTimeout):
        talk.link(SOURCE).read_until(b"\n", timeout=5.0)

    assert "0" == talk.ask(SOURCE, "OUTP?")


def test_doubled_reply_comes_twice() -> None:
    """The second would be taken for the next query's."""
    talk = _on_source(FaultKind.DOUBLED, seconds=0.01)

    assert ["1", "1"] == [talk.ask(SOURCE, "*OPC?"), talk.link(SOURCE).read_until(b"\n", timeout=1).decode()]


@pytest.mark.parametrize(
    ("kind", "expected"), [(FaultKind.GARBLED, b"+0.00~00E+00"), (FaultKind.NON_ASCII, b"+0.00\xb500E+00")]
)
def test_spoilt_byte_is_in_the_middle(kind: FaultKind, expected: bytes) -> None:
    """One byte is another."""
    talk = _on_source(kind)
    talk.tell(SOURCE, "VOLT?")

    assert expected == talk.link(SOURCE).read_until(b"\n", timeout=1.0)


def test_replaced_reply_is_what_the_script_says() -> None:
    """Any bytes instead of the reply."""
    talk = _talk(Fault(SOURCE, FaultKind.REPLACED, data=b"nan\n"))

    assert "nan" == talk.ask(SOURCE, "VOLT?")


def test_babble_has_no_end() -> None:
    """More than a message may have."""
    talk = _on_source(FaultKind.BABBLE)
    talk.tell(SOURCE, "VOLT?")
    with pytest.raises(ReplyError):
        talk.link(SOURCE).read_until(b"\n", timeout=1.0)


def test_drip_goes_on_beyond_a_deadline() -> None:
    """A byte each 0.1 s: at 0.35 s four have come and no end."""
    talk = _on_source(FaultKind.DRIP, seconds=0.1)
    talk.tell(SOURCE, "VOLT?")
    with pytest.raises(LinkTimeout) as caught:
        talk.link(SOURCE).read_until(b"\n", timeout=0.35)

    assert b"7777" == caught.value.partial


@pytest.mark.parametrize(
    ("kind", "came"),
    [
        (FaultKind.HANG_UP_BEFORE, b""),
        (FaultKind.HANG_UP_HALF_WAY, b"+0.000"),
        (FaultKind.HANG_UP_AFTER, b"+0.00000E+00"),
    ],
)
def test_hang_up_closes_the_line_and_a_new_one_works(kind: FaultKind, came: bytes) -> None:
    """Before, half-way or after the reply; then it can be opened again."""
    talk = _on_source(kind)
    talk.tell(SOURCE, "VOLT?")
    link = talk.link(SOURCE)
    if kind is FaultKind.HANG_UP_AFTER:
        assert came == link.read_until(b"\n", timeout=1.0)
    else:
        assert came == link.read_exactly(len(came), timeout=1.0)
    with pytest.raises(LinkClosed):
        link.read_until(b"\n", timeout=1.0)
    again = talk.host.link(SOURCE)
    again.write(b"OUTP?\n")

    assert b"0" == again.read_until(b"\n", timeout=1.0)


def test_hang_up_for_good_closes_each_new_line() -> None:
    """An instrument that is unplugged stays so."""
    talk = _talk(Fault(SOURCE, FaultKind.HANG_UP_BEFORE, for_good=True))
    talk.tell(SOURCE, "VOLT?")
    with pytest.raises(LinkClosed):
        talk.link(SOURCE).read_until(b"\n", timeout=1.0)
    again = talk.host.link(SOURCE)
    with pytest.raises(LinkClosed):
        again.read_until(b"\n", timeout=1.0)


def test_fault_strikes_the_nth_matching_message_only() -> None:
    """The second `VOLT?` is lost, others pass."""
    talk = _talk(Fault(SOURCE, FaultKind.LOST_REPLY, nth=1, matching="VOLT?"))
    passed = [talk.ask(SOURCE, query) for query in ("VOLT?", "CURR?", "OUTP?")]
    talk.tell(SOURCE, "VOLT?")
    with pytest.raises(LinkTimeout):
        talk.link(SOURCE).read_until(b"\n", timeout=1.0)

    assert ["+0.00000E+00", "+0.00000E+00", "0"] == passed
    assert "+0.00000E+00" == talk.ask(SOURCE, "VOLT?")


def test_fault_for_ever_strikes_all_that_follow() -> None:
    """`times` 0 from the second on."""
    talk = _on_source(FaultKind.GARBLED, nth=1, times=0)
    replies = [talk.ask(SOURCE, "*IDN?") for _ in range(3)]

    assert [False, True, True] == ["~" in reply for reply in replies]


def test_lost_off_leaves_the_output_on() -> None:
    """The dangerous one: the command goes missing and nobody says so."""
    talk = _talk(Fault(SOURCE, FaultKind.COMMAND_LOST, matching="OUTP 0"))
    talk.load("U1")
    talk.drive(0.8)
    talk.tell(SOURCE, "OUTP 0")

    assert "1" == talk.ask(SOURCE, "OUTP?")

    talk.tell(SOURCE, "OUTP 0")

    assert "0" == talk.ask(SOURCE, "OUTP?")


def test_silent_instrument_hears_nothing_more() -> None:
    """From the second message on."""
    talk = _on_source(FaultKind.SILENT, nth=1)
    talk.tell(SOURCE, "VOLT 1", "VOLT 2", "VOLT?")
    with pytest.raises(LinkTimeout):
        talk.link(SOURCE).read_until(b"\n", timeout=5.0)

    assert 1.0 == talk.world.drive.voltage_v


def test_wrong_identity_is_told() -> None:
    """Another instrument answers."""
    talk = _talk(Fault(LCR, FaultKind.WRONG_IDENTITY, data=b"INVENTED,LCR-Z,9,9"))

    assert "INVENTED,LCR-Z,9,9" == talk.ask(LCR, "*IDN?")


def test_overload_spoils_one_reading() -> None:
    """The next one is good."""
    talk = _talk(Fault(LCR, FaultKind.OVERLOAD, matching="TRIG"))
    talk.load("U1")
    talk.fixture("ROUTE LCR")
    talk.tell(LCR, "FUNC RDC", "RANG 100", "TRIG")
    first = talk.ask(LCR, "FETC?")
    talk.tell(LCR, "TRIG", "TRIG")

    assert first.endswith(",+1")
    assert talk.ask(LCR, "FETC?").endswith(",+0")


def test_overload_of_the_others_is_a_status_too() -> None:
    """Source, field sensor, thermometer: 9.9E+37, O, OPEN."""
    faults = [Fault(name, FaultKind.OVERLOAD) for name in (SOURCE, FIXTURE, THERMOMETER)]
    talk = _talk(*faults)

    assert "+9.90000E+37" == talk.ask(SOURCE, "MEAS:VOLT?")
    assert "OK -G--- 0 O" == talk.fixture("FIELD 1")
    assert "OPEN,+020.000" == talk.temperatures()


def test_error_entry_is_in_the_queue() -> None:
    """The instrument reports something on its own account."""
    talk = _talk(Fault(LCR, FaultKind.ERROR_ENTRY), Fault(FIXTURE, FaultKind.ERROR_ENTRY))
    talk.tell(LCR, "FREQ 1000")

    assert '-240,"Hardware error"' == talk.ask(LCR, "SYST:ERR?")
    assert "ERR -G--- 4 hardware" == talk.fixture("STATE")


def test_frozen_value_does_not_follow_the_truth() -> None:
    """The thermometer goes on showing what it last showed."""
    talk = _talk(Fault(THERMOMETER, FaultKind.FROZEN, nth=1))
    before = talk.temperatures()
    talk.ask(OPERATOR, "AMBIENT 40")

    assert "+020.000,+020.000" == before == talk.temperatures()


def test_drift_grows_with_time() -> None:
    """One per cent an hour is one per cent after an hour."""
    talk = _talk(Fault(LCR, FaultKind.DRIFT, amount=0.01))
    talk.load("U1")
    talk.fixture("ROUTE LCR")
    talk.measure_lcr("RDC")
    talk.clock.advance_to(3600.0)

    assert 8.08 == pytest.approx(talk.measure_lcr("RDC")[0], rel=1e-4)


def test_stuck_relay_stays_whatever_is_reported() -> None:
    """The fixture says OPEN, the coil is still driven."""
    talk = _talk(Fault(FIXTURE, FaultKind.STUCK, matching="ROUTE OPEN"))
    talk.load("U1")
    talk.drive(0.8)

    assert "OK LG-E- OPEN" == talk.fixture("ROUTE OPEN")
    assert Route.FORWARD is talk.world.route
    assert "+1.00000E-01" == talk.ask(SOURCE, "MEAS:CURR?")


def test_stuck_output_says_off_and_drives_on() -> None:
    """Only the measured current tells."""
    talk = _talk(Fault(SOURCE, FaultKind.STUCK, matching="OUTP 0"))
    talk.load("U1")
    talk.drive(0.8)
    talk.tell(SOURCE, "OUTP 0")

    assert ("0", "+1.00000E-01") == (talk.ask(SOURCE, "OUTP?"), talk.ask(SOURCE, "MEAS:CURR?"))


def test_streaming_instrument_is_impaired_by_what_it_sends() -> None:
    """It is told nothing, so its own lines are counted."""
    talk = _talk(Fault(THERMOMETER, FaultKind.OVERLOAD, nth=1), thermometer_model="TH-S")
    lines = [talk.link(THERMOMETER).read_until(b"\r\n", timeout=1.0) for _ in range(4)]

    assert [False, False, True, False] == [b"C=-----" in line for line in lines]


def test_fault_of_an_unknown_instrument_is_refused() -> None:
    """A misspelt script must not pass for a bench without faults."""
    with pytest.raises(KeyError, match="lcr-9"):
        SimulatedBench(options=BenchOptions(faults=[Fault("lcr-9", FaultKind.LATE)]))


def test_fault_armed_later_counts_from_then_on() -> None:
    """What was said before is not counted."""
    talk = _talk()
    first = talk.ask(SOURCE, "VOLT?")
    talk.bench.wrappers[SOURCE].arm(Fault(SOURCE, FaultKind.GARBLED, nth=1))
    answers = [talk.ask(SOURCE, "VOLT?") for _ in range(3)]

    assert [False, True, False] == [each != first for each in answers]


def test_mended_instrument_is_sound_and_has_no_fault_left() -> None:
    """Silence, another identity and what the script still had for it are gone."""
    talk = _talk(
        Fault(SOURCE, FaultKind.WRONG_IDENTITY, data=b"OTHER,1,2,3"),
        Fault(SOURCE, FaultKind.SILENT, nth=1),
        Fault(SOURCE, FaultKind.GARBLED, nth=1),
    )
    other = talk.ask(SOURCE, "*IDN?")
    talk.tell(SOURCE, "VOLT?")
    talk.bench.wrappers[SOURCE].mend()

    assert "OTHER,1,2,3\n".strip() == other
    assert talk.bench.identities[SOURCE] == talk.ask(SOURCE, "*IDN?")
