"""What can go wrong in the station itself, instruments apart (`drivers.errors` has those).

    StationError
      PlanError      a control plan is wrong (also ValueError); holds every mistake found, not the first
      BenchError     a bench file or bench state is wrong (also ValueError)
        WatchdogLost the process that watches over the drive is gone: no drive until the bench is opened anew
      StudyError     the readings of a gauge study can't be used (also ValueError); holds every mistake found
      NestBusy       another run or another program has the nest
      RecordError    the records can't be read or written
      SerialError    a scan is not the serial of a unit that may be measured here and now
      LotError       a lot is not in a state for what was asked, or its numbers don't add up

Every message can be shown to a user as it is. A failing limit is a decision, never an exception.
"""

from dataclasses import dataclass


class StationError(Exception):
    """Root of what the station refuses or cannot do."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in a file that a person wrote."""

    file: str
    line: int
    key: str
    message: str
    """What is wrong and what would be right."""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.key}: {self.message}"


class _FileError(StationError, ValueError):
    def __init__(self, mistakes: list[Mistake] | tuple[Mistake, ...] | str, *, code: str = "") -> None:
        self.code = code
        self.mistakes: tuple[Mistake, ...] = () if isinstance(mistakes, str) else tuple(mistakes)
        super().__init__(mistakes if isinstance(mistakes, str) else "\n".join(map(str, mistakes)))


class PlanError(_FileError):
    """A control plan can't be used. `mistakes` has all of them, in order of line."""


class BenchError(_FileError):
    """A bench file can't be used, or the bench is not in a state to measure.

    `code` names the cause of an INVALID run (`station.core.reasons`) where the raiser knows it.
    """


class WatchdogLost(BenchError):
    """The watchdog has ended or does not answer. The drive goes off; open the bench anew."""


class StudyError(_FileError):
    """The readings of a gauge study can't be used. `mistakes` has all of them, in order of line."""


class NestBusy(StationError):
    """The nest or bench is in use; the message says by whom, since when and where."""


class RecordError(StationError):
    """Records can't be opened, read or written; nothing that was acknowledged is lost."""


class SerialError(StationError):
    """A scan was refused; the message says what it is instead and what to do."""


class LotError(StationError):
    """A lot is not in a state for what was asked; the message says where it stands and what to do."""
