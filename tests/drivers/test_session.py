"""The exchange that never gets out of step, and what SCPI adds."""

import pytest

from drivers.clock import ManualClock
from drivers.contracts.faults import doubled, late, preceded
from drivers.contracts.scripted import Delivery, ScriptedLink
from drivers.errors import InstrumentError, InstrumentReported, LinkTimeout, ReplyError, WrongInstrument
from drivers.readings import Identity
from drivers.session import ScpiSession, check_identity, parse_error_entry, parse_identity
from drivers.stop import Stopped, StopToken
from tests.drivers.benches import LCR_LAST
from tests.drivers.peers import LcrStatusLastPeer

IDENTITY = Identity("Meadow Instruments", "MODEL-1", "0042", "1.0")


class Bench:
    """A session over a peer."""

    def __init__(self) -> None:
        self.peer = LcrStatusLastPeer()
        self.clock = ManualClock()
        self.link = ScriptedLink(self.peer, self.clock, terminator_out=b"\n", name="lcr-1")
        self.session = ScpiSession(self.link, LCR_LAST.wire)
        self.session.write("FREQ 1.000000E+03")


def test_query_after_timeout_waits_for_quiet_before_it_writes() -> None:
    """Between a time-out and the next message the line has been quiet for the dialect's time."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        bench.session.query("FREQ?")
    start_s = bench.clock.monotonic()
    bench.session.query("FREQ?")

    assert bench.clock.monotonic() - start_s >= LCR_LAST.wire.quiet_s
    assert bench.link.hasty_writes == 0


def test_write_after_timeout_waits_for_quiet_too() -> None:
    """A message without response is no exception: only switching a drive off is."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        bench.session.query("FREQ?")
    bench.session.write("VOLT 1.0")

    assert bench.link.hasty_writes == 0


def test_late_response_after_timeout_is_thrown_away() -> None:
    """The response that comes while the line gets quiet is not the next query's."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: late(1.02, time_s, data))
    with pytest.raises(LinkTimeout):
        bench.session.query("FREQ?")
    bench.session.write("FREQ 2.000000E+03")

    assert bench.session.query("FREQ?") == b"+2.00000E+03"


def test_input_nobody_asked_for_is_refused_before_the_query() -> None:
    """A doubled response that is there already stops the next query before it is sent."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: doubled(0.0, time_s, data))
    bench.session.query("FREQ?")
    written = bytes(bench.link.written)
    with pytest.raises(ReplyError, match="without being asked") as caught:
        bench.session.query("VOLT?")

    assert caught.value.received == b"+1.00000E+03\n"
    assert written == bytes(bench.link.written)


def test_line_that_never_gets_quiet_is_a_timeout_each_time() -> None:
    """Out of step stays out of step: a babbling instrument is not written to."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: [(time_s + 0.05 * n, b"7") for n in range(10_000)])
    with pytest.raises(InstrumentError):
        bench.session.query("FREQ?")
    written = bytes(bench.link.written)
    for _ in range(2):
        with pytest.raises(LinkTimeout):
            bench.session.query("FREQ?")

    assert written == bytes(bench.link.written)


def test_exchange_left_by_a_stop_is_out_of_step() -> None:
    """Whatever ends an exchange early leaves a response on its way: a stop is no exception."""
    stop = StopToken()
    clock = ManualClock(stop=stop)
    peer = LcrStatusLastPeer()
    link = ScriptedLink(peer, clock, terminator_out=b"\n", name="lcr-1")
    session = ScpiSession(link, LCR_LAST.wire)
    session.write("FREQ 1.000000E+03")

    def stopped(time_s: float, data: bytes) -> list[Delivery]:
        stop.set("hand stop")
        return late(0.01, time_s, data)

    link.spoil(0, stopped)
    with pytest.raises(Stopped):
        session.query("FREQ?")
    stop.clear()
    session.write("FREQ 2.000000E+03")

    assert session.query("FREQ?") == b"+2.00000E+03"


def test_errors_are_read_until_queue_is_empty() -> None:
    """The first entry gives the code, the message names all of them."""
    bench = Bench()
    bench.peer.errors = ['-222,"Data out of range;VOLT 300"', '-113,"Undefined header"']
    with pytest.raises(InstrumentReported, match="-113") as caught:
        bench.session.check_errors()
    bench.session.check_errors()

    assert (-222, "Data out of range;VOLT 300") == (caught.value.code, caught.value.text)


def test_endless_error_queue_is_refused() -> None:
    """An instrument that is never done with its errors does not hold the bench up."""
    bench = Bench()
    bench.peer.errors = ['-350,"Queue overflow"'] * 1000
    with pytest.raises(ReplyError, match="not empty"):
        bench.session.check_errors()


def test_number_in_place_of_error_entry_shows_the_shift() -> None:
    """Responses shifted by one show at the closing query."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: preceded(b"+7.7E+00\n", time_s, data))
    with pytest.raises(ReplyError, match="error entry"):
        bench.session.check_errors()


