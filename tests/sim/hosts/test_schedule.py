"""Events of all instruments in the order of their time."""

from sim.hosts.schedule import Schedule
from sim.instrument import Emission, SimulatedInstrument


class Ticking:
    """Emits its name at stated times."""

    def __init__(self, name: str, *times_s: float) -> None:
        self.name = name
        self.times_s = list(times_s)

    def connect(self, now_s: float) -> None:
        """Nothing to do."""

    def disconnect(self, now_s: float) -> None:
        """Nothing to do."""

    def receive(self, data: bytes, now_s: float) -> None:
        """Tick once more, now."""
        self.times_s.append(now_s)

    def advance(self, now_s: float) -> list[Emission]:
        """Tick if it is time."""
        return [Emission(self.times_s.pop(0), b"")] if self.next_due() == now_s else []

    def next_due(self) -> float | None:
        """Return the next time."""
        return self.times_s[0] if self.times_s else None


def scheduled(*instruments: Ticking) -> tuple[Schedule, list[tuple[str, float]]]:
    """Return a schedule of `instruments`, and the list of what it delivers."""
    delivered: list[tuple[str, float]] = []

    def deliver(instrument: SimulatedInstrument, emission: Emission) -> None:
        delivered.append((instrument.name, emission.time_s))

    return Schedule(instruments, deliver), delivered


def test_events_come_in_order_of_time_over_all_instruments() -> None:
    """A tie goes by the order of the instruments; what is later waits."""
    schedule, delivered = scheduled(Ticking("a", 2.0, 3.0), Ticking("b", 1.0, 2.0, 9.0))
    schedule.run_to(5.0)

    assert [("b", 1.0), ("a", 2.0), ("b", 2.0), ("a", 3.0)] == delivered
    assert 9.0 == schedule.earliest_s


def test_what_was_told_is_due_once_it_is_noted() -> None:
    """A host notes whom it has told something."""
    ticking = Ticking("a")
    schedule, delivered = scheduled(ticking)
    never_s = schedule.earliest_s
    ticking.receive(b"", 4.0)
    schedule.note(ticking)
    schedule.run_to(4.0)

    assert never_s > 1e300
    assert [("a", 4.0)] == delivered
