"""Measured widths, coupons and sections from CSV files, every mistake by its line; and from short texts on a line."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from station.app.copper_rows import CopperKind, CouponRow, Row, SectionRow, WidthRow
from station.core.quantity import Dimension, QuantityError, parse_quantity
from station.errors import Mistake, StationError
from station.quality.csv_columns import Columns, numbers, read_columns, refuse

_UM, _MM = 1e6, 1e3


@dataclass(frozen=True, slots=True)
class _Column:
    """A column: its name is the header; its numbers over `per_si` are SI; `signed`: not only above 0."""

    name: str
    per_si: float = 1.0
    optional: bool = False
    words: bool = False
    signed: bool = False


COLUMNS: dict[CopperKind, tuple[_Column, ...]] = {
    CopperKind.WIDTHS: (
        _Column("serial", words=True),
        _Column("layer"),
        _Column("turn"),
        _Column("top_um", _UM, optional=True),
        _Column("foot_um", _UM, optional=True),
        _Column("width_um", _UM, optional=True),
        _Column("pitch_um", _UM, optional=True),
        _Column("u_um", _UM),
    ),
    CopperKind.COUPONS: (
        _Column("panel", words=True),
        _Column("coupon", optional=True, words=True),
        _Column("near", optional=True, words=True),
        _Column("width_um", _UM),
        _Column("length_mm", _MM),
        _Column("resistance_ohm"),
        _Column("temperature_degc", signed=True),
        _Column("u_ohm"),
    ),
    CopperKind.SECTIONS: (
        _Column("serial", optional=True, words=True),
        _Column("panel", optional=True, words=True),
        _Column("thickness_um", _UM),
        _Column("u_um", _UM),
        _Column("layer", optional=True),
        _Column("turn", optional=True),
        _Column("top_um", _UM, optional=True),
        _Column("foot_um", _UM, optional=True),
    ),
}
"""Of each kind of file. u: standard uncertainty."""

_Values = Mapping[str, float | None]
_Words = Mapping[str, str]


def read_rows(kind: CopperKind, text: str, file: str) -> tuple[Row, ...]:
    """Return the rows of a CSV (comma, semicolon or tab). Raises StudyError with every mistake, each with its line.

    Lines of a pull list whose widths and uncertainty are all empty are passed over.
    """
    wanted = COLUMNS[kind]
    columns = read_columns(
        text,
        file,
        {each.name: each.name for each in wanted},
        optional=tuple(each.name for each in wanted if each.optional),
    )
    mistakes: list[Mistake] = []
    values = {each.name: _numbers(columns, each, mistakes) for each in wanted if not each.words}
    empty = {columns.lines[place] for place in range(len(columns.lines)) if _left_empty(kind, columns, place)}
    mistakes = [each for each in mistakes if each.line not in empty]
    unread = {each.line for each in mistakes}
    rows: list[Row] = []
    for place, line in enumerate(columns.lines):
        if line in empty:
            continue
        words = {each.name: _text(columns, each, place, mistakes) for each in wanted if each.words}
        mine = {name: found[place] for name, found in values.items()}
        trouble = [] if line in unread else _CHECKS[kind](words, mine)
        mistakes += [
            columns.mistake(place, name if name in columns.headers else next(iter(columns.headers)), says)
            for name, says in trouble
        ]
        if not mistakes:
            rows.append(_MAKE[kind](words, mine))
    refuse(mistakes)
    return tuple(rows)


def headers_of(kind: CopperKind) -> str:
    """Return the header line of a kind of file, those that may be absent in brackets."""
    return ",".join(f"[{each.name}]" if each.optional else each.name for each in COLUMNS[kind])


_PLACE = re.compile(r"\s*(?P<layer>[0-9]+)\s*/\s*(?P<turn>[0-9]+(?:\.[0-9]+)?)\s*:?\s*(?P<rest>.*)")
_EDGE = re.compile(r"(?P<name>top|foot|width|pitch)\s+(?P<quantity>[-+0-9.eE]+\s*[^\s,;0-9]+)[\s,;]*")


def width_row(serial: str, text: str, u_m: float) -> WidthRow:
    """Return the row of `LAYER/TURN top 112 um foot 121 um pitch 240 um`. Raises StationError."""
    found = _PLACE.fullmatch(text)
    if found is None:
        raise StationError(f"{text!r}: a place is LAYER/TURN with widths, such as '1/10 top 112 um foot 121 um'.")
    sizes: dict[str, float] = {}
    rest = found["rest"]
    while rest:
        edge = _EDGE.match(rest)
        if edge is None:
            raise StationError(
                f"{text!r}: at {rest!r}; say top, foot, width or pitch with a length, such as 'top 112 um'."
            )
        sizes[edge["name"]] = quantity(f"{text}: {edge['name']}", edge["quantity"], Dimension.LENGTH)
        rest = rest[edge.end() :]
    if not {"top", "foot", "width"} & set(sizes):
        raise StationError(f"{text!r}: needs top, foot or width.")
    return WidthRow(
        serial,
        int(found["layer"]),
        float(found["turn"]),
        u_m,
        *(sizes.get(n) for n in ("top", "foot", "width", "pitch")),
    )


def coupon_row(text: str, u_ohm: float) -> CouponRow:
    """Return the row of `PANEL [beside SERIAL]: 100 um, 50 mm, 0.513 ohm, 23.1 degC`. Raises StationError."""
    where, _, rest = text.partition(":")
    panel, _, near = where.partition(" beside ")
    parts = [each.strip() for each in rest.split(",")]
    if not panel.strip() or len(parts) != 4:
        raise StationError(f"{text!r}: a coupon track is PANEL: WIDTH, LENGTH, RESISTANCE, TEMPERATURE.")
    dimensions = (Dimension.LENGTH, Dimension.LENGTH, Dimension.RESISTANCE, Dimension.TEMPERATURE)
    width, length, resistance, temperature = (
        quantity(text, part, dimension) for part, dimension in zip(parts, dimensions, strict=True)
    )
    return CouponRow(panel.strip(), width, length, resistance, temperature, u_ohm, near=near.strip())


def quantity(what: str, text: str, dimension: Dimension) -> float:
    """Return a quantity in SI, above 0 unless it is a temperature. Raises StationError that names `what`."""
    try:
        value = parse_quantity(text, dimension)
    except QuantityError as error:
        raise StationError(f"{what}: {error}.") from error
    if dimension is not Dimension.TEMPERATURE and not value > 0:
        raise StationError(f"{what}: must be above 0; got {text!r}.")
    return value


def _numbers(columns: Columns, column: _Column, mistakes: list[Mistake]) -> list[float | None]:
    count = len(columns.lines)
    texts = columns.fields.get(column.name)
    if texts is None:
        return [None] * count
    values, trouble = numbers(columns, column.name)
    empty = {columns.lines[row] for row, text in enumerate(texts) if not text} if column.optional else set()
    wrong = {each.line for each in trouble}
    mistakes += [each for each in trouble if each.line not in empty]
    found: list[float | None] = []
    for row, value in enumerate(values):
        line = columns.lines[row]
        if line not in wrong and not column.signed and not value > 0:
            mistakes.append(columns.mistake(row, column.name, f"must be above 0; got {texts[row]!r}"))
        found.append(None if math.isnan(value) else value / column.per_si)
    return found


def _text(columns: Columns, column: _Column, row: int, mistakes: list[Mistake]) -> str:
    text = columns.fields[column.name][row] if column.name in columns.fields else ""
    if not text and not column.optional:
        mistakes.append(columns.mistake(row, column.name, "is empty; must name one"))
    return text


def _whole(values: _Values, name: str) -> list[tuple[str, str]]:
    value = values[name]
    return [(name, f"must be a whole number; got {value:g}")] if value is not None and value % 1 else []


def _width_trouble(_words: _Words, values: _Values) -> list[tuple[str, str]]:
    found = _whole(values, "layer")
    if values["width_um"] is None and values["top_um"] is None and values["foot_um"] is None:
        found.append(("top_um", "needs a width: top_um, foot_um or width_um"))
    return found + _upside_down(values)


def _upside_down(values: _Values) -> list[tuple[str, str]]:
    top, foot = values["top_um"], values["foot_um"]
    if top is not None and foot is not None and top > 1.5 * foot:
        return [("top_um", "is far above foot_um; the foot lies against the film")]
    return []


def _section_trouble(words: _Words, values: _Values) -> list[tuple[str, str]]:
    found = _whole(values, "layer") + _upside_down(values)
    if bool(words["serial"]) == bool(words["panel"]):
        found.append(("serial", "a section is of a unit (serial) or of a panel; one of them"))
    if (values["layer"] is None) != (values["turn"] is None):
        found.append(("layer", "layer and turn go together"))
    return found


def _left_empty(kind: CopperKind, columns: Columns, row: int) -> bool:
    """Tell whether a line is a place of a pull list that nobody measured: nothing in it but where."""
    if kind is not CopperKind.WIDTHS:
        return False
    measured = (each.name for each in COLUMNS[kind] if each.name.endswith("_um"))
    return not any(columns.fields[name][row] for name in measured if name in columns.fields)


def _no_trouble(_words: _Words, _values: _Values) -> list[tuple[str, str]]:
    return []


def _sure(value: float | None) -> float:
    """A required column's value; without it there was a mistake before this is asked."""
    return float("nan") if value is None else value


