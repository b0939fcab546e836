"""VISA through pyvisa, the only module that imports it; the pure-Python backend unless another is asked for.

The pure-Python backend moves SOCKET and ASRL addresses through a file descriptor. There this module waits on
the descriptor itself and asks the library only for bytes that are here: left alone it spins on a closed peer,
never enforces a time-out on a drip, and waits for ever in a hung write. Everything else (USB, GPIB, VXI-11,
HiSLIP, other backends) is read message by message with the library's own time-out: the stop is noticed when
that has run out, since a transfer that is broken off half-way cannot be taken up again.

Besides VISA errors the backends raise bare errors of sockets, remote calls and USB, and slips of their own.
So around single calls of the library every exception is caught here, and becomes one of ours.
"""

import fcntl
import math
import os
import socket
import sys
import termios
import warnings
from contextlib import ExitStack, suppress

import pyvisa
from pyvisa import constants
from pyvisa.constants import ResourceAttribute, SerialTermination, StatusCode
from pyvisa.resources import MessageBasedResource, SerialInstrument, TCPIPSocket

from drivers.errors import LinkOpenError
from drivers.links.frame import check_frame, parse_frame
from drivers.links.ready import wait_for_input, wait_for_room
from drivers.links.stream import (
    GONE_ERRNO,
    SLICE_S,
    WRITE_TIMEOUT_S,
    Port,
    PortBroken,
    PortClosed,
    PortStuck,
    StreamLink,
)
from drivers.stop import StopToken

_CHUNK_BYTES = 4096
_SERIAL_CHUNK_BYTES = 512
"""More than most replies; on ASRL the library takes them byte by byte, 5 us each (measured)."""
_SLOWEST_READ_S = 0.5
_FOUR_BYTES = bytes(4)
_WRITE_CHUNK_BYTES = 1024
"""A port that reports room takes this much without blocking (a third of the smallest buffer is free)."""
_GONE = {
    StatusCode.error_connection_lost,
    StatusCode.error_invalid_object,
    StatusCode.error_resource_not_found,
}
_PARITY = {"N": constants.Parity.none, "E": constants.Parity.even, "O": constants.Parity.odd}
_STOP_BITS = {1: constants.StopBits.one, 2: constants.StopBits.two}


def open_visa(
    address: str,
    *,
    name: str,
    baud: int = 9600,
    frame: str = "8N1",
    open_timeout: float = 2.0,
    write_timeout: float = WRITE_TIMEOUT_S,
    backend: str = "@py",
    stop: StopToken | None = None,
) -> StreamLink:
    """Return a link to `address` by VISA. Times in s; `baud` and `frame` count on ASRL addresses only.

    Raises:
        LinkOpenError: nobody is there, the backend is not installed or cannot do this kind of address.
    """
    try:
        resource = _open(address, backend, open_timeout)
        port = _port_of(resource, baud, frame, write_timeout)
    except Exception as error:
        raise LinkOpenError(
            f"{name}: could not be opened by VISA ({backend}): {_reason(error)}. "
            "Check that the instrument is on, the address is right and no other program holds it."
        ) from error
    return StreamLink(port, name=name, write_timeout=write_timeout, stop=stop)


