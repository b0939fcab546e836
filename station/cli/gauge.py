"""`coilgate gauge`: is the gauge fit for the tolerance? On a bench, or on plain CSV files without home or bench."""

import click

from station.cli.gauge_bench import measure, show
from station.cli.gauge_between import agreement, attribute
from station.cli.gauge_risk import risk
from station.cli.gauge_single import linearity, stability, type1
from station.cli.gauge_study import order, study
from station.cli.gauge_units import units


@click.group()
def gauge() -> None:
    """Gauge studies: repeatability, reproducibility, bias, linearity, stability, agreement, risks.

    On the bench: `units` chooses units, `measure` guides a study, `show` shows those on record. The others read CSV
    files, without home, plan or bench; FILE.csv may be `-` for standard input. Readings are plain numbers, all in one
    unit of measurement.
    """


for _command in (agreement, attribute, linearity, measure, order, risk, show, stability, study, type1, units):
    gauge.add_command(_command)
