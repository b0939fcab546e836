"""Where people scan badges and units of a gauge study at a terminal."""

from station.app.study_desk import words_of_turn
from station.cli.output import say
from station.cli.scans import Scans
from station.quality.study_order import Step
from station.quality.study_state import StudyState, StudyTurn
from station.stop import NestStop


class ScannedDesk:
    """People with a scanner, or a keyboard. Each call waits for a scan; raises Stopped as `Scans.ask`."""

    def __init__(self, stop: NestStop) -> None:
        self._scans = Scans(stop)

    def badge(self, state: StudyState) -> str:
        """Return the badge of who measures now."""
        return self._scans.ask(words_of_turn(StudyTurn(state)))

    def unit(self, state: StudyState, step: Step) -> str:
        """Ask for the unit of `step` and return what was scanned."""
        return self._scans.ask(words_of_turn(StudyTurn(state, step.appraiser)))

    def confirm(self, words: str) -> None:
        """Wait until somebody says that something is done which the fixture can't see."""
        self._scans.ask(f"{words} Then press Enter.")

    def say(self, words: str) -> None:
        """Tell something."""
        say(words)
