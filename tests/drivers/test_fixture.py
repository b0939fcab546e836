"""The serial fixture and its lines."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.contracts.faults import doubled, late, preceded, with_next_digit
from drivers.errors import InstrumentReported, LinkTimeout, ReplyError
from drivers.fixture_line import checksum, parse_line, program_line
from drivers.instruments import FixtureState, Interlocks, Route
from drivers.readings import Identity, Quantity, ReadingStatus
from tests.drivers.benches import FixtureBench


def line(body: bytes) -> bytes:
    """Return a response line with its checksum."""
    return body + b"*" + checksum(body)


def test_checksum_has_published_check_value() -> None:
    """CRC-16/CCITT, start 0xFFFF, over 123456789 is 0x29B1 (check value of CRC catalogues, from memory)."""

    assert b"29B1" == checksum(b"123456789")


def test_state_tells_route_flags_height_and_cycles() -> None:
    """All that the fixture tells comes in one state."""
    bench = FixtureBench()
    bench.peer.flags["S"] = True
    bench.peer.route = "LCR"

    assert FixtureState(Route.LCR, True, True, True, 20_000 * 1e-6, 17) == bench.driver.state()


def test_identity_has_four_fields() -> None:
    """The fixture's identity reads like any other."""

    assert Identity("Meadow", "FIX-9", "0042", "1.0") == FixtureBench().driver.identify()


@pytest.mark.parametrize("route", list(Route))
def test_route_is_made_and_reported(route: Route) -> None:
    """Each route is ordered by its word and checked in the response."""
    bench = FixtureBench()
    bench.driver.set_route(route)

    assert route is bench.driver.state().route


@pytest.mark.parametrize("route", [Route.SOURCE_FORWARD, Route.SOURCE_REVERSE])
def test_source_route_enables_dead_man_first(route: Route) -> None:
    """A source route is never ordered without somebody in charge."""
    bench = FixtureBench()
    bench.driver.set_route(route)
    commands = [message.split()[1].partition("*")[0] for message in bench.peer.received]

    assert ["ALIVE", "ROUTE"] == commands


def test_other_route_in_response_is_refused() -> None:
    """A relay that went elsewhere is not what was asked for."""
    bench = FixtureBench()
    bench.link.spoil(0, lambda time_s, data: [(time_s, line(b"<0 OK LG--- LCR") + b"\n")])
    with pytest.raises(ReplyError, match="route OPEN"):
        bench.driver.set_route(Route.OPEN)


@pytest.mark.parametrize(("height_m", "height_um"), [(0.002, 2000), (0.0020004, 2000), (0.0005, 500)])
def test_height_is_ordered_in_whole_micrometres(height_m: float, height_um: int) -> None:
    """The stage knows micrometres."""
    bench = FixtureBench()
    bench.driver.set_height(height_m)

    assert height_um == bench.peer.height_um


def test_long_move_is_waited_for() -> None:
    """The time allowed for a move is that of the longest."""
    bench = FixtureBench()
    bench.driver.set_height(0.0005)
    bench.driver.retract()

    assert 20_000 == bench.peer.height_um


def test_height_out_of_range_is_reported() -> None:
    """The fixture's own refusal comes through with its code."""
    with pytest.raises(InstrumentReported) as caught:
        FixtureBench().driver.set_height(0.1)

    assert (2, "bad_argument") == (caught.value.code, caught.value.text)


def test_fixture_without_stage_is_learnt_from_its_state() -> None:
    """A state without a height means that the operator places spacers."""
    bench = FixtureBench()
    bench.peer.height_um = None

    assert bench.driver.state().height_m is None
    assert not bench.driver.has_stage


def test_fixture_without_stage_is_learnt_from_its_refusal() -> None:
    """Error 1 on HEIGHT says the same."""
    bench = FixtureBench()
    bench.peer.height_um = None
    with pytest.raises(InstrumentReported):
        bench.driver.set_height(0.002)

    assert not bench.driver.has_stage


def test_bench_set_up_has_the_last_word_on_the_stage() -> None:
    """What the bench file states is not overruled by a state with a height."""
    bench = FixtureBench(has_stage=False)
    bench.driver.state()

    assert not bench.driver.has_stage


def test_field_comes_in_tesla() -> None:
    """Nanotesla on the wire, tesla in the reading."""
    reading = FixtureBench().driver.measure_field(mains_cycles=5)

    assert (Quantity.FLUX_DENSITY, pytest.approx(3e-3)) == (reading.quantity, reading.value)


def test_long_field_average_is_waited_for() -> None:
    """The time allowed grows with the mains cycles."""
    bench = FixtureBench()
    bench.driver.measure_field(mains_cycles=100)

    assert bench.clock.monotonic() >= 2.0


def test_field_overload_is_status_without_value() -> None:
    """The 0 that goes with an overload is no field."""
    bench = FixtureBench()
    bench.peer.field_valid = False
    reading = bench.driver.measure_field(mains_cycles=1)

    assert (None, ReadingStatus.OVERLOAD) == (reading.value, reading.status)


