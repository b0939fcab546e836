"""The fixture: line protocol, routes, interlocks, stage, field, contacts."""

from math import inf

import pytest

from sim.bench import FIXTURE, OPERATOR, SOURCE, BenchOptions
from sim.errors import BenchErrors
from sim.instruments.fixture import framed, parse
from sim.lot import truth_near
from sim.world import Route
from tests.sim.talk import Talk, program

NOMINAL = truth_near("U1")
ISOTHERMAL = type(NOMINAL)("U1", 8.0, 1e-5, NOMINAL.field_per_ampere, thermal=())


def _loaded(*, errors: BenchErrors | None = None, has_stage: bool = True) -> Talk:
    options = BenchOptions(ambient_degc=20.0, errors=errors or BenchErrors(), has_stage=has_stage)
    talk = Talk(options=options, units=[ISOTHERMAL])
    talk.load("U1")
    return talk


def test_frame_has_the_checksum_of_its_body() -> None:
    """CRC-16/CCITT with start 0xFFFF: `123456789` gives 29B1 (the check value of that algorithm)."""

    assert b"123456789*29B1\n" == framed("123456789")


@pytest.mark.parametrize(
    "line",
    [b"", b">1 STATE", b">1 STATE*0000", b"<1 STATE*" + framed("<1 STATE")[9:13], framed(">256 STATE")[:-1]],
)
def test_message_that_is_not_whole_is_ignored(line: bytes) -> None:
    """A wrong checksum, start or number: no response."""

    assert parse(line) is None


def test_wrong_checksum_gets_no_response_and_the_next_message_is_answered() -> None:
    """The fixture stays in step."""
    talk = Talk()
    talk.link(FIXTURE).write(b">7 STATE*0000\n" + program(8, "STATE"))

    assert talk.link(FIXTURE).read_until(b"\n", timeout=1.0).startswith(b"<8 OK ----- OPEN 20000 0*"[:6])


def test_identity_has_four_words() -> None:
    """`ID` answers maker, model, serial, firmware."""

    assert "OK -G--- INVENTED FIX-1 FIX1001 1.0" == Talk().fixture("ID")


def test_state_counts_contact_cycles() -> None:
    """Each unit put in is one contact; state has route, height and count."""
    talk = _loaded()
    talk.ask(OPERATOR, "UNLOAD")
    talk.clock.sleep(2.0)
    talk.load("U1")

    assert "OK LG--- OPEN 20000 2" == talk.fixture("STATE")


@pytest.mark.parametrize(
    ("command", "expected"),
    [
        ("NONSENSE", "ERR -G--- 1 unknown_command"),
        ("ROUTE NOWHERE", "ERR -G--- 2 bad_argument"),
        ("ROUTE", "ERR -G--- 2 bad_argument"),
        ("HEIGHT 499", "ERR -G--- 2 bad_argument"),
        ("HEIGHT 20001", "ERR -G--- 2 bad_argument"),
        ("HEIGHT 1.5", "ERR -G--- 2 bad_argument"),
        ("FIELD 0", "ERR -G--- 2 bad_argument"),
        ("CONTACT", "ERR -G--- 3 not_allowed_now"),
        ("ROUTE FWD", "ERR -G--- 3 not_allowed_now"),
    ],
)
def test_command_that_cannot_be_done_is_an_error(command: str, expected: str) -> None:
    """Code and words as the protocol has them."""

    assert expected == Talk().fixture(command)


def test_route_is_made_after_15_ms_with_a_break_before() -> None:
    """Between the routes the coil is connected to nothing."""
    talk = _loaded()
    talk.fixture("ROUTE LCR")
    start_s = talk.clock.monotonic()
    talk.link(FIXTURE).write(program(9, "ROUTE KELVIN"))
    talk.clock.sleep(0.010)
    talk.host.run_to(talk.clock.monotonic())
    between = talk.world.route
    talk.link(FIXTURE).read_until(b"\n", timeout=1.0)

    assert Route.OPEN is between
    assert Route.KELVIN is talk.world.route
    assert 0.015 == pytest.approx(talk.clock.monotonic() - start_s)


def test_dead_man_opens_the_driven_route_after_2_s() -> None:
    """Without another `ALIVE` the drive is gone at 2 s, not before, and the flag says so."""
    talk = _loaded()
    talk.drive(0.8)
    alive_s = talk.clock.monotonic()
    talk.fixture("ALIVE")
    talk.host.run_to(alive_s + 1.999)
    before = talk.world.route
    talk.host.run_to(alive_s + 2.001)
    talk.clock.advance_to(alive_s + 2.001)

    assert (Route.FORWARD, Route.OPEN) == (before, talk.world.route)
    assert "OK LG--R OPEN 20000 1" == talk.fixture("STATE")
    assert [] == talk.world.mishaps


def test_alive_keeps_the_drive_and_clears_the_flag() -> None:
    """With one each second the route stays; after a drop it is enabled again."""
    talk = _loaded()
    talk.drive(0.8)
    for _ in range(5):
        talk.clock.sleep(1.0)
        talk.fixture("ALIVE")
    held = talk.world.route
    talk.clock.sleep(3.0)
    dropped = talk.fixture("STATE")
    talk.fixture("ALIVE")

    assert Route.FORWARD is held
    assert "OK LG--R OPEN 20000 1" == dropped
    assert "OK LG-E- OPEN 20000 1" == talk.fixture("STATE")


