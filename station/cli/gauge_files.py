"""Files and options that the gauge commands share."""

import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from station.errors import Mistake, StudyError


class FiniteNumber(click.ParamType):
    """Any finite number: click's own type lets `nan` and `inf` through."""

    name = "number"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number, or fail in words."""
        try:
            number = float(str(value))
        except ValueError:
            self.fail(f"{value!r} is no number.", param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value} is no finite number.", param, ctx)
        return number


class FiniteFloat(click.FloatRange):
    """A finite number within a range; `nan` is in none, though it is outside none either."""

    name = "number"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number, or fail in words."""
        return float(super().convert(NUMBER.convert(value, param, ctx), param, ctx))


NUMBER = FiniteNumber()
NOT_NEGATIVE = FiniteFloat(min=0.0)
STUDY_FILE = click.argument("file", metavar="FILE.csv", type=click.Path(path_type=Path, allow_dash=True))
AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
LEVEL = click.option(
    "--level", type=FiniteFloat(0.5, 0.999), default=0.95, show_default=True, help="Of the confidence intervals."
)
PLOT = click.option("--plot", type=click.Path(path_type=Path), help="Draw a page: a file .svg, .pdf or .png.")

TOLERANCE = click.option("--tolerance", type=NUMBER, help="Width between the limits, in the readings' unit.")
TOLERANCE_LOWER = click.option("--tolerance-lower", type=NUMBER, help="Lower tolerance limit.")
TOLERANCE_UPPER = click.option("--tolerance-upper", type=NUMBER, help="Upper tolerance limit.")

Command = Callable[..., None]


def header_options(*names: str) -> Callable[[Command], Command]:
    """Return a decorator that adds `--NAME-header` for each column of a file."""

    def add(command: Command) -> Command:
        for name in reversed(names):
            command = click.option(
                f"--{name}-header", default=name, show_default=True, help=f"What the file calls the {name} column."
            )(command)
        return command

    return add


def text_of(file: Path) -> str:
    """Return the text of a file, or of standard input for `-`. Raises StudyError for what is no UTF-8 text."""
    data = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise StudyError([Mistake(str(file), line, "text", "is no UTF-8; save it as CSV in UTF-8")]) from error


@contextmanager
def study_of(file: Path) -> Iterator[None]:
    """Turn what the statistics refuse into an error that names the file."""
    try:
        yield
    except StudyError:
        raise
    except ValueError as error:
        raise StudyError(f"{file}: {error}.") from error


def tolerance_width(
    width: float | None, lower: float | None, upper: float | None, *, mean: float | None = None
) -> float | None:
    """Return the tolerance's width from the options, or None without any.

    One limit alone is taken for half a tolerance that reaches from the readings' `mean` to it (common practice, no
    source). Raises click.UsageError for options that contradict each other.
    """
    if width is not None and (lower is not None or upper is not None):
        raise click.UsageError("give either --tolerance or --tolerance-lower and --tolerance-upper, not both.")
    if lower is not None and upper is not None:
        width = upper - lower
    elif mean is not None and (lower is not None or upper is not None):
        width = 2.0 * (mean - lower if lower is not None else (upper or 0.0) - mean)
    elif lower is not None or upper is not None:
        raise click.UsageError("give both --tolerance-lower and --tolerance-upper, or --tolerance.")
    if width is not None and width <= 0.0:
        raise click.UsageError(
            f"the tolerance must be above 0 wide, its limits around the readings; got {width:g} "
            f"(--tolerance {width:g}, --tolerance-lower {lower}, --tolerance-upper {upper})."
        )
    return width


def check_plot(target: Path | None) -> None:
    """Refuse a plot file of an unknown kind before any work is done."""
    if target is not None and target.suffix.lower() not in (".svg", ".pdf", ".png"):
        raise click.UsageError(f"--plot {target}: a page ends in .svg, .pdf or .png.")
