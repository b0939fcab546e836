"""The VISA route where it reads message by message, as on USB, GPIB, VXI-11 and HiSLIP.

No such instrument is here: the same pyvisa calls run over a socket session with a termination character.
"""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
import pyvisa
from pyvisa.resources import MessageBasedResource

from drivers.errors import LinkError, LinkOpenError, LinkTimeout
from drivers.links.open import open_link
from drivers.links.stream import StreamLink
from drivers.links.visa import MessagePort
from tests.drivers.links.peers import Script, TcpPeer, answering, babbling, silent


@contextmanager
def _asked(script: Script) -> Iterator[StreamLink]:
    with TcpPeer(script) as peer:
        resource = pyvisa.ResourceManager("@py").open_resource(peer.address)
        assert isinstance(resource, MessageBasedResource)
        link = StreamLink(MessagePort(resource), name="lcr-1")
        try:
            link.write(b"FETC?\n")
            yield link
        finally:
            link.close()


def test_message_port_reads_message() -> None:
    """A query and its answer pass."""
    with _asked(answering(b"+1.0E+00\n")) as link:
        assert link.read_until(b"\n", timeout=5.0) == b"+1.0E+00"


def test_message_port_keeps_timeout() -> None:
    """No answer is a `LinkTimeout` after the time asked for, whatever the library's default."""
    with _asked(silent()) as link, pytest.raises(LinkTimeout, match="within 50 ms"):
        link.read_until(b"\n", timeout=0.05)


def test_message_port_discards_by_device_clear() -> None:
    """What was sent too much is cleared away, so that the next query gets its own answer."""
    answers = iter((answering(b"+1.0E+00\n+9.0E+00\n"), answering(b"+2.0E+00\n")))
    with _asked(lambda message: next(answers)(message)) as link:
        link.read_until(b"\n", timeout=5.0)
        link.discard_input(quiet=0.1)
        link.write(b"FETC?\n")

        assert link.read_until(b"\n", timeout=5.0) == b"+2.0E+00"


def test_message_port_does_not_read_unasked() -> None:
    """Looking for unasked input reads nothing: on these routes a read without a query is an error."""
    with _asked(babbling(b"A\n", 0.001)) as link:
        assert link.discard_input(quiet=0.0) == b""
        assert link.read_until(b"\n", timeout=5.0) == b"A"


def test_message_port_maps_bare_errors_of_the_library() -> None:
    """A session that is gone underneath fails in the library with a bare error; it becomes ours."""
    with TcpPeer() as peer:
        resource = pyvisa.ResourceManager("@py").open_resource(peer.address)
        assert isinstance(resource, MessageBasedResource)
        library, session = resource.visalib, resource.session
        link = StreamLink(MessagePort(resource), name="lcr-1")
        library.close(session)
        with pytest.raises(LinkError, match="lcr-1: the port failed after 'FETC"):
            link.write(b"FETC?\n")
        link.close()


@pytest.mark.parametrize(
    "address", ["USB0::0x0000::0x0000::X1::INSTR", "GPIB0::17::INSTR", "PXI0::1::INSTR", "VXI0::1::INSTR"]
)
def test_open_tells_bus_that_is_not_there(address: str) -> None:
    """A bus that this computer cannot reach is told in words, on one line."""
    with pytest.raises(LinkOpenError) as caught:
        open_link(address, name="source-1", open_timeout=0.1)

    assert str(caught.value).startswith(f"source-1 ({address}): could not be opened by VISA (@py): ")
    assert "\n" not in str(caught.value)


def test_open_tells_backend_that_is_not_installed() -> None:
    """A VISA backend that is not there is told as what could not be opened."""
    with pytest.raises(LinkOpenError, match=r"could not be opened by VISA \(@none\)"):
        open_link("GPIB0::17::INSTR", name="source-1", visa_backend="@none")
