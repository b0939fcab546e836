"""`coilgate serve`: the station in a browser."""

from pathlib import Path

import click

from station.cli.main import home_of
from station.cli.opening import open_station
from station.cli.output import say


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8600, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
@click.option("--bench", "bench_file", type=click.Path(path_type=Path), help="Bench file. Never by default.")
@click.option(
    "--references",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of reference units' files; default: the shipped, invented ones (simulated benches only).",
)
@click.pass_context
def serve(ctx: click.Context, host: str, port: int, bench_file: Path | None, references: Path | None) -> None:
    """Open the station in a browser, on the bench's own machine, until stopped (Ctrl-C).

    Reached from elsewhere (--host 0.0.0.0), everybody signs in with badge and secret: coilgate badge add.

    Example: coilgate serve --bench bench-1.toml
    """
    from station.app.accounts import AccountError, Accounts
    from station.app.workplace import Workplace
    from station.pages.server import bind, is_loopback
    from station.pages.server import serve as serve_pages
    from station.signals import stop_on_broken_output, stop_on_signals

    local = is_loopback(host)
    if not local and not Accounts(home_of(ctx)).every():
        raise AccountError(
            f"{host}: can be reached from elsewhere, and nobody could sign in. Make an account first: "
            "coilgate badge add EN-02 --role engineer"
        )
    with bind(host, port) as bound, open_station(ctx) as station:
        address = f"http://{'localhost' if local else host}:{bound.getsockname()[1]}/"
        with (
            stop_on_signals(station.stop),
            stop_on_broken_output(station.stop),
            Workplace(station, where=address, references=references) as workplace,
        ):
            if bench_file is not None:
                workplace.open(bench_file)
            if workplace.shown.trouble:
                say(f"{bench_file}: {workplace.shown.trouble}")
            if workplace.shown.board.action:
                say(workplace.shown.board.action)  # which trays are in use, say
            serve_pages(workplace, bound, local=local, bench_file=bench_file, ready=lambda: _say_where(address))


def _say_where(address: str) -> None:
    click.echo(address)
    say("Serving; open this address in a browser. Stop with Ctrl-C.")