def test_alive_is_answered_while_the_stage_moves() -> None:
    """A move of nearly 2 s must not starve the dead-man."""
    talk = _loaded()
    link = talk.link(FIXTURE)
    link.write(program(1, "HEIGHT 500") + program(2, "ALIVE"))

    assert link.read_until(b"\n", timeout=5.0).startswith(b"<2 OK")
    assert link.read_until(b"\n", timeout=5.0).startswith(b"<1 OK")
    assert 1.95 == pytest.approx(talk.clock.monotonic() - 1.1, abs=0.01)


@pytest.mark.parametrize(("words", "flags"), [("HANDSTOP ON", "LGS--"), ("GUARD OPEN", "L----")])
def test_interlock_takes_the_drive_away_at_once(words: str, flags: str) -> None:
    """Guard open and hand stop open the route without a message to the fixture."""
    talk = _loaded()
    talk.drive(0.8)
    talk.ask(OPERATOR, words)

    assert Route.OPEN is talk.world.route
    assert f"OK {flags} OPEN 20000 1" == talk.fixture("STATE")
    assert f"ERR {flags} 3 not_allowed_now" == talk.fixture("ROUTE FWD")


def test_lcr_route_is_refused_while_the_source_drives() -> None:
    """A driven LCR meter is a destroyed one: error 3, and the world notes the attempt."""
    talk = _loaded()
    talk.drive(0.8)

    assert "ERR LG-E- 3 not_allowed_now" == talk.fixture("ROUTE LCR")
    assert Route.FORWARD is talk.world.route
    assert ["driven_lcr"] == [mishap.kind for mishap in talk.world.mishaps]


def test_switching_under_drive_is_noted() -> None:
    """The fixture does it, the world notes hot switching."""
    talk = _loaded()
    talk.drive(0.8)
    talk.fixture("ROUTE REV")

    assert "hot_switching" in {mishap.kind for mishap in talk.world.mishaps}


def test_clean_order_of_work_has_no_mishap() -> None:
    """Route, on, off, route: nothing to note."""
    talk = _loaded()
    talk.drive(0.8)
    talk.tell(SOURCE, "OUTP 0")
    talk.ask(SOURCE, "OUTP?")
    talk.fixture("ROUTE REV")
    talk.fixture("ROUTE LCR")

    assert [] == talk.world.mishaps


def test_field_is_in_nanotesla_and_follows_height_and_sign() -> None:
    """At 0.1 A the field at 2 mm is a tenth of that per ampere; reversed it is negative."""
    talk = _loaded()
    talk.fixture("HEIGHT 2000")
    talk.drive(0.8)
    forward = talk.fixture("FIELD 5")
    talk.tell(SOURCE, "OUTP 0")
    talk.drive(0.8, route="REV")
    expected_nt = round(0.1 * NOMINAL.field_per_ampere(0.002, 0.0) * 1e9)

    assert f"OK LG-E- {expected_nt} V" == forward
    assert f"OK LG-E- {-expected_nt} V" == talk.fixture("FIELD 5")


def test_field_takes_its_mains_cycles() -> None:
    """10 cycles are 0.2 s."""
    talk = Talk()
    talk.fixture("FIELD 10")

    assert 0.202 == pytest.approx(talk.clock.monotonic())


def test_field_sensor_has_gain_and_offset() -> None:
    """Offset alone without current, both with it."""
    talk = _loaded(errors=BenchErrors(field_gain=0.01, field_offset_t=1e-6))
    talk.fixture("HEIGHT 2000")

    assert "OK LG--- 1000 V" == talk.fixture("FIELD 1")

    talk.drive(0.8)
    expected_nt = round(0.101 * NOMINAL.field_per_ampere(0.002, 0.0) * 1e9) + 1000

    assert f"OK LG-E- {expected_nt} V" == talk.fixture("FIELD 1")


def test_stage_moves_at_10_mm_a_second() -> None:
    """From 20 mm to 2 mm takes 1.8 s; the response tells where it is."""
    talk = Talk()

    assert "OK -G--- 2000" == talk.fixture("HEIGHT 2000")
    assert 1.802 == pytest.approx(talk.clock.monotonic())
    assert "OK -G--- 20000" == talk.fixture("RETRACT")


def test_fixture_without_stage_knows_no_height() -> None:
    """HEIGHT and RETRACT are unknown, STATE has a dash, the operator's spacer sets the height."""
    talk = _loaded(has_stage=False)

    assert "ERR LG--- 1 unknown_command" == talk.fixture("HEIGHT 2000")
    assert "ERR LG--- 1 unknown_command" == talk.fixture("RETRACT")
    assert "OK LG--- OPEN - 1" == talk.fixture("STATE")
    assert "OK" == talk.ask(OPERATOR, "SPACER 2000")
    assert 0.002 == talk.world.height_m


def test_contact_tells_both_pads_in_microohm() -> None:
    """A clean pad reads its few milliohm, an open one a dash."""
    good = _loaded()
    good.fixture("ROUTE KELVIN")
    bad = Talk(units=[type(NOMINAL)("U2", 8.0, 1e-5, NOMINAL.field_per_ampere, contact_end_ohm=inf)])
    bad.load("U2")
    bad.fixture("ROUTE KELVIN")

    assert "OK LG--- 6000 6000" == good.fixture("CONTACT")
    assert "OK LG--- 6000 -" == bad.fixture("CONTACT")


def test_empty_nest_has_no_contact() -> None:
    """Both pads are open."""
    talk = Talk()
    talk.fixture("ROUTE KELVIN")

    assert "OK -G--- - -" == talk.fixture("CONTACT")
