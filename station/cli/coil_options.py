"""Options that say which coil is meant: a plan, a drawn polyline, or dimensions; and what its tolerances are."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

if TYPE_CHECKING:
    from station.coil import CoilGeometry, Conductor, PolylineCoil

_Command = TypeVar("_Command", bound=Callable[..., None])
_FILE = click.Path(dir_okay=False, path_type=Path)
_NEEDED = ("turns_per_layer", "inner_diameter", "track_width", "track_gap", "copper")

_DRAWING = (
    click.option("--plan", "plan_file", type=_FILE, help="Take the drawing from this control plan."),
    click.option(
        "--polyline",
        type=_FILE,
        help="Take the centre line from a CSV table of x, y, layer, width (mm); layer 1 on top.",
    ),
    click.option(
        "--shape", type=click.Choice(["circle", "square", "hexagon", "octagon", "polygon"]), help="Default: circle."
    ),
    click.option("--sides", type=int, help="Sides of a polygon."),
    click.option("--layers", type=int, help="Copper layers in series. Default: 1."),
    click.option("--turns-per-layer", type=float, help="May be a fraction, such as 9.75."),
    click.option("--inner-diameter", metavar="LENGTH", help="Copper edge to copper edge; across flats for polygons."),
    click.option("--track-width", metavar="LENGTH", help="As finished, at the foot of the track."),
    click.option("--track-gap", metavar="LENGTH", help="Copper to copper between turns."),
    click.option("--copper", metavar="LENGTH", help="Thickness of the copper."),
    click.option("--plating", metavar="LENGTH", help="Copper plated on top of it."),
    click.option(
        "--layer-gap",
        "layer_gaps",
        multiple=True,
        metavar="LENGTH",
        help="Copper to copper; once, or once for each gap.",
    ),
    click.option("--winding-senses", metavar="SIGNS", help="A + or - for each layer, such as ++ (default) or +-."),
    click.option("--etch-factor", type=float, help="Etched depth over undercut of one wall. Default: upright walls."),
    click.option("--lead-resistance", metavar="RESISTANCE", help="Both leads together."),
    click.option("--via-resistance", metavar="RESISTANCE", help="One via between layers."),
    click.option(
        "--conductivity", metavar="PERCENT", help="Of annealed copper (IACS), such as '97 %'. Default: 100 %."
    ),
    click.option("--winding-constant", type=float, help="k of copper in degC: 234.5 (default) or 235."),
)

_TOLERANCES = (
    click.option("--width-tolerance", default="0 um", metavar="LENGTH", help="Track width (etching), plus or minus."),
    click.option("--gap-tolerance", default="0 um", metavar="LENGTH", help="Track gap (pitch of the artwork)."),
    click.option("--copper-tolerance", default="0 um", metavar="LENGTH", help="Finished copper thickness."),
    click.option("--layer-gap-tolerance", default="0 um", metavar="LENGTH", help="Distance of the layers."),
    click.option("--temperature-tolerance", default="0 K", metavar="DIFFERENCE", help="Temperature of the copper."),
    click.option("--drive-tolerance", default="0 %", metavar="PERCENT", help="Of the drive."),
)

_DRIVES = (
    click.option("--drive", default="100 mA", show_default=True, metavar="V|A", help="Constant current or voltage."),
    click.option("--temperature", default="20 degC", show_default=True, help="Temperature of the copper."),
    click.option(
        "--thermal-resistance", metavar="K/W", help="Of the coil as mounted, such as '60 K/W'; adds the steady rise."
    ),
)


def _apply(options: tuple[Callable[[_Command], _Command], ...]) -> Callable[[_Command], _Command]:
    def decorate(command: _Command) -> _Command:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


def drawing_options(command: _Command) -> _Command:
    """Add the options that say which coil is meant; `drawn_coil` reads them."""
    return _apply(_DRAWING)(command)


def tolerance_options(command: _Command) -> _Command:
    """Add the fab's tolerances."""
    return _apply(_TOLERANCES)(command)


def drive_options(command: _Command) -> _Command:
    """Add drive, temperature and thermal resistance."""
    return _apply(_DRIVES)(command)


