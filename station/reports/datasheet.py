"""The datasheet of a part, or of one lot: what can be promised of its units, and what that rests on."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from station.core.plan import CoilDesign
from station.quality.figure_intervals import NOT_KNOWN, FigureIntervals
from station.quality.stated import StatedRange
from station.reports.datasheet_changes import NO_REVISIONS, Revisions, change_blocks
from station.reports.datasheet_heating import Heating, heating_blocks
from station.reports.datasheet_limits import ProposedLimit, limit_blocks
from station.reports.document import Block, Caution, Document, Facts, Heading, Paragraph, Picture, Table
from station.reports.pictures import COLOURS, WIDTH, new_figure, percent, printed, svg_of

LIMIT_MARK = "†"

CAUTIONS = (
    "The coil gets hot enough to burn, and its resistance rises with it. What it stands depends on what it is "
    "mounted on: prove the temperature in your own assembly before you choose a drive.",
    "A source can deliver its full current into a coil with shorted turns: limit the current in the source.",
    "Magnets near the coil are pulled and pinch; they harm implants and magnetic cards.",
)


@dataclass(frozen=True, slots=True)
class Line:
    """One characteristic. `drawn`: what the drawing's model says; None where there is no model.

    `expanded_uncertainty`: median of the values' U (95 %); None where none is on record.
    """

    name: str
    unit_symbol: str
    conditions: str
    stated: StatedRange
    drawn: float | None
    expanded_uncertainty: float | None
    height_m: float | None = None
    known: FigureIntervals = NOT_KNOWN
    """How well minimum, typical and maximum are known."""


@dataclass(frozen=True, slots=True, eq=False)
class Datasheet:
    """Everything that a datasheet says. The curve is the drawing's, shape (N,): height in m, field in T/A."""

    part: str
    title: str
    of: str
    """`lot L2641`, or `5 lots`."""
    lots: tuple[str, ...]
    plan_words: str
    coil: CoilDesign
    lines: tuple[Line, ...]
    curve_height_m: np.ndarray
    curve_t_per_a: np.ndarray
    coverage: float
    confidence: float
    population: str
    provisional: bool
    simulated: bool
    newest_utc: datetime
    missing: tuple[str, ...]
    name: str = ""
    """What was asked for, a part or a lot: what revisions are filed under."""
    heating: Heating | None = None
    limits: tuple[ProposedLimit, ...] = ()
    revisions: Revisions = NO_REVISIONS


def datasheet_document(sheet: Datasheet) -> Document:
    """Return the datasheet."""
    return Document(
        title=f"Datasheet {sheet.part}",
        subtitle=f"{sheet.title}. {sheet.revisions.words}, from {sheet.of}; newest measurement "
        f"{sheet.newest_utc.date().isoformat()}.",
        date_utc=sheet.newest_utc,
        blocks=(
            Caution(CAUTIONS),
            *_characteristics(sheet),
            *_field(sheet),
            *(heating_blocks(sheet.heating) if sheet.heating is not None else ()),
            *_origin(sheet),
            *limit_blocks(sheet.limits),
            *change_blocks(sheet.revisions),
        ),
        simulated=sheet.simulated,
        provisional=sheet.provisional,
        footer=f"Datasheet {sheet.part}, {sheet.revisions.words.lower()}, from {sheet.of}",
    )


def _characteristics(sheet: Datasheet) -> Iterator[Block]:
    yield Heading("Characteristics")
    headers = ("", "conditions", "minimum", "typical", "maximum", "drawn", "U (95\u00a0%)", "units")
    yield Table(headers, tuple(_row(each) for each in sheet.lines), words=(0, 1))
    yield Paragraph(
        "Minimum and maximum: statistical tolerance intervals; "
        f"at least {percent(sheet.coverage, decimals=None)} of the units lie between them, with "
        f"{percent(sheet.confidence, decimals=None)} confidence. Typical: mean of the lots. U: expanded uncertainty "
        "of a measurement (95\u00a0%, median); both ends are moved out by it, since most of it is common to all units "
        "of a bench and the spread doesn't show it. Drawn: the drawing's dimensions by the coil model."
    )
    if any(each.stated.minimum_is_limit or each.stated.maximum_is_limit for each in sheet.lines):
        yield Paragraph(
            f"{LIMIT_MARK} The control plan's tolerance limit, which every unit is judged against with a guard band "
            "of U. The interval would reach beyond it."
        )
    if sheet.provisional:
        yield Paragraph(
            f"Provisional: {_lots(len(sheet.lots))} of the five or more that show how lots differ. Of one lot, the "
            "intervals hold for that lot only; of two to four they are wide, because so little is known."
        )


