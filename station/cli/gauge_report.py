"""`--report` of the gauge commands: a study as PDF or HTML."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import wraps
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.output import say

if TYPE_CHECKING:
    from station.reports.document import Document
    from station.reports.gauge_report import StudySource

Command = Callable[..., None]

_OPTIONS = (
    click.option("--report", type=click.Path(path_type=Path), help="Write a report: a file .pdf (PDF/A) or .html."),
    click.option("--about", default="", help="Report: what was studied, in your words."),
    click.option("--date", type=click.DateTime(["%Y-%m-%d"]), help="Report: day of the study, else the file's `utc`."),
    click.option("--simulated", is_flag=True, help="Report: the readings are simulated; else the file's `simulated`."),
)


@dataclass(frozen=True, slots=True)
class ReportAsked:
    """A report that is to be written; `target` None: none is."""

    target: Path | None
    about: str
    date: datetime | None
    simulated: bool

    def write(
        self,
        document: "Callable[[StudySource], Document]",
        file: Path,
        text: str,
        *,
        lower: float | None = None,
        upper: float | None = None,
    ) -> None:
        """Write what `document` makes of the source, if a report was asked for."""
        if self.target is None:
            return
        from station.app.report_files import write_document
        from station.quality.study_marks import study_marks
        from station.reports.gauge_report import StudySource

        marks = study_marks(text, str(file))
        source = StudySource(
            file="standard input" if str(file) == "-" else file.name,
            digest=sha256(text.encode()).hexdigest(),
            about=self.about.strip().rstrip("."),
            date_utc=marks.newest_utc if self.date is None else self.date.replace(tzinfo=UTC),
            simulated=self.simulated or marks.simulated,
            unit=marks.unit,
            lower=lower,
            upper=upper,
        )
        write_document(document(source), self.target)
        say(f"{self.target}: report.")


def report_options(command: Command) -> Command:
    """Return the command with the options of a report, which it gets as one `report`."""

    @wraps(command)
    def with_report(report: Path | None, about: str, date: datetime | None, simulated: bool, **rest: object) -> None:
        if report is not None:
            from station.app.report_files import check_ending

            check_ending(report)
        command(report=ReportAsked(report, about, date, simulated), **rest)

    wrapped: Command = with_report
    for option in reversed(_OPTIONS):
        wrapped = option(wrapped)
    return wrapped