def quantity(text: object, dimension: str, option: str) -> float:
    """Return a quantity in SI units; a usage error that names the option otherwise."""
    from station.core.quantity import QuantityError, parse_quantity

    try:
        return parse_quantity(str(text), dimension)
    except QuantityError as error:
        raise click.UsageError(f"{option} {error}") from error


def drawn_coil(options: Mapping[str, object], *, spiral_only: str = "") -> "CoilGeometry | PolylineCoil":
    """Return the coil that the options mean; one clear usage error for what is missing, doubled or impossible.

    `spiral_only` names a command that can't take a polyline.
    """
    from station.coil import GeometryError

    given = [name for name in ("plan_file", "polyline") if options[name] is not None]
    if len(given) == 2:
        raise click.UsageError("--plan and --polyline each state a drawing; give one of them.")
    if options["polyline"] is not None and spiral_only:
        raise click.UsageError(f"`{spiral_only}` needs turns; a polyline has none. Give a plan or dimensions.")
    try:
        if options["plan_file"] is not None:
            return _from_plan(options)
        if options["polyline"] is not None:
            return _from_polyline(options)
        return _from_dimensions(options)
    except GeometryError as error:
        raise click.UsageError(
            "this coil can't be drawn:\n" + "\n".join(f"  {each}" for each in error.problems)
        ) from error


def heights_m(options: Mapping[str, object], heights: Sequence[str]) -> list[float]:
    """Return the heights asked for; none asked for: those that the plan measures the field at, if there is a plan."""
    from station.app.files import read_plan
    from station.core.plan import FieldStep

    if heights or options["plan_file"] is None:
        return [quantity(each, "m", "--height") for each in heights]
    plan = read_plan(Path(str(options["plan_file"])))
    return [height for step in plan.steps if isinstance(step, FieldStep) for height in step.heights_m]


def _from_plan(options: Mapping[str, object]) -> "CoilGeometry":
    from dataclasses import replace

    from station.app.drawing import geometry_of
    from station.app.files import read_plan
    from station.coil import Conductor

    _refuse_dimensions(options, "--plan", allowed=("etch_factor", "via_resistance", "plating", "conductivity"))
    plan = read_plan(Path(str(options["plan_file"])))
    wire = _conductor(options)
    return replace(
        geometry_of(plan.coil),
        conductor=Conductor(wire.resistivity_ohm_m, plan.winding_constant_k),
        etch_factor=_etch_factor(options),
        plating_m=_optional(options, "plating", "m"),
        via_resistance_ohm=_optional(options, "via_resistance", "ohm"),
    )


def _from_polyline(options: Mapping[str, object]) -> "PolylineCoil":
    from station.coil import PolylineCoil, read_polyline_csv

    _refuse_dimensions(
        options,
        "--polyline",
        allowed=(
            "copper",
            "plating",
            "layer_gaps",
            "lead_resistance",
            "via_resistance",
            "conductivity",
            "winding_constant",
        ),
    )
    if options["copper"] is None:
        raise click.UsageError("--polyline needs --copper as well, such as --copper 18um.")
    path = Path(str(options["polyline"]))
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise click.UsageError(f"{path}: is no text in UTF-8; expected a CSV table of x, y, layer, width.") from error
    points = read_polyline_csv(text, name=path.name)
    layers = max(point.layer for point in points) + 1 if points else 1
    return PolylineCoil(
        points=points,
        copper_m=quantity(options["copper"], "m", "--copper"),
        plating_m=_optional(options, "plating", "m"),
        layer_gaps_m=_layer_gaps(options, layers),
        lead_resistance_ohm=_optional(options, "lead_resistance", "ohm"),
        via_resistance_ohm=_optional(options, "via_resistance", "ohm"),
        conductor=_conductor(options),
    )