def _make_width(words: _Words, values: _Values) -> WidthRow:
    return WidthRow(
        words["serial"],
        int(_sure(values["layer"])),
        _sure(values["turn"]),
        _sure(values["u_um"]),
        values["top_um"],
        values["foot_um"],
        values["width_um"],
        values["pitch_um"],
    )


def _make_coupon(words: _Words, values: _Values) -> CouponRow:
    return CouponRow(
        words["panel"],
        _sure(values["width_um"]),
        _sure(values["length_mm"]),
        _sure(values["resistance_ohm"]),
        _sure(values["temperature_degc"]),
        _sure(values["u_ohm"]),
        words["coupon"],
        words["near"],
    )


def _make_section(words: _Words, values: _Values) -> SectionRow:
    layer = values["layer"]
    return SectionRow(
        _sure(values["thickness_um"]),
        _sure(values["u_um"]),
        words["serial"],
        words["panel"],
        None if layer is None else int(layer),
        values["turn"],
        values["top_um"],
        values["foot_um"],
    )


_CHECKS: dict[CopperKind, Callable[[_Words, _Values], list[tuple[str, str]]]] = {
    CopperKind.WIDTHS: _width_trouble,
    CopperKind.COUPONS: _no_trouble,
    CopperKind.SECTIONS: _section_trouble,
}
_MAKE: dict[CopperKind, Callable[[_Words, _Values], Row]] = {
    CopperKind.WIDTHS: _make_width,
    CopperKind.COUPONS: _make_coupon,
    CopperKind.SECTIONS: _make_section,
}