def visa_addresses(*, backend: str = "@py") -> tuple[str, ...]:
    """Return the message-based addresses that VISA finds on this machine and its network; serial ports apart.

    Raises:
        LinkOpenError: the backend is not installed.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what it could find with further libraries
            found = pyvisa.ResourceManager(backend).list_resources("?*::INSTR")
    except Exception as error:
        raise LinkOpenError(f"VISA ({backend}) can't look for instruments: {_reason(error)}.") from error
    return tuple(each for each in found if not each.upper().startswith("ASRL"))


class DescriptorPort:
    """A VISA session over a socket or a serial port whose descriptor can be waited on."""

    slice_s = SLICE_S

    def __init__(
        self, resource: MessageBasedResource, descriptor: int, *, write_timeout: float = WRITE_TIMEOUT_S
    ) -> None:
        self._resource = resource
        self._library = resource.visalib
        self._session = resource.session
        self._silence = _silence(resource)
        self._descriptor = descriptor
        self._chunk_bytes = _SERIAL_CHUNK_BYTES if isinstance(resource, SerialInstrument) else _CHUNK_BYTES
        self._wait_for_input = wait_for_input(descriptor)
        self._wait_for_room = wait_for_room(descriptor)
        # It is asked only for what is here and gives only what there is room for; if it waits after all, a
        # write is stuck, while a read that is merely slow must not end: what it had taken would be lost.
        resource.timeout = max(write_timeout, _SLOWEST_READ_S) * 1e3

    def receive(self, wait_s: float) -> bytes:
        """Return what has come within `wait_s`."""
        if not self._wait_for_input(wait_s):
            return b""
        try:
            count = int.from_bytes(fcntl.ioctl(self._descriptor, termios.FIONREAD, _FOUR_BYTES), sys.byteorder)
            data, _ = self._library.read(self._session, min(count, self._chunk_bytes)) if count else (b"", None)
        except Exception as error:
            raise _mapped(error) from error
        if not count:
            raise PortClosed("end of stream")
        return data

    def send(self, data: bytes, wait_s: float) -> int:
        """Send the next kilobyte, if there is room within `wait_s`."""
        if not self._wait_for_room(wait_s):
            return 0
        try:
            sent, _ = self._library.write(self._session, data[:_WRITE_CHUNK_BYTES])
        except Exception as error:
            if _timed_out(error):
                raise PortStuck from error
            raise _mapped(error) from error
        return sent

    def clear_input(self, quiet_s: float) -> bool:
        """Leave it to reading until quiet."""
        return False

    def close(self) -> None:
        """Close the session."""
        self._silence.close()
        _close(self._resource)


class MessagePort:
    """A VISA session that moves whole messages (USB, GPIB, VXI-11, HiSLIP) or whose insides are not ours."""

    slice_s = math.inf
    """The library waits by itself: a transfer that is broken off half-way cannot be taken up again."""

    def __init__(self, resource: MessageBasedResource, *, write_timeout: float = WRITE_TIMEOUT_S) -> None:
        self._resource = resource
        self._library = resource.visalib
        self._session = resource.session
        self._silence = _silence(resource)
        self._write_timeout_s = write_timeout
        self._timeout_ms = 0
        with suppress(pyvisa.Error, NotImplementedError):
            # A stream without an END message ends a read at LF; the others have END and don't know this.
            resource.set_visa_attribute(ResourceAttribute.termchar, ord("\n"))
            resource.set_visa_attribute(ResourceAttribute.termchar_enabled, True)

    def receive(self, wait_s: float) -> bytes:
        """Return the next message, or the part of it that fits, within `wait_s`."""
        try:
            self._set_timeout(wait_s)
            data, _ = self._library.read(self._session, _CHUNK_BYTES)
        except Exception as error:
            if _timed_out(error):
                return b""
            raise _mapped(error) from error
        return data

    def send(self, data: bytes, wait_s: float) -> int:
        """Send `data` within the write timeout; 0 for not taken."""
        try:
            self._set_timeout(self._write_timeout_s)
            sent, _ = self._library.write(self._session, data)
        except Exception as error:
            if _timed_out(error):
                raise PortStuck from error
            raise _mapped(error) from error
        return sent

    def clear_input(self, quiet_s: float) -> bool:
        """Empty the instrument's output queue by a device clear; tell whether that could be done.

        Reading until quiet, as on a stream, would be a read without a query: error -420 in SCPI. On these
        routes nothing comes that was not asked for: `quiet_s` 0 needs no look.
        """
        if quiet_s <= 0:
            return True
        try:
            self._library.clear(self._session)
        except Exception:
            return False
        return True

    def close(self) -> None:
        """Close the session."""
        self._silence.close()
        _close(self._resource)

    def _set_timeout(self, seconds: float) -> None:
        timeout_ms = max(1, math.ceil(seconds * 1e3))
        if timeout_ms != self._timeout_ms:
            self._resource.timeout = timeout_ms
            self._timeout_ms = timeout_ms


def _open(address: str, backend: str, open_timeout: float) -> MessageBasedResource:
    manager = pyvisa.ResourceManager(backend)
    resource = manager.open_resource(address, open_timeout=max(1, round(open_timeout * 1e3)))
    if not isinstance(resource, MessageBasedResource):
        resource.close()
        raise ValueError("messages cannot be sent to this kind of address")
    return resource


def _port_of(resource: MessageBasedResource, baud: int, frame: str, write_timeout: float) -> Port:
    """Choose and set up the port; the resource is closed again if that fails."""
    try:
        if isinstance(resource, SerialInstrument):
            _set_up_line(resource, baud, frame)
        interface = _interface_of(resource)
        if isinstance(interface, socket.socket):
            # The library takes a connection for made that was refused.
            if code := interface.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR):
                raise OSError(code, os.strerror(code))
            interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        elif hasattr(interface, "exclusive") and hasattr(interface, "fileno"):
            interface.exclusive = True
            check_frame(interface.fileno(), parse_frame(frame))
        if isinstance(resource, SerialInstrument | TCPIPSocket) and hasattr(interface, "fileno"):
            return DescriptorPort(resource, interface.fileno(), write_timeout=write_timeout)
        return MessagePort(resource, write_timeout=write_timeout)
    except BaseException:
        _close(resource)
        raise


def _interface_of(resource: MessageBasedResource) -> object:
    """Return what the pure-Python backend opened under the session; None on other backends."""
    session = getattr(resource.visalib, "sessions", {}).get(resource.session)
    return getattr(session, "interface", None)


def _set_up_line(resource: SerialInstrument, baud: int, frame: str) -> None:
    form = parse_frame(frame)
    resource.baud_rate = baud
    resource.data_bits = form.data_bits
    resource.parity = _PARITY[form.parity]
    resource.stop_bits = _STOP_BITS[form.stop_bits]
    resource.set_visa_attribute(ResourceAttribute.asrl_end_in, SerialTermination.none)
    resource.set_visa_attribute(ResourceAttribute.asrl_end_out, SerialTermination.none)


def _silence(resource: MessageBasedResource) -> ExitStack:
    """Keep the library from warning that a read gave just as many bytes as it was asked for."""
    stack = ExitStack()
    stack.enter_context(resource.ignore_warning(StatusCode.success_max_count_read))
    return stack


def _close(resource: MessageBasedResource) -> None:
    # A session whose instrument has gone may fail to close; it is gone all the same.
    with suppress(Exception):
        resource.close()


def _timed_out(error: Exception) -> bool:
    return isinstance(error, pyvisa.VisaIOError) and error.error_code == StatusCode.error_timeout


def _mapped(error: Exception) -> PortClosed | PortBroken:
    if isinstance(error, pyvisa.VisaIOError):
        kind = PortClosed if error.error_code in _GONE else PortBroken
        return kind(error.description)
    if isinstance(error, OSError):
        # pyserial raises its own OSError without a number while it handles the system's.
        number = error.errno or getattr(error.__context__, "errno", None)
        kind = PortClosed if number in GONE_ERRNO else PortBroken
        return kind(error.strerror or str(error))
    return PortBroken(f"{type(error).__name__}: {error}")


def _reason(error: Exception) -> str:
    if isinstance(error, pyvisa.VisaIOError):
        return error.description
    text = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return " ".join(text.split())
