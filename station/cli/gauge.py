"""`coilgate gauge`: is the gauge fit for the tolerance? Works on plain CSV files, without home, plan or bench."""

import click

from station.cli.gauge_between import agreement, attribute
from station.cli.gauge_risk import risk
from station.cli.gauge_single import linearity, stability, type1
from station.cli.gauge_study import order, study


@click.group()
def gauge() -> None:
    """Gauge studies on CSV files: repeatability, bias, linearity, stability, agreement, risks.

    FILE.csv may be `-` for standard input. Readings are plain numbers, all in one unit of measurement.
    """


for _command in (agreement, attribute, linearity, order, risk, stability, study, type1):
    gauge.add_command(_command)
