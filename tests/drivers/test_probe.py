"""Asking who is there: only identities are asked for, a line is ended before each question, silence is told."""

from drivers.clock import ManualClock
from drivers.errors import LinkOpenError, LinkTimeout
from drivers.link import Link
from drivers.probe import Answer, Silent, who_is_at
from station.app.bench_draft import shipped_dialects

DIALECTS = shipped_dialects()
SOCKET, PORT = "TCPIP::192.0.2.10::5025::SOCKET", "ASRL/dev/ttyUSB0::INSTR"
ALLOWED = {b"\n", b"\r", b"*IDN?\n", b"ID?\r"}
"""Ends of lines and identity queries; the fixture's has a number and a checksum besides."""


class Deaf:
    """A link to nobody, or to somebody who answers one message with one other."""

    name = "deaf"

    def __init__(self, answers: dict[bytes, bytes]) -> None:
        """Answer some messages."""
        self.sent: list[bytes] = []
        self._answers = answers
        self._waiting = b""

    def write(self, data: bytes) -> None:
        """Note what is sent."""
        self.sent.append(data)
        self._waiting = self._answers.get(data, b"")

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = 0) -> bytes:
        """Give the answer, or nothing in time."""
        if not self._waiting.endswith(terminator):
            raise LinkTimeout("nothing came")
        found, self._waiting = self._waiting[: -len(terminator)], b""
        return found

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Nothing comes unasked."""
        raise LinkTimeout("nothing came")

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw away what came."""
        self._waiting = b""
        return b""

    def close(self) -> None:
        """Nothing to do."""


def asked(link: Deaf, address: str) -> Answer | Silent:
    """Ask over a link, whatever the address and speed."""

    def opened(_address: str, _baud: int) -> Link:
        return link

    return who_is_at(address, DIALECTS, open_link=opened, clock=ManualClock())


def test_silent_instrument_is_sent_identity_queries_only() -> None:
    """By socket and by serial line: not one setting, trigger or output order."""
    for address in (SOCKET, PORT):
        link = Deaf({})
        found = asked(link, address)
        others = [each for each in link.sent if each not in ALLOWED]

        assert isinstance(found, Silent)
        assert "nobody answered" == found.words
        assert all(each.startswith(b">") and b" ID*" in each for each in others)


def test_line_is_ended_before_each_question() -> None:
    """So that what was asked in one dialect doesn't run into the next."""
    link = Deaf({})
    asked(link, PORT)
    questions = [i for i, each in enumerate(link.sent) if each.strip()]

    assert questions
    assert all(not link.sent[i - 1].strip() for i in questions)


def test_identity_is_taken_apart_and_its_dialect_stays_unknown() -> None:
    """`*IDN?` tells no command words."""
    found = asked(Deaf({b"*IDN?\n": b"Examplemaker,LCR-A,7,1.0\n"}), SOCKET)

    assert isinstance(found, Answer)
    assert ("Examplemaker", "LCR-A", "7", "") == (
        found.identity.maker, found.identity.model, found.identity.serial, found.dialect,
    )  # fmt: skip


def test_polled_thermometer_is_known_by_its_own_identity_query() -> None:
    """Its form is its dialect."""
    found = asked(Deaf({b"ID?\r": b"Examplemaker,TH-P,7,1.0\r\n"}), PORT)

    assert isinstance(found, Answer)
    assert ("thermometer-polled", 9600) == (found.dialect, found.baud)


def test_port_that_can_not_be_opened_and_a_text_that_is_none() -> None:
    """Both are told, none is an error."""

    def refuse(_address: str, _baud: int) -> Link:
        raise LinkOpenError("somebody has it")

    refused = who_is_at(SOCKET, DIALECTS, open_link=refuse, clock=ManualClock())
    nonsense = who_is_at("somewhere", DIALECTS, open_link=refuse, clock=ManualClock())

    assert Silent(SOCKET, "somebody has it") == refused
    assert isinstance(nonsense, Silent)
