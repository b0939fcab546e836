"""`coilgate bench draft`: what answers, as a bench file with its unknown fields marked."""

from pathlib import Path

import click

from station.cli.opening import open_stoppable
from station.cli.output import emit, say, table


@click.command()
@click.option("--to", "target", type=click.Path(dir_okay=False, path_type=Path), help="Bench file to write, .toml")
@click.option("--address", "addresses", multiple=True, help="Ask here too; more than once.")
@click.option("--no-search", is_flag=True, help="Only where --address says: no serial ports, no VISA resources.")
@click.option("--like", multiple=True, type=click.Path(path_type=Path), help="Bench file that knows an instrument.")
@click.option("--is", "told", multiple=True, metavar="ADDRESS=DIALECT", help="What speaks there; more than once.")
@click.option("--timeout", type=click.FloatRange(0.05, 30.0), default=1.0, show_default=True, help="Seconds to wait.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def draft(
    ctx: click.Context,
    target: Path | None,
    addresses: tuple[str, ...],
    no_search: bool,
    like: tuple[Path, ...],
    told: tuple[str, ...],
    timeout: float,
    as_json: bool,
) -> None:
    """List what answers, and write a bench file of it; unknown fields are marked.

    Serial ports and VISA resources of this machine, and the addresses given, are asked who they are. Nothing else is
    sent: no setting, no trigger. What a running station holds is left alone. An identity by itself tells no command
    words: name a bench file that has the instrument (--like), or its dialect (--is). If other devices hang on this
    machine's serial ports, look with --no-search.

    \b
    Example: coilgate bench draft --to bench-1.toml
             coilgate bench draft --no-search --address TCPIP::192.0.2.10::5025::SOCKET \\
                 --is TCPIP::192.0.2.10::5025::SOCKET=lcr-status-last --to bench-1.toml
    Exit code: 0 one instrument of each kind is known, 2 not yet.
    """
    from station.app.bench_draft import Search, draft_bench
    from station.core.bench_draft import draft_text, missing_kinds

    if target is not None and target.exists():
        raise click.UsageError(f"{target} is there already; name another file.")
    pairs = tuple(_pair(each) for each in told)
    with open_stoppable(ctx) as station:
        search = Search(addresses, not no_search, like, pairs, timeout)
        found = draft_bench(search, stop=station.stop, tell=say)
    missing = missing_kinds(found)
    if target is not None:
        target.write_text(draft_text(found), encoding="utf-8")
    if as_json:
        emit(
            {
                "file": str(target) if target else None,
                "simulated": found.simulated,
                "found": [
                    {"address": i.address, "identity": i.identity, "kind": i.kind or None, "dialect": i.dialect or None}
                    for i in found.found
                ],
                "silent": dict(found.silent),
                "missing": list(missing),
            }
        )
    else:
        rows = [(i.kind or "?", i.dialect or "?", i.identity, i.address) for i in found.found]
        click.echo(table(("kind", "dialect", "identity", "address"), rows))
        for address, words in found.silent:
            say(f"no answer: {address}: {words}")
    if target is not None:
        say(f"{target}: written. Look at each line marked unknown, then: coilgate bench check --bench {target}")
    if missing:
        say(f"not known yet: {', '.join(missing)}.")
    ctx.exit(2 if missing else 0)


def _pair(text: str) -> tuple[str, str]:
    address, equals, dialect = text.rpartition("=")
    if not equals or not address or not dialect:
        raise click.UsageError(f"--is reads ADDRESS=DIALECT; got {text!r}")
    return address, dialect
