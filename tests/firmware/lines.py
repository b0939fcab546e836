"""Lines of the fixture's protocol, with framing of the test's own."""

from binascii import crc_hqx

from tests.firmware.boards import SimulatedBoard


def framed(body: bytes) -> bytes:
    """Return a line with its checksum and end."""
    return b"%s*%04X\n" % (body, crc_hqx(body, 0xFFFF))


def unframed(data: bytes) -> list[str]:
    """Return the lines without numbers and checksums, which are checked."""
    told = []
    for line in data.splitlines():
        body, _, checksum = line.rpartition(b"*")
        assert b"%04X" % crc_hqx(body, 0xFFFF) == checksum
        told.append(body.decode("ascii").partition(" ")[2])
    return told


def ask(board: SimulatedBoard, command: str) -> str:
    """Send one command; return the last response without number and checksum."""
    board.send(framed(f">7 {command}".encode("ascii")))
    return unframed(board.sent())[-1]