def test_field_after_dead_man_dropped_the_drive_is_refused() -> None:
    """The flags of the response tell that the coil carried no current."""
    bench = FixtureBench()
    bench.driver.set_route(Route.SOURCE_FORWARD)
    bench.peer.drop_drive()
    with pytest.raises(InstrumentReported, match="flags LG--R"):
        bench.driver.measure_field(mains_cycles=1)


def test_field_on_route_that_was_dropped_unseen_is_refused() -> None:
    """A keep-alive after the drop clears the flags, but the route tells."""
    bench = FixtureBench()
    bench.driver.set_route(Route.SOURCE_FORWARD)
    bench.peer.drop_drive()
    bench.driver.keep_alive()
    with pytest.raises(InstrumentReported, match="opened the route"):
        bench.driver.measure_field(mains_cycles=1)


def test_open_contact_is_status_without_value() -> None:
    """`-` is no contact, not zero ohm."""
    bench = FixtureBench()
    bench.peer.contacts = ("1500", "-")
    bench.driver.set_route(Route.KELVIN_CHECK)
    start, end = bench.driver.check_contacts()

    assert pytest.approx(1.5e-3) == start.value
    assert (None, ReadingStatus.SENSOR_OPEN) == (end.value, end.status)


def test_keep_alive_and_route_tell_the_interlocks() -> None:
    """Guard and hand stop come with each response: no state need be asked for them."""
    bench = FixtureBench()
    bench.peer.flags |= {"G": False, "S": True}

    assert Interlocks(loaded=True, guard_closed=False, hand_stop=True) == bench.driver.keep_alive()
    assert Interlocks(loaded=True, guard_closed=False, hand_stop=True) == bench.driver.set_route(Route.LCR)


def test_group_of_fields_asks_for_the_state_once() -> None:
    """One look at the route proves all, since an opened route stays open."""
    bench = FixtureBench()
    bench.driver.set_route(Route.SOURCE_FORWARD)
    bench.peer.received.clear()
    group = bench.driver.field_group(mains_cycles=1)
    for _ in range(3):
        group.take()
    group.hand_out()

    assert ["FIELD", "FIELD", "FIELD", "STATE"] == [
        message.split()[1].partition("*")[0] for message in bench.peer.received
    ]


def test_route_that_was_open_for_one_field_of_a_group_spoils_all() -> None:
    """The dead-man fires between two fields, and somebody's keep-alive takes its flag away."""
    bench = FixtureBench()
    bench.driver.set_route(Route.SOURCE_FORWARD)
    group = bench.driver.field_group(mains_cycles=1)
    group.take()
    bench.peer.drop_drive()
    bench.driver.keep_alive()
    group.take()
    with pytest.raises(InstrumentReported, match="opened the route"):
        group.hand_out()


def test_contact_check_on_other_route_is_reported() -> None:
    """The fixture refuses, and says why."""
    with pytest.raises(InstrumentReported) as caught:
        FixtureBench().driver.check_contacts()

    assert 3 == caught.value.code


def test_doubled_response_is_thrown_away() -> None:
    """The copy carries an old number."""
    bench = FixtureBench()
    bench.peer.truth = 1
    bench.link.spoil(0, lambda time_s, data: doubled(0.001, time_s, data))
    bench.driver.measure_field(mains_cycles=1)
    bench.peer.truth = 2

    assert pytest.approx(3e-3 * 1.026) == bench.driver.measure_field(mains_cycles=1).value


def test_late_response_is_thrown_away() -> None:
    """A response after its time-out never becomes the next one's."""
    bench = FixtureBench()
    bench.link.spoil(0, lambda time_s, data: late(0.62, time_s, data))
    with pytest.raises(LinkTimeout):
        bench.driver.measure_field(mains_cycles=1)
    bench.peer.truth = 2

    assert pytest.approx(3e-3 * 1.026) == bench.driver.measure_field(mains_cycles=1).value


@pytest.mark.parametrize("number", [1, 77, 200])
def test_response_to_a_number_not_sent_lately_is_refused(number: int) -> None:
    """A number from nowhere is a fault, not a late response."""
    bench = FixtureBench()
    foreign = line(b"<%d OK LG--- 123 V" % number) + b"\n"
    bench.link.spoil(0, lambda time_s, data: preceded(foreign, time_s, data))
    with pytest.raises(ReplyError, match="number 0 was expected"):
        bench.driver.measure_field(mains_cycles=1)


def test_endless_late_responses_are_refused() -> None:
    """A babbling fixture is given up on."""
    bench = FixtureBench()
    stale = line(b"<255 OK LG--- 123 V") + b"\n"
    bench.link.spoil(0, lambda time_s, data: preceded(stale * 30, time_s, data))
    with pytest.raises(ReplyError, match="number 0 was expected"):
        bench.driver.measure_field(mains_cycles=1)


