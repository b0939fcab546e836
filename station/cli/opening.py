"""Open the station that a command was pointed at."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from station.cli.main import home_of, records_url_of

if TYPE_CHECKING:
    from station.app.station import Station


def open_station(ctx: click.Context) -> "Station":
    """Return the station in `--home`, with its records there or at `--records`; a context manager."""
    from station.app.station import Station

    return Station.open(home_of(ctx), url=records_url_of(ctx))


@contextmanager
def open_stoppable(ctx: click.Context) -> Iterator["Station"]:
    """Open the station for work on a bench: signals and a broken output only ask for a stop meanwhile."""
    from station.signals import stop_on_broken_output, stop_on_signals

    with open_station(ctx) as station, stop_on_signals(station.stop), stop_on_broken_output(station.stop):
        yield station
