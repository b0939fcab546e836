"""What the commands on a lot's values share: a lot on record or a CSV file, a characteristic, a population, limits."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.gauge_files import FiniteFloat, text_of
from station.cli.output import say
from station.core.quantity import Dimension, QuantityError, parse_quantity
from station.errors import StationError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from station.app.lot_samples import LotSample
    from station.core.plan import Plan
    from station.quality.risk import Tolerance

CHARACTERISTIC = click.option("--characteristic", help="Such as R20, L, B@2mm.")
VALUES = click.option(
    "--values",
    "file",
    type=click.Path(path_type=Path, allow_dash=True),
    help="A CSV of values instead of a lot; `-`: standard input.",
)
VALUE_HEADER = click.option(
    "--value-header", default="value", show_default=True, help="What the file calls the value column."
)
POPULATION = click.option(
    "--population",
    type=click.Choice(["measured", "passed", "imported"]),
    default="measured",
    show_default=True,
    help="All units with a value, those that pass and are not held, or those of imported readings.",
)
WITHOUT_ODD = click.option(
    "--without-odd",
    "odd_left_out",
    is_flag=True,
    help="Leave out units beyond 3.5 robust standard deviations; the population says so.",
)
LOWER = click.option("--lower", help="Lower limit instead of the plan's, such as '6.8 ohm'; for a file a plain number.")
UPPER = click.option("--upper", help="Upper limit, likewise.")
LEVEL = click.option(
    "--level", type=FiniteFloat(0.5, 0.999), default=0.95, show_default=True, help="Of the confidence bounds."
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
PLOT = click.option("--plot", type=click.Path(path_type=Path), help="Draw a page: a file .svg, .pdf or .png.")


def one_source(lot: str | None, file: Path | None) -> None:
    """Refuse a lot and a file together, or neither."""
    if (lot is None) == (file is None):
        raise click.UsageError("name a lot on record, or a file with --values FILE; one of them.")


def read_file(file: Path, header: str) -> "LotSample":
    """Return the values of a CSV. Raises StudyError."""
    from station.app.lot_samples import file_sample

    return file_sample(text_of(file), str(file), header=header)


def read_lots(
    ctx: click.Context, names: tuple[str, ...], characteristic: str, population: str
) -> "list[LotSample]":
    """Return the sample of one characteristic of each lot. Raises RecordError."""
    from station.app.lot_samples import lot_sample, lot_standing
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        standings = [lot_standing(station.records, name) for name in names]
        if len({each.simulated for each in standings}) > 1:
            raise StationError(f"{', '.join(names)}: simulated and real units never go into one statistic.")
        return [lot_sample(station.records, each, characteristic, population=population) for each in standings]


def read_limited(
    ctx: click.Context, name: str, characteristic: str | None, population: str
) -> "tuple[list[LotSample], Plan | None, list[str]]":
    """Return a lot's samples of what its plan has limits for (or of one), the plan, and what had no value.

    Raises RecordError for an unknown lot, or if nothing has a value.
    """
    from station.app.lot_samples import lot_sample, lot_standing, plan_of
    from station.cli.opening import open_station
    from station.errors import RecordError

    samples, empty = [], []
    with open_station(ctx) as station:
        standing = lot_standing(station.records, name)
        plan = plan_of(station.records, standing)
        for each in limited(plan) if characteristic is None else (characteristic,):
            try:
                samples.append(lot_sample(station.records, standing, each, population=population))
            except RecordError as error:
                if characteristic is not None or "--population imported" in str(error):
                    raise
                empty.append(each)
    if not samples:
        raise RecordError(f"lot {name}: no unit that is {population} has a value of {', '.join(empty)}. Measure first.")
    return samples, plan, empty


def limited(plan: "Plan | None") -> tuple[str, ...]:
    """Return the characteristics that a plan has limits for; R20 without a plan."""
    if plan is None:
        return ("R20",)
    return tuple(each.name for each in plan.characteristics if each.lower is not None or each.upper is not None)


def limits_for(
    sample: "LotSample", plan: "Plan | None", lower: str | None, upper: str | None
) -> "tuple[Tolerance, str]":
    """Return the limits from the options or else the plan, and words on where they come from.

    Raises StationError without any, click.UsageError for a text that is no quantity of the right unit.
    """
    from station.app.lot_samples import limits_in
    from station.quality.risk import Tolerance

    unit = sample.sample.unit_symbol
    if lower is not None or upper is not None:
        try:
            return Tolerance(_value("--lower", lower, unit), _value("--upper", upper, unit)), "as given"
        except ValueError as error:
            raise click.UsageError(str(error)) from error
    found = limits_in(plan, sample.characteristic)
    if found is None or plan is None:
        raise StationError(
            f"{sample.source}: no limits for {sample.characteristic}. Give --lower or --upper, or both."
        )
    return found, f"plan {plan.part}"


def _value(option: str, text: str | None, unit: str) -> float | None:
    if text is None:
        return None
    try:
        return parse_quantity(text, unit or Dimension.NUMBER)
    except QuantityError as error:
        raise click.UsageError(f"{option}: {error}.") from error


def draw(target: Path | None, make: "Callable[[], Figure]") -> None:
    """Draw a page to a file, if one is asked for, and say so."""
    if target is None:
        return
    from station.reports.coil_plots import save_figure

    save_figure(make(), target)
    say(f"{target}: drawn.")


@contextmanager
def statistics_of(source: str) -> Iterator[None]:
    """Turn what the statistics refuse into an error that names where the values come from."""
    from station.quality.readings import StudyDataError

    try:
        yield
    except StudyDataError as error:
        raise StationError(f"{source}: {error}.") from error