def _row(line: Line) -> tuple[str, ...]:
    stated, unit = line.stated, line.unit_symbol
    return (
        line.name,
        line.conditions,
        _end(stated.minimum, unit, stated.minimum_is_limit),
        printed(stated.typical, unit),
        _end(stated.maximum, unit, stated.maximum_is_limit),
        printed(line.drawn, unit),
        printed(line.expanded_uncertainty, unit, digits=2),
        str(stated.units),
    )


def _end(value: float | None, unit: str, is_limit: bool) -> str:
    return printed(value, unit) + (LIMIT_MARK if is_limit else "")


def _field(sheet: Datasheet) -> Iterator[Block]:
    lines = [each for each in sheet.lines if each.height_m is not None]
    if not lines:
        return
    words = "; ".join(
        f"{printed(each.height_m, 'm')}: {printed(each.stated.typical, each.unit_symbol)}" for each in lines
    )
    yield Heading("Field over height")
    yield Picture(
        _field_picture(sheet, lines),
        f"Flux density per ampere on the axis over height. Typical values: {words}. The curve is the drawing's.",
        "Flux density per ampere on the coil's axis, over the height above the top copper. Left: the drawing (curve) "
        "and typical values. Right: typical values, and minimum to maximum (bars), against the drawing.",
    )


def _field_picture(sheet: Datasheet, lines: list[Line]) -> bytes:
    figure = new_figure(WIDTH, 2.2)
    whole, against = figure.subplots(1, 2)
    whole.plot(sheet.curve_height_m * 1e3, sheet.curve_t_per_a * 1e3, color=COLOURS[0])
    whole.set_ylabel("flux density, mT/A", fontsize=8)
    whole.set_ylim(bottom=0.0)
    # On the curve the bars would be thinner than its line.
    against.axhline(0.0, color=COLOURS[0])
    against.set_ylabel("against the drawing, %", fontsize=8)
    for each in lines:
        stated, height_mm = each.stated, (each.height_m or 0.0) * 1e3
        drawn = each.drawn or float(np.interp(height_mm / 1e3, sheet.curve_height_m, sheet.curve_t_per_a))
        whole.plot(height_mm, stated.typical * 1e3, "o", color=COLOURS[1], markersize=4)
        against.plot(height_mm, 100.0 * (stated.typical / drawn - 1.0), "o", color=COLOURS[1], markersize=4)
        if stated.minimum is not None and stated.maximum is not None:
            ends = [100.0 * (end / drawn - 1.0) for end in (stated.minimum, stated.maximum)]
            against.plot([height_mm] * 2, ends, color=COLOURS[1], marker="_", linewidth=1.2)
    for axes in (whole, against):
        axes.set_xlabel("height, mm", fontsize=8)
        axes.set_xlim(left=0.0)
        axes.tick_params(labelsize=8)
        axes.grid(alpha=0.3)
        axes.spines[["top", "right"]].set_visible(False)
    return svg_of(figure)


def _drawing(coil: CoilDesign) -> str:
    """The drawing in a line, in the order in which a drawing gives it."""
    layers = f"{coil.layers} x " if coil.layers > 1 else ""
    words = [
        f"{coil.shape}, {layers}{coil.turns_per_layer:g} turns",
        f"inner diameter {printed(coil.inner_diameter_m, 'm', digits=3)} at the copper's edge",
        f"track {printed(coil.track_width_m, 'm', digits=3)}, gap {printed(coil.track_gap_m, 'm', digits=3)}",
        f"finished copper {printed(coil.copper_m, 'm', digits=3)}",
    ]
    if coil.layers > 1:
        words.append(f"layers {printed(coil.layer_gap_m, 'm', digits=3)} apart, copper to copper")
    return "; ".join(words)


def _lots(count: int) -> str:
    return "1 lot" if count == 1 else f"{count} lots"


def _origin(sheet: Datasheet) -> Iterator[Block]:
    methods = sorted({each.stated.method for each in sheet.lines if each.stated.method})
    without = (*sheet.missing, *(f"{each.name}: {each.stated.why}" for each in sheet.lines if each.stated.why))
    doubts = tuple(f"{each.name}: {each.stated.doubt}" for each in sheet.lines if each.stated.doubt)
    yield Heading("What this rests on")
    yield Facts(
        (
            ("Population", sheet.population),
            ("Lots", ", ".join(sheet.lots)),
            ("Tolerance interval", "; ".join(methods) or "none"),
            ("Control plan", sheet.plan_words),
            ("Drawing", _drawing(sheet.coil)),
            *(("Not stated", words) for words in without),
            *(("Doubt", words) for words in doubts),
        )
    )
