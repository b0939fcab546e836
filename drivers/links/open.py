"""Choose the route for an address and open it."""

import re
from dataclasses import dataclass
from enum import StrEnum

from drivers.errors import LinkOpenError
from drivers.link import Link
from drivers.links.stream import WRITE_TIMEOUT_S
from drivers.stop import StopToken

_SOCKET = re.compile(r"TCPIP\d*::(?P<host>\[[^\]]+\]|[^:\[\]]+)::(?P<port>\d{1,5})::SOCKET", re.IGNORECASE)
_ASRL = re.compile(r"ASRL(?P<device>.+?)(::INSTR)?", re.IGNORECASE)
_VISA = re.compile(r"(TCPIP|GPIB|USB|VXI|PXI|PRLGX[-\w]*)\d*::.+", re.IGNORECASE)


class Via(StrEnum):
    """The route that bytes take. `auto` is the best one for the address."""

    AUTO = "auto"
    SOCKET = "socket"
    VISA = "visa"
    SERIAL = "serial"


@dataclass(frozen=True, slots=True)
class LinkRoute:
    """Where an address leads: `host` and `port` of a socket, `device` of a serial port, or a VISA address."""

    via: Via
    address: str
    host: str = ""
    port: int = 0
    device: str = ""


def find_route(address: str, *, via: str = "auto") -> LinkRoute:
    """Return the route of `address` without opening anything.

    `TCPIP::host::port::SOCKET` goes by socket, `ASRL<device>::INSTR` and a plain device path by serial, every
    other VISA address by VISA; `via` says otherwise where more than one can.

    Raises `ValueError` if the address is of no known form or cannot go by `via`.
    """
    try:
        wanted = Via(via)
    except ValueError:
        raise ValueError(f"via must be one of {', '.join(Via)}; got {via!r}") from None
    found = _best_route(address)
    if wanted in (Via.AUTO, found.via):
        return found
    if wanted is Via.VISA and address.upper().startswith(("TCPIP", "ASRL")):
        return LinkRoute(Via.VISA, address)
    raise ValueError(f"address {address!r} goes by {found.via}, not by {wanted}")


def open_link(
    address: str,
    *,
    name: str,
    via: str = "auto",
    baud: int = 9600,
    frame: str = "8N1",
    open_timeout: float = 2.0,
    write_timeout: float = WRITE_TIMEOUT_S,
    visa_backend: str = "@py",
    stop: StopToken | None = None,
) -> Link:
    """Open `address` and return the link to it, called `name (address)` in messages. Times in s.

    Args:
        address: a VISA address of any kind, or the path of a serial device.
        name: the instrument's name in the bench file.
        via: `auto`, or the route to take: `socket`, `visa`, `serial`.
        baud: speed of a serial line, in bit/s; not looked at elsewhere.
        frame: data bits, parity and stop bits of a serial line.
        open_timeout: how long the other end may take to answer.
        write_timeout: how long it may take to accept a message.
        visa_backend: `@py` is the pure-Python VISA; `@ivi` an installed one.
        stop: waits give way to it.

    Raises:
        LinkOpenError: the address is wrong, nobody is there, or another program holds it.
        Stopped: a stop came meanwhile.
    """
    called = f"{name} ({address})"
    try:
        route = find_route(address, via=via)
    except ValueError as error:
        raise LinkOpenError(f"{called}: could not be opened: {error}. Correct the bench file.") from error
    if route.via is Via.SOCKET:
        from drivers.links.socket import open_socket

        return open_socket(
            route.host,
            route.port,
            name=called,
            open_timeout=open_timeout,
            write_timeout=write_timeout,
            stop=stop,
        )
    if route.via is Via.SERIAL:
        from drivers.links.serial import open_serial

        return open_serial(route.device, name=called, baud=baud, frame=frame, write_timeout=write_timeout, stop=stop)
    from drivers.links.visa import open_visa

    return open_visa(
        route.address,
        name=called,
        baud=baud,
        frame=frame,
        open_timeout=open_timeout,
        write_timeout=write_timeout,
        backend=visa_backend,
        stop=stop,
    )


def _best_route(address: str) -> LinkRoute:
    if found := _SOCKET.fullmatch(address):
        port = int(found["port"])
        if not 0 < port < 65_536:
            raise ValueError(f"port of {address!r} must be 1 to 65535; got {port}")
        return LinkRoute(Via.SOCKET, address, host=found["host"].strip("[]"), port=port)
    if found := _ASRL.fullmatch(address):
        device = found["device"].removeprefix("::")
        if not device or device.isdigit():
            raise ValueError(
                f"address {address!r} must name the device's path, as in ASRL/dev/ttyUSB0::INSTR; got {device!r}"
            )
        return LinkRoute(Via.SERIAL, address, device=device)
    if _VISA.fullmatch(address):
        return LinkRoute(Via.VISA, address)
    if address.startswith("/"):
        return LinkRoute(Via.SERIAL, address, device=address)
    raise ValueError(
        "an address must look like TCPIP::host::port::SOCKET, ASRL/dev/ttyUSB0::INSTR, "
        f"USB0::0x0000::0x0000::serial::INSTR, GPIB0::17::INSTR or /dev/ttyUSB0; got {address!r}"
    )
