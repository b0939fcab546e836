"""`coilgate [--home DIR] NOUN VERB`: finds the command, turns errors into one message and an exit code.

Nothing heavy is imported here, so that `--help` is instant; each noun's module is loaded when it is named.
"""

import importlib
import os
import sys
from pathlib import Path

import click

from drivers.errors import InstrumentError
from drivers.stop import Stopped
from station.errors import StationError

EXIT_FAIL = 1
"""What judges now judged against: a unit FAIL, a bench not verified, a night that got worse."""

EXIT_COULD_NOT = 2
"""INVALID, refused, or could not; beats 1."""

_COMMANDS = {
    "badge": ("station.cli.badge:badge", "Who may sign in to the pages, and as what."),
    "bench": ("station.cli.bench:bench", "Equipment: check, verify, simulate a bench."),
    "coil": ("station.cli.coil:coil", "The drawing's physics: what a coil should read."),
    "concession": ("station.cli.concession:concession", "Deviation permits and concessions: grant, accept, withdraw."),
    "datasheet": ("station.cli.datasheet:datasheet", "Datasheets: what can be promised of a part."),
    "demo": ("station.cli.demo:demo", "Measure an invented lot on a simulated bench."),
    "gauge": ("station.cli.gauge:gauge", "Gauge studies: repeatability, bias, linearity, agreement, risks."),
    "lot": ("station.cli.lot:lot", "Lots: show, capability, charts, compare, report, export."),
    "nightly": ("station.cli.nightly:nightly", "The station against simulated benches of known truth."),
    "plan": ("station.cli.plan:plan", "Control plans: check, release, show."),
    "records": ("station.cli.records:records", "Records: check that nothing was changed; back up, restore."),
    "serve": ("station.cli.serve:serve", "The station in a browser."),
    "sets": ("station.cli.sets:sets", "Matched sets: units that agree."),
    "unit": ("station.cli.unit:unit", "Units: measure, show, certificate, release held ones."),
}


class _LazyGroup(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module_name, _, attribute = _COMMANDS[cmd_name][0].partition(":")
        return getattr(importlib.import_module(module_name), attribute)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Nouns"):
            formatter.write_dl([(name, _COMMANDS[name][1]) for name in self.list_commands(ctx)])


@click.group(cls=_LazyGroup, context_settings={"max_content_width": 100})
@click.option(
    "--home",
    type=click.Path(file_okay=False, path_type=Path),
    envvar="COILGATE_HOME",
    help="Folder of records, reports and backups. Default: a per-user data folder.",
)
@click.option(
    "--records",
    "records_url",
    envvar="COILGATE_RECORDS",
    help="URL of the records, such as postgresql://USER@HOST/NAME. Default: a file in the home folder.",
)
@click.version_option(package_name="coilgate", message="coilgate %(version)s")
@click.pass_context
def cli(ctx: click.Context, home: Path | None, records_url: str | None) -> None:
    """Test station for printed planar coils: measure, judge, sort into bins, keep the record.

    \b
    Start here:    coilgate demo
    Then:          coilgate bench simulate, and in another terminal
                   coilgate unit measure L2641-01-A01 --bench FILE
    Exit code:     0 done, 1 judged against (a unit is FAIL), 2 not measured or could not.
    """
    ctx.obj = home


def home_of(ctx: click.Context) -> Path:
    """Return the home folder asked for, or the per-user data folder."""
    root = ctx.find_root().obj
    if root is not None:
        return Path(root)
    from platformdirs import user_data_path

    return user_data_path("coilgate", appauthor=False)


def records_url_of(ctx: click.Context) -> str | None:
    """Return the records' URL asked for, or None for the file in the home folder."""
    return ctx.find_root().params.get("records_url")


def main() -> None:
    """Run the command line; never lets a traceback reach a user."""
    try:
        status = cli.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        status = EXIT_COULD_NOT
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        status = EXIT_COULD_NOT
    except Stopped as stopped:
        click.echo(f"coilgate: {stopped}", err=True)
        status = EXIT_COULD_NOT
    except BrokenPipeError:
        # The reader of our output has gone; closing quietly is all that is left to do.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = EXIT_COULD_NOT
    except (StationError, InstrumentError) as error:
        click.echo(f"coilgate: {error}", err=True)
        status = EXIT_COULD_NOT
    except OSError as error:
        click.echo(f"coilgate: {error.filename or 'system'}: {error.strerror or error}", err=True)
        status = EXIT_COULD_NOT
    except Exception as error:
        if os.environ.get("COILGATE_TRACEBACK"):
            raise
        click.echo(
            f"coilgate: an error of the program itself: {type(error).__name__}: {error}. "
            "Nothing that was shown as recorded is lost. Set COILGATE_TRACEBACK=1 to see where.",
            err=True,
        )
        status = EXIT_COULD_NOT
    sys.exit(status if isinstance(status, int) else 0)