def test_errors_of_what_failed_are_not_told_to_the_next() -> None:
    """After getting in step again the queue is emptied before anything else is sent."""
    bench = Bench()
    bench.session.write("NONSENSE")
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        bench.session.query("FREQ?")
    bench.session.write("VOLT 1.0")
    bench.session.check_errors()


def test_setting_read_back_otherwise_is_an_error() -> None:
    """A setting that did not arrive is told, with what was wanted and what came."""
    bench = Bench()
    with pytest.raises(InstrumentError, match=r"set to 2000.*1\.00000E\+03"):
        bench.session.read_back("FREQ?", wanted=2000.0, tolerance=0.2)


def test_setting_read_back_as_no_number_is_refused() -> None:
    """An overload is no setting."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: [(time_s, b"9.9E37\n")])
    with pytest.raises(ReplyError, match="'FREQ\\?' cannot be used"):
        bench.session.read_back("FREQ?", wanted=1000.0, tolerance=0.1)


def test_identity_that_is_none_leaves_the_link_out_of_step() -> None:
    """A number in place of an identity is a late one: the line has to be quiet before the next message."""
    bench = Bench()
    bench.link.spoil(0, lambda time_s, data: [(time_s, b"+1.0E+00\n")])
    with pytest.raises(ReplyError, match="maker,model"):
        bench.session.identity()

    assert not bench.session.exchange.in_step


def test_identity_empties_what_others_left_in_the_queue() -> None:
    """Errors of an earlier client are not ours."""
    bench = Bench()
    bench.peer.errors = ['-310,"System error"']
    identity = bench.session.identity()
    bench.session.check_errors()

    assert IDENTITY == identity


@pytest.mark.parametrize(
    ("reply", "code", "text"),
    [
        (b'0,"No error"', 0, "No error"),
        (b'+0,"No error"', 0, "No error"),
        (b'-113,"Undefined header"', -113, "Undefined header"),
        (b'-222,"Data out of range;VOLT 300"', -222, "Data out of range;VOLT 300"),
        (b'-102,"Syntax error;near ""X"""', -102, 'Syntax error;near "X"'),
    ],
)
def test_error_entry_in_standard_form_is_read(reply: bytes, code: int, text: str) -> None:
    """Number and text of SCPI-1999 vol. 2, 21.8.1; a quote inside is doubled."""

    assert (code, text) == parse_error_entry(reply)


@pytest.mark.parametrize(
    "reply", [b"", b"0", b"+1.0E+0", b"0,No error", b'0,"No', b'0,"\xb2"', b'0,"a"\r', b'0,"a"b"']
)
def test_error_entry_in_other_form_is_refused(reply: bytes) -> None:
    """A number, a half entry or one with foreign bytes is no error entry."""
    with pytest.raises(ReplyError):
        parse_error_entry(reply)


@pytest.mark.parametrize("reply", [b"", b"A,B,C", b",,,", b"A\xb2,B,C,D", b"+1.0E+0", b"A,B,C,D\r"])
def test_identity_in_other_form_is_refused(reply: bytes) -> None:
    """Four fields of printable ASCII, with maker and model, or nothing."""
    with pytest.raises(ReplyError):
        parse_identity(reply)


@pytest.mark.parametrize("expected", ["", "Meadow Instruments", "Meadow Instruments, MODEL-1", str(IDENTITY)])
def test_identity_that_begins_as_expected_is_accepted(expected: str) -> None:
    """The bench file may name as many fields as it cares for."""
    check_identity("lcr-1", IDENTITY, expected)


@pytest.mark.parametrize(
    "expected", ["Meadow", "Meadow Instruments,MODEL-2", "Meadow Instruments,MODEL-1,42"]
)
def test_other_identity_is_wrong_instrument(expected: str) -> None:
    """The message names who was asked, what answered and what was expected."""
    with pytest.raises(WrongInstrument, match=f"lcr-1.*{IDENTITY}.*{expected}"):
        check_identity("lcr-1", IDENTITY, expected)


def test_messages_in_one_go_each_keep_their_terminator() -> None:
    """Settings ahead of a query travel with it, and are carried out before it."""
    bench = Bench()
    reply = bench.session.query("FREQ 2.000000E+03", "FREQ?")

    assert b"+2.00000E+03" == reply
    assert ["FREQ 2.000000E+03", "FREQ?"] == bench.peer.received[-2:]


def test_all_entries_behind_settings_are_told_without_sending_these_again() -> None:
    """The queue is asked on alone until it is empty."""
    bench = Bench()
    with pytest.raises(InstrumentReported, match=r"-113.*; -113"):
        bench.session.check_errors("NONSENSE", "NONSENSE")

    assert 2 == bench.peer.received.count("NONSENSE")


def test_nothing_is_proved_over_a_link_that_got_out_of_step() -> None:
    """A group's closing query mends nothing: what was taken before can't be believed any more."""
    bench = Bench()
    bench.session.query("FREQ?")
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        bench.session.query("FREQ?")
    with pytest.raises(InstrumentError, match="out of step between"):
        bench.session.prove()
