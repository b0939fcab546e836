"""Both thermometers."""

from sim.bench import THERMOMETER, BenchOptions
from sim.errors import BenchErrors
from sim.instruments.thermometer_streaming import summed
from sim.lot import truth_near
from tests.sim.talk import Talk


def _streaming() -> Talk:
    return Talk(options=BenchOptions(thermometer_model="TH-S"))


def _line(talk: Talk) -> bytes:
    return talk.link(THERMOMETER).read_until(b"\r\n", timeout=1.0)


def test_polled_answers_coil_and_ambient_after_60_ms() -> None:
    """`T?` answers like `+023.512,+023.407`."""
    talk = Talk(options=BenchOptions(ambient_degc=23.5))

    assert "+023.500,+023.500" == talk.temperatures()
    assert 0.06 == talk.clock.monotonic()


def test_polled_shows_the_warm_coil_and_its_own_offsets() -> None:
    """The coil's surface with one offset, ambient with the other."""
    errors = BenchErrors(coil_thermometer_offset_k=0.3, ambient_thermometer_offset_k=-0.2)
    talk = Talk(options=BenchOptions(ambient_degc=20.0, errors=errors), units=[truth_near("U1")])
    talk.load("U1")
    talk.world.load(truth_near("U1"), warm_k=4.0)
    coil, ambient = map(float, talk.temperatures().split(","))

    assert 24.2 < coil < 24.3
    assert 19.8 == ambient


def test_polled_tells_its_identity() -> None:
    """`ID?` answers four fields."""
    talk = Talk()
    talk.link(THERMOMETER).write(b"ID?\r")

    assert b"INVENTED,TH-P,THP001,1.0" == talk.link(THERMOMETER).read_until(b"\r\n", timeout=1.0)


def test_polled_ignores_what_it_does_not_know() -> None:
    """The next query is answered."""
    talk = Talk()
    talk.link(THERMOMETER).write(b"HELLO\r")

    assert "+023.000,+023.000" == talk.temperatures()


def test_sum_is_of_all_bytes_before_its_mark() -> None:
    """Modulo 256, two upper-case hex digits: the sum of `AB` is 0x83."""

    assert b"AB K=83\r\n" == summed("AB")


def test_streaming_sends_a_line_each_200_ms() -> None:
    """Count, coil, ambient, sum."""
    talk = _streaming()
    body = b"N=000001 C=+23.00 A=+23.00"

    assert body + b" K=%02X" % (sum(body) % 256) == _line(talk)
    assert 0.2 == talk.clock.monotonic()
    assert _line(talk).startswith(b"N=000002 ")


def test_streaming_tells_its_identity_in_each_25th_line() -> None:
    """Instead of the temperatures; the count goes on."""
    talk = _streaming()
    lines = [_line(talk) for _ in range(26)]

    assert lines[24].startswith(b"ID=INVENTED,TH-S,THS001,1.0 K=")
    assert lines[25].startswith(b"N=000026 ")


def test_streaming_counts_also_while_nobody_listens() -> None:
    """Who opens the line later gets the count of that time."""
    talk = _streaming()
    talk.clock.sleep(2.05)
    talk.host.run_to(talk.clock.monotonic())

    assert _line(talk).startswith(b"N=000011 ")