def _from_dimensions(options: Mapping[str, object]) -> "CoilGeometry":
    from station.coil import CoilGeometry

    missing = [f"--{name.replace('_', '-')}" for name in _NEEDED if options[name] is None]
    if missing:
        raise click.UsageError(
            f"a drawing is needed: --plan FILE, --polyline FILE, or dimensions; missing {', '.join(missing)}."
        )
    layers = int(str(options["layers"] or 1))
    shape = str(options["shape"] or ("polygon" if options["sides"] else "circle"))
    if options["sides"] is not None and shape != "polygon":
        raise click.UsageError(f"--sides goes with --shape polygon; got --shape {shape}.")
    return CoilGeometry(
        shape=shape,  # type: ignore[arg-type]  # checked against the same list by click
        sides=int(str(options["sides"] or 0)),
        layers=layers,
        turns_per_layer=float(str(options["turns_per_layer"])),
        inner_diameter_m=quantity(options["inner_diameter"], "m", "--inner-diameter"),
        track_width_m=quantity(options["track_width"], "m", "--track-width"),
        track_gap_m=quantity(options["track_gap"], "m", "--track-gap"),
        copper_m=quantity(options["copper"], "m", "--copper"),
        plating_m=_optional(options, "plating", "m"),
        layer_gaps_m=_layer_gaps(options, layers),
        winding_senses=_senses(options, layers),
        etch_factor=_etch_factor(options),
        lead_resistance_ohm=_optional(options, "lead_resistance", "ohm"),
        via_resistance_ohm=_optional(options, "via_resistance", "ohm"),
        conductor=_conductor(options),
    )


def _refuse_dimensions(options: Mapping[str, object], by: str, *, allowed: tuple[str, ...]) -> None:
    """A dimension beside a plan or polyline would be ignored in silence, or contradict it."""
    shaped = ("shape", "sides", "layers", *_NEEDED, "plating", "layer_gaps", "winding_senses", "etch_factor")
    wired = ("lead_resistance", "via_resistance", "conductivity", "winding_constant")
    doubled = [name for name in (*shaped, *wired) if name not in allowed and options[name] not in (None, ())]
    if doubled:
        words = ", ".join(f"--{name.replace('_', '-').replace('layer-gaps', 'layer-gap')}" for name in doubled)
        raise click.UsageError(f"{by} states the drawing already; leave out {words}.")


def _optional(options: Mapping[str, object], name: str, dimension: str) -> float:
    text = options[name]
    return 0.0 if text is None else quantity(text, dimension, f"--{name.replace('_', '-')}")


def _etch_factor(options: Mapping[str, object]) -> float | None:
    factor = options["etch_factor"]
    return None if factor is None else float(str(factor))


def _layer_gaps(options: Mapping[str, object], layers: int) -> tuple[float, ...]:
    texts = options["layer_gaps"]
    gaps = tuple(quantity(text, "m", "--layer-gap") for text in (texts if isinstance(texts, tuple) else ()))
    wanted = max(layers - 1, 0)
    if len(gaps) == 1 and wanted > 1:
        return gaps * wanted
    if len(gaps) != wanted:
        raise click.UsageError(
            f"{layers} layer(s) have {wanted} gap(s) between them; got {len(gaps)} --layer-gap"
            + (", such as --layer-gap 50um." if wanted else ". Leave it out.")
        )
    return gaps


def _senses(options: Mapping[str, object], layers: int) -> tuple[int, ...]:
    text = options["winding_senses"]
    if text is None:
        return ()
    signs = str(text).strip()
    if len(signs) != layers or set(signs) - {"+", "-"}:
        raise click.UsageError(
            f"--winding-senses must be {layers} signs, each + or -, such as {'+' * layers!r}; got {signs!r}."
        )
    return tuple(1 if sign == "+" else -1 for sign in signs)


def _conductor(options: Mapping[str, object]) -> "Conductor":
    from station.coil import Conductor

    plain = Conductor()
    text = options["conductivity"]
    share = 1.0 if text is None else quantity(text, "%", "--conductivity")
    if not 0.0 < share <= 1.5:
        raise click.UsageError(f"--conductivity must be above 0 and at most 150 % of annealed copper; got {text!r}.")
    k = options["winding_constant"]
    return Conductor(plain.resistivity_ohm_m / share, plain.winding_constant_degc if k is None else float(str(k)))
