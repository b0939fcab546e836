"""`coilgate coil`: what a drawing should read, how a lot of it spreads, what faults do to it."""

from pathlib import Path

import click

from station.cli.coil_options import drawing_options, drawn_coil, drive_options, heights_m, quantity, tolerance_options
from station.cli.output import emit, table

_PLOT = click.option(
    "--plot", type=click.Path(dir_okay=False, path_type=Path), help="Also draw it, as .svg, .png or .pdf."
)
_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
_HEIGHTS = click.option(
    "--height",
    "heights",
    multiple=True,
    metavar="LENGTH",
    help="Height of the field above the top copper, such as '2 mm'; may be repeated.",
)


@click.group()
def coil() -> None:
    """The drawing's physics: predict readings, spread of a lot, faults. Nothing is measured."""


@coil.command()
@drawing_options
@_HEIGHTS
@click.option("--frequency", default="100 kHz", show_default=True, help="Frequency of the LCR meter.")
@click.option("--temperature", default="20 degC", show_default=True, help="Temperature of the copper.")
@_PLOT
@_JSON
def predict(
    heights: tuple[str, ...], frequency: str, temperature: str, plot: Path | None, as_json: bool, **drawing: object
) -> None:
    """Predict track length, R, L and field of a healthy coil.

    \b
    Example: coilgate coil predict --shape circle --layers 2 --turns-per-layer 20
             --inner-diameter 3mm --track-width 0.12mm --track-gap 0.12mm
             --copper 18um --layer-gap 50um --height 2mm
             coilgate coil predict --plan IS-20.toml         (at the plan's heights)
    """
    from station.cli import coil_facts

    drawn = drawn_coil(drawing)
    facts = coil_facts.prediction_facts(
        drawn,
        frequency_hz=quantity(frequency, "Hz", "--frequency"),
        heights_m=heights_m(drawing, heights),
        temperature_degc=quantity(temperature, "degC", "--temperature"),
    )
    if plot is not None:
        coil_facts.draw_field(drawn, facts, plot)
    if as_json:
        emit(facts)
        return
    click.echo(table(("quantity", "predicted", "remark"), coil_facts.prediction_rows(facts)))


@coil.command()
@drawing_options
@tolerance_options
@drive_options
@_HEIGHTS
@click.option("--draws", type=click.IntRange(2, 1_000_000), default=10_000, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Same seed, same draws.")
@click.option(
    "--distribution",
    type=click.Choice(["normal", "rectangular"]),
    default="normal",
    show_default=True,
    help="Normal: the tolerance is three standard deviations, cut off there.",
)
@_PLOT
@_JSON
def spread(
    heights: tuple[str, ...],
    draws: int,
    seed: int,
    distribution: str,
    plot: Path | None,
    as_json: bool,
    **options: object,
) -> None:
    """Say how R, L, B and rise spread within tolerances, and which tolerance owns how much.

    \b
    Example: coilgate coil spread --plan IS-20.toml --width-tolerance 15um
             --copper-tolerance 2um --layer-gap-tolerance 10um --height 2mm --plot spread.svg
    """
    from station.cli import coil_facts

    drawn = drawn_coil(options, spiral_only="coil spread")
    result = coil_facts.spread_of(
        drawn,
        options,
        heights_m=tuple(quantity(each, "m", "--height") for each in heights),
        draws=draws,
        seed=seed,
        distribution=distribution,
    )
    if plot is not None:
        coil_facts.draw_spread(result, plot)
    if as_json:
        emit(coil_facts.spread_facts(result, draws=draws, seed=seed, distribution=distribution))
        return
    click.echo(table(coil_facts.SPREAD_HEADERS, coil_facts.spread_rows(result)))
    if heights:
        click.echo(f"B at a drive of {options['drive']}.")
    click.echo("Shares are of the variance, first order. Width keeps the artwork's centre line; gap is its pitch.")


@coil.command()
@drawing_options
@click.option(
    "--shorted",
    multiple=True,
    type=click.IntRange(1, 500),
    default=(1, 3, 10),
    show_default=True,
    help="How many neighbouring turns are bridged; may be repeated.",
)
@click.option("--contact", default="0 ohm", show_default=True, help="Contact resistance of the bridge.")
@click.option("--frequency", default="100 kHz", show_default=True, help="Frequency of the LCR meter.")
@click.option("--height", default="2 mm", show_default=True, help="Height of the field above the top copper.")
@_PLOT
@_JSON
def faults(
    shorted: tuple[int, ...],
    contact: str,
    frequency: str,
    height: str,
    plot: Path | None,
    as_json: bool,
    **drawing: object,
) -> None:
    """Compare open and shorted coils with the healthy one: R, L, Q and B.

    \b
    Example: coilgate coil faults --plan IS-20.toml --frequency 100kHz --height 2mm
    """
    from station.cli import coil_facts

    drawn = drawn_coil(drawing, spiral_only="coil faults")
    facts = coil_facts.fault_facts(
        drawn,
        shorted=sorted(set(shorted)),
        contact_ohm=quantity(contact, "ohm", "--contact"),
        frequency_hz=quantity(frequency, "Hz", "--frequency"),
        height_m=quantity(height, "m", "--height"),
    )
    if plot is not None:
        coil_facts.draw_faults(facts, plot)
    if as_json:
        emit(facts)
        return
    click.echo(table(coil_facts.FAULT_HEADERS, coil_facts.fault_rows(facts)))
    click.echo("R and B at direct current; Rs, L and Q at the frequency. Capacitance is left out.")
