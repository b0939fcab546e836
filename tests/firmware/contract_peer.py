"""The firmware behind the scripted link of the drivers' contract suite: bytes in, timed bytes out."""

from drivers.contracts.scripted import Sent
from tests.drivers.peers import Sent as Bytes
from tests.drivers.peers import rising
from tests.firmware.boards import SimulatedBoard

ADC_FIELD = 26
FIELD_ZERO = 32768
FIELD_T_PER_COUNT = 1.6e-6
CONTACT_COUNTS = (30, 34)
CONTACT_OHM_PER_COUNT = 50e-6


def field_count(truth: int) -> int:
    """Return by how many counts the field of that unit moves the converter: 3 mT and more."""
    return round(rising(3e-3, truth) / FIELD_T_PER_COUNT)


def expected(truth: int) -> list[float]:
    """Return the readings of that unit: two contacts in ohm, the field in T."""
    return [*(count * CONTACT_OHM_PER_COUNT for count in CONTACT_COUNTS), field_count(truth) * FIELD_T_PER_COUNT]


class FirmwarePeer:
    """A board whose field sensor feels the unit of a number."""

    def __init__(self, board: SimulatedBoard) -> None:
        self.board = board
        self.board.cycle_power()
        for channel, count in enumerate(CONTACT_COUNTS):
            self.board.order(f"mux {channel} {count}")
        self._seen = 0
        self._due: list[Sent] = []
        self._truth = 0

    @property
    def truth(self) -> int:
        """Which unit is in the nest."""
        return self._truth

    @truth.setter
    def truth(self, truth: int) -> None:
        self._truth = truth
        self.board.order(f"adc {ADC_FIELD} {FIELD_ZERO + field_count(truth)}")

    def receive(self, data: bytes, now_s: float) -> None:
        """Let time pass to now, then have the firmware carry out what comes."""
        self._run_to(now_s)
        self.board.send(data)
        self._collect()

    def advance(self, now_s: float) -> list[Sent]:
        """Let time pass; return what left by then."""
        if not self._due:
            self._run_to(now_s)
        due = [sent for sent in self._due if sent.time_s <= now_s]
        self._due = self._due[len(due) :]
        return due

    def next_due(self) -> float | None:
        """Return when the next response leaves; the firmware sends nothing unasked."""
        return self._due[0].time_s if self._due else None

    def _run_to(self, now_s: float) -> None:
        if now_s * 1e6 > self.board.now_us:
            self.board.run_to(round(now_s * 1e6))
            self._collect()

    def _collect(self) -> None:
        for event in self.board.events[self._seen :]:
            if event.word == "tx":
                self._due.append(Bytes(event.time_us * 1e-6, bytes.fromhex(event.fields[0])))
        self._seen = len(self.board.events)