def test_wrong_checksum_is_refused() -> None:
    """One digit changed on the way shows."""
    bench = FixtureBench()
    bench.link.spoil(0, with_next_digit)
    with pytest.raises(ReplyError, match="checksum"):
        bench.driver.measure_field(mains_cycles=1)


def test_numbers_wrap_after_255() -> None:
    """Any number of exchanges goes through."""
    bench = FixtureBench()
    for _ in range(600):
        bench.driver.keep_alive()

    assert bench.peer.received[256].startswith(">0 ")


@pytest.mark.parametrize(
    "body",
    [b"<1 OK LG---", b"<1 OK LG--- 123 V", b"<255 ERR ----- 2 bad_argument", b"<0 OK LGSER - -"],
)
def test_line_in_form_is_parsed(body: bytes) -> None:
    """Number, word, flags and fields are taken apart."""
    reply = parse_line(line(body))

    assert body.split()[3:] == [field.encode() for field in reply.fields]
    assert body.split()[2].decode() == reply.flags


@pytest.mark.parametrize(
    "body",
    [
        b"1 OK LG---",
        b"<256 OK LG---",
        b"<1 MAYBE LG---",
        b"<1 OK LG--",
        b"<1 OK GL---",
        b"<1 OK LG---  1",
        b"<1 OK LG--- \xb2",
    ],
)
def test_line_in_other_form_is_refused(body: bytes) -> None:
    """A right checksum does not make a right line."""
    with pytest.raises(ReplyError):
        parse_line(line(body))


@given(st.integers(0, 255), st.integers(0, 40), st.integers(1, 255))
def test_line_with_one_byte_changed_is_refused(number: int, position: int, change: int) -> None:
    """A 16-bit checksum sees every change of a single byte."""
    good = line(b"<%d OK LG--- 123456 V" % number)
    position %= len(good)
    bad = good[:position] + bytes([good[position] ^ change]) + good[position + 1 :]
    with pytest.raises(ReplyError):
        parse_line(bad)


def test_program_line_is_numbered_and_summed() -> None:
    """As the wire's description has it."""

    assert b">7 ROUTE LCR*" + checksum(b">7 ROUTE LCR") == program_line(7, "ROUTE LCR")


def answered(bench: FixtureBench, fields: bytes) -> FixtureBench:
    """Let the next response have other fields, with a right checksum."""
    text = line(b"<0 " + fields) + b"\n"
    bench.link.spoil(0, lambda time_s, data: [(time_s, text)])
    return bench


def test_identity_with_other_fields_is_refused() -> None:
    """Four fields, no more and no less."""
    with pytest.raises(ReplyError, match="maker, model"):
        answered(FixtureBench(), b"OK LG--- Meadow FIX-9").driver.identify()


@pytest.mark.parametrize("fields", [b"OPEN 20000", b"NOWHERE 20000 17", b"OPEN high 17", b"OPEN 20000 1.5"])
def test_state_with_other_fields_is_refused(fields: bytes) -> None:
    """An unknown route or a number that is none is no state."""
    with pytest.raises(ReplyError):
        answered(FixtureBench(), b"OK LG--- " + fields).driver.state()


@pytest.mark.parametrize("fields", [b"3000000", b"3000000 X", b"3.0 V", b"nan V"])
def test_field_with_other_fields_is_refused(fields: bytes) -> None:
    """Whole nanotesla with V or O."""
    with pytest.raises(ReplyError):
        answered(FixtureBench(), b"OK LG--- " + fields).driver.measure_field(mains_cycles=1)


@pytest.mark.parametrize("fields", [b"1500", b"1500 1.5", b"1500 1700 1900"])
def test_contacts_with_other_fields_are_refused(fields: bytes) -> None:
    """Two whole numbers of microohm, or `-`."""
    with pytest.raises(ReplyError):
        answered(FixtureBench(), b"OK LG--- " + fields).driver.check_contacts()


def test_other_height_in_response_is_refused() -> None:
    """A stage that stands elsewhere is not where it was sent."""
    with pytest.raises(ReplyError, match="height 2000 um"):
        answered(FixtureBench(), b"OK LG--- 2001").driver.set_height(0.002)


@pytest.mark.parametrize("fields", [b"ERR LG---", b"ERR LG--- broken down"])
def test_error_without_code_is_refused(fields: bytes) -> None:
    """An error has a number."""
    with pytest.raises(ReplyError, match="error code"):
        answered(FixtureBench(), fields).driver.keep_alive()


def test_capability_is_field_and_contacts() -> None:
    """What the fixture measures, and no more."""
    driver = FixtureBench().driver

    assert driver.can(Quantity.FLUX_DENSITY)
    assert driver.can(Quantity.CONTACT_RESISTANCE)
    assert not driver.can(Quantity.VOLTAGE)
