"""Serial ports by pyserial, the only module that imports it.

pyserial opens and configures the line; the bytes then move through its descriptor as they come, any number a
call (`Serial.read_until` takes one a call and returns a part of a line as if it were whole).
"""

import errno
import os
import termios

import serial
from serial.tools import list_ports

from drivers.errors import LinkOpenError
from drivers.links.frame import SerialFrame, check_frame, parse_frame
from drivers.links.ready import wait_for_input, wait_for_room
from drivers.links.stream import (
    GONE_ERRNO,
    SLICE_S,
    WRITE_TIMEOUT_S,
    PortBroken,
    PortClosed,
    StreamLink,
)
from drivers.stop import StopToken

_CHUNK_BYTES = 16_384
_AGAIN = {errno.EAGAIN, errno.EWOULDBLOCK, errno.EINTR}


def open_serial(
    device: str,
    *,
    name: str,
    baud: int = 9600,
    frame: str = "8N1",
    write_timeout: float = WRITE_TIMEOUT_S,
    stop: StopToken | None = None,
) -> StreamLink:
    """Return a link to the serial port `device`, taken for us alone. What it had received before is gone.

    Raises:
        LinkOpenError: no such port, held by another program, or it cannot do this speed or frame.
    """
    try:
        port = _open(device, baud, parse_frame(frame))
    except (OSError, ValueError, termios.error) as error:
        raise LinkOpenError(
            f"{name}: could not be opened at {baud} baud, {frame}: {_reason(error)}. "
            "Check that it is plugged in, that the device's name and speed are right and that no other "
            "program holds it."
        ) from error
    return StreamLink(SerialPort(port), name=name, write_timeout=write_timeout, stop=stop)


def serial_addresses() -> tuple[str, ...]:
    """Return the addresses of the serial ports that this machine has, in order of name; nothing is opened."""
    return tuple(sorted(f"ASRL{each.device}::INSTR" for each in list_ports.comports()))


class SerialPort:
    """An open pyserial port as a port of a `StreamLink`. Owns it."""

    slice_s = SLICE_S

    def __init__(self, port: serial.Serial) -> None:
        self._port = port
        self._descriptor: int = port.fileno()
        self._wait_for_input = wait_for_input(self._descriptor)
        self._wait_for_room = wait_for_room(self._descriptor)

    def receive(self, wait_s: float) -> bytes:
        """Return what has come within `wait_s`."""
        if not self._wait_for_input(wait_s):
            return b""
        try:
            chunk = os.read(self._descriptor, _CHUNK_BYTES)
        except OSError as error:
            if error.errno in _AGAIN:
                return b""
            raise _mapped(error) from error
        if not chunk:
            # Ready, yet nothing to read: how a pulled adapter shows.
            raise PortClosed("the port is gone")
        return chunk

    def send(self, data: bytes, wait_s: float) -> int:
        """Send what the line takes within `wait_s`."""
        if not self._wait_for_room(wait_s):
            return 0
        try:
            return os.write(self._descriptor, data)
        except OSError as error:
            if error.errno in _AGAIN:
                return 0
            raise _mapped(error) from error

    def clear_input(self, quiet_s: float) -> bool:
        """Leave it to reading until quiet: bytes may still be on their way."""
        return False

    def close(self) -> None:
        """Close the port."""
        try:
            self._port.close()
        except (OSError, termios.error):
            # A port whose adapter was pulled fails to close; its descriptor is gone with it.
            return


def _open(device: str, baud: int, frame: SerialFrame) -> serial.Serial:
    port = serial.Serial(
        device,
        baudrate=baud,
        bytesize=frame.data_bits,
        parity=frame.parity,
        stopbits=frame.stop_bits,
        exclusive=True,
    )
    try:
        check_frame(port.fileno(), frame)
    except BaseException:
        port.close()
        raise
    return port


def _mapped(error: OSError) -> PortClosed | PortBroken:
    kind = PortClosed if error.errno in GONE_ERRNO else PortBroken
    return kind(error.strerror or str(error))


def _reason(error: Exception) -> str:
    number = getattr(error, "errno", None) or (error.args[0] if error.args else None)
    return os.strerror(number) if isinstance(number, int) else str(error)
