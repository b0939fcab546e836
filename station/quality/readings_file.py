"""A file of somebody else's readings (an old spreadsheet, the board maker's sheet) as values in SI, a row a unit. Pure.

Which column is what is said by a map: `R_ohm=R20`, `L [uH]=L`, `T=temperature degC`. A unit stands behind the field, or
in the header (`R_ohm`, `L [uH]`, `L (uH)`). A resistance `R` as it was measured becomes R20 by the temperature of its
row, or by a stated span in which it lay; what that leaves open is part of the uncertainty (0.39 %/K for copper, IEC
60028). Separator, decimal comma and byte order mark as in `csv_columns`.
"""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from station.core.quantity import Dimension, QuantityError, parse_quantity
from station.core.results import Shape, Term
from station.errors import Mistake, StudyError
from station.quality.csv_columns import OVERLOAD, rows_of, separator_of

PLACES = ("serial", "panel", "row", "column")
RAW_RESISTANCE = "R"
TEMPERATURE = "temperature"
MEASURED = "measured"
_TEXTS = (*PLACES, MEASURED)
_FORMULA = ("=", "+", "-", "@")
_FIELD = re.compile(r"(U95\()?([A-Za-z][\w@.]*)(\))?(?:\s+(\S+)|\s*\[(\S+)\])?")
_HEADER_UNIT = re.compile(r".*?[\s_]*(?:\[([^\]\s]+)\]|\(([^)\s]+)\)|[_\s]([^_\s]+))\s*")
_SPELLINGS = {"Ohm": "ohm", "Ohms": "ohm", "ohms": "ohm", "OHM": "ohm", "C": "degC", "mOhm": "mohm", "kOhm": "kohm"}
_EXPECTED = 1.96
"""Coverage factor that a source's 95 % uncertainty is divided by: normal, as nothing else is said."""


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """One column: what the file calls it, what it is, in which unit (empty for texts and pure numbers)."""

    header: str
    field: str
    unit: str
    uncertainty: bool = False
    """It is the expanded uncertainty of `field` and not its value."""


@dataclass(frozen=True, slots=True)
class Span:
    """Temperatures (degC) between which a coil lay when it was measured; equal ends: known, to within `within_k`."""

    low_degc: float
    high_degc: float


@dataclass(frozen=True, slots=True)
class HowRead:
    """All that a file does not say itself.

    unit_symbols: characteristic to SI unit symbol, those that can be named. winding_constant_k: 234.5 for copper.
    span: where no row has a temperature. within_k: half-width of what a row's temperature may be off.
    relative_u95: characteristic to the source's expanded uncertainty as a fraction, where no column has one.
    """

    columns: tuple[MappedColumn, ...]
    unit_symbols: Mapping[str, str]
    winding_constant_k: float
    span: Span | None = None
    within_k: float = 1.0
    relative_u95: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Imported:
    """One value of a unit, SI, with the terms of what is known of its uncertainty (none: nothing is known)."""

    characteristic: str
    unit_symbol: str
    value: float
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class UnitReadings:
    """One row: a unit and its values. `text` is the row as it stands in the file."""

    line: int
    serial: str
    panel: str
    row: str
    column: str
    measured_utc: datetime | None
    values: tuple[Imported, ...]
    text: str


def read_map(texts: Sequence[str], unit_symbols: Mapping[str, str]) -> tuple[MappedColumn, ...]:
    """Return the columns that texts such as `R_ohm=R20` or `L=L uH` name. Raises StudyError with every mistake."""
    columns, mistakes = list[MappedColumn](), list[Mistake]()
    for place, text in enumerate(texts, start=1):
        try:
            columns.append(_mapped(text, unit_symbols))
        except QuantityError as error:
            said = text[:60] if text.isprintable() else repr(text[:60])
            mistakes.append(Mistake("--map", place, said, str(error)))
    names = [(each.field, each.uncertainty) for each in columns]
    for name, uncertainty in sorted({each for each in names if names.count(each) > 1}):
        said = f"U95({name})" if uncertainty else name
        mistakes.append(Mistake("--map", len(texts), said, "is named by two columns; which one is it?"))
    if {("R20", False), (RAW_RESISTANCE, False)} <= set(names):
        mistakes.append(Mistake("--map", len(texts), "R20", "comes from R too; map one of the two"))
    if not mistakes and ("serial", False) not in names:
        mistakes.append(Mistake("--map", 1, "serial", "no column is the serial: --map 'HEADER=serial'"))
    if not mistakes and not any(each.field not in (*_TEXTS, TEMPERATURE) for each in columns):
        mistakes.append(Mistake("--map", 1, "values", "no column has values, such as --map 'R_ohm=R20'"))
    if mistakes:
        raise StudyError(mistakes)
    return tuple(columns)


def read_readings(
    text: str, file: str, how: HowRead, *, check: Callable[[str], str] = lambda serial: ""
) -> tuple[tuple[UnitReadings, ...], tuple[Mistake, ...]]:
    """Return the rows that can be read, and every mistake of those that can't, each with its line.

    `check` says what is wrong with a serial, or nothing. Raises StudyError if the header line or the CSV as a whole is
    wrong: then there is no row to keep.
    """
    named = {each.field for each in how.columns}
    if RAW_RESISTANCE in named and TEMPERATURE not in named and how.span is None:
        # Once, and not in every line.
        words = "R becomes R20 by its temperature: map a column (T=temperature degC), or state it or the span it lay in"
        raise StudyError([Mistake("--map", 1, RAW_RESISTANCE, f"{words} (--temperature '15 degC to 30 degC')")])
    rows = rows_of(text, file)
    if len(rows) < 2:
        raise StudyError([Mistake(file, 1, "header", "no readings follow the header line")])
    line, header = rows[0]
    places, mistakes = _places(header, line, file, how.columns)
    if mistakes:
        raise StudyError(mistakes)
    reader = _Reader(file, how, places, separator_of(text), len(header), check)
    return reader.read(rows[1:])


class _Reader:
    """Reads rows of one file."""

    def __init__(
        self,
        file: str,
        how: HowRead,
        places: dict[MappedColumn, int],
        separator: str,
        width: int,
        check: Callable[[str], str],
    ) -> None:
        self._file, self._how, self._places, self._separator = file, how, places, separator
        self._width, self._check = width, check
        self._texts = {each.field: place for each, place in places.items() if each.field in _TEXTS}
        self._values = [each for each in places if each.field not in _TEXTS and not each.uncertainty]
        self._doubts = {each.field: each for each in places if each.uncertainty}
        self._seen: dict[str, int] = {}
        self._bad: list[Mistake] = []

    def read(self, rows: list[tuple[int, list[str]]]) -> tuple[tuple[UnitReadings, ...], tuple[Mistake, ...]]:
        good = []
        for line, fields in rows:
            before = len(self._bad)
            found = self._row(line, fields)
            if found is not None and len(self._bad) == before:
                good.append(found)
        return tuple(good), tuple(self._bad)

    def _row(self, line: int, fields: list[str]) -> UnitReadings | None:
        if len(fields) != self._width:
            self._add(line, "row", f"has {len(fields)} fields; the header line has {self._width}")
            return None
        before = len(self._bad)
        texts = {name: fields[place].strip() for name, place in self._texts.items()}
        for name, text in texts.items():
            self._check_text(line, name, text)
        measured = self._moment(line, texts.get(MEASURED, ""))
        numbers = {each: self._number(line, each, fields) for each in self._places if each.field not in _TEXTS}
        values = self._values_of(line, numbers)
        if not values and len(self._bad) == before:
            self._add(line, "row", "has no value in any mapped column")
        serial, panel, row, column = (texts.get(name, "") for name in PLACES)
        return UnitReadings(line, serial, panel, row, column, measured, values, self._separator.join(fields))

    def _check_text(self, line: int, name: str, text: str) -> None:
        header = next(each.header for each in self._places if each.field == name)
        if text.startswith(_FORMULA) or not text.isprintable():
            self._add(line, header, f"reads like a formula or has control characters; got {text[:40]!r}")
        elif name == "serial" and not text:
            self._add(line, header, "is empty; must be the unit's serial")
        elif name == "serial" and text in self._seen:
            self._add(line, header, f"{text} stands in line {self._seen[text]} already; one row a unit")
        elif name == "serial":
            self._seen[text] = line
            trouble = self._check(text)
            if trouble:
                self._add(line, header, trouble)

    def _moment(self, line: int, text: str) -> datetime | None:
        if not text:
            return None
        try:
            found = datetime.fromisoformat(text)
        except ValueError:
            self._add(line, MEASURED, f"must be a date such as 2026-03-01T14:30 (ISO 8601); got {text[:40]!r}")
            return None
        return found if found.tzinfo else found.replace(tzinfo=UTC)

    def _number(self, line: int, column: MappedColumn, fields: list[str]) -> float | None:
        text = fields[self._places[column]].strip()
        if not text:
            return None
        # In a file with semicolons a comma in a number is the decimal sign.
        decimal_comma = self._separator != "," and text.count(",") == 1 and "." not in text
        plain = text.replace(",", ".") if decimal_comma else text
        try:
            value = parse_quantity(f"{plain} {column.unit}", self._dimension(column))
        except QuantityError:
            self._add(line, column.header, f"must be a number (in {column.unit or '1'}); got {text[:40]!r}")
            return None
        if abs(float(plain)) >= OVERLOAD or (column.uncertainty and value < 0.0):
            self._add(line, column.header, f"is an overload or negative, no reading; got {text[:40]!r}")
            return None
        return value

    def _dimension(self, column: MappedColumn) -> str:
        return _symbol(column.field, self._how.unit_symbols) or "1"

    def _values_of(self, line: int, numbers: Mapping[MappedColumn, float | None]) -> tuple[Imported, ...]:
        temperature = next((value for each, value in numbers.items() if each.field == TEMPERATURE), None)
        found = []
        for column in self._values:
            value = numbers[column]
            if value is None or column.field == TEMPERATURE:
                continue
            doubt = self._doubts.get(column.field)
            u95 = None if doubt is None else numbers[doubt]
            if u95 is None and column.field in self._how.relative_u95:
                u95 = self._how.relative_u95[column.field] * abs(value)
            terms = () if u95 is None else (Term("as the source states it", u95 / _EXPECTED),)
            if column.field == RAW_RESISTANCE:
                at_20 = self._at_20(line, value, temperature, terms)
                found += [] if at_20 is None else [at_20]
            else:
                found.append(Imported(column.field, self._dimension(column), value, terms))
        return tuple(found)

    def _at_20(
        self, line: int, resistance_ohm: float, temperature_degc: float | None, terms: tuple[Term, ...]
    ) -> Imported | None:
        """R20 = R (k + 20)/(k + T), IEC 60034-1, 8.6.2; T by its row, or anywhere within the span (rectangular)."""
        span, k = self._how.span, self._how.winding_constant_k
        if temperature_degc is not None:
            half_k, name = self._how.within_k, "temperature, as read"
        elif span is not None:
            temperature_degc = (span.low_degc + span.high_degc) / 2
            half_k, name = (span.high_degc - span.low_degc) / 2, "temperature, somewhere within the span"
            if half_k == 0.0:
                half_k, name = self._how.within_k, "temperature, as stated"
        else:
            self._add(line, TEMPERATURE, "is empty, and no span is stated (--temperature); R has no R20 then")
            return None
        if not -60.0 < temperature_degc < 200.0:
            self._add(line, TEMPERATURE, f"{temperature_degc:g} degC is no temperature of a workshop")
            return None
        value = resistance_ohm * (k + 20.0) / (k + temperature_degc)
        per_kelvin = abs(value) / (k + temperature_degc)
        scaled = tuple(Term(each.name, each.standard_uncertainty * abs(value / resistance_ohm)) for each in terms)
        width = Term(name, half_k * per_kelvin / math.sqrt(3.0), shape=Shape.RECTANGULAR)
        return Imported("R20", "ohm", value, (width, *scaled))

    def _add(self, line: int, key: str, message: str) -> None:
        self._bad.append(Mistake(self._file, line, key, message))


def _mapped(text: str, unit_symbols: Mapping[str, str]) -> MappedColumn:
    header, equals, said = text.rpartition("=")
    match = _FIELD.fullmatch(said.strip())
    if not equals or not header.strip() or match is None or bool(match[1]) != bool(match[3]):
        raise QuantityError("must read HEADER=FIELD or 'HEADER=FIELD UNIT', such as 'R_ohm=R20' or 'L=L uH'")
    name, unit = match[2], match[4] or match[5] or ""
    if name in _TEXTS:
        if unit or match[1]:
            raise QuantityError(f"{name} is a text and has no unit")
        return MappedColumn(header.strip(), name, "")
    symbol = _symbol(name, unit_symbols)
    if symbol is None:
        known = ", ".join((*_TEXTS, TEMPERATURE, RAW_RESISTANCE, *unit_symbols))
        raise QuantityError(f"{name[:40]!r} is no field; there are {known}")
    return MappedColumn(header.strip(), name, _unit(header, unit, symbol), bool(match[1]))


def _unit(header: str, said: str, symbol: str) -> str:
    """Return the unit of a column: as said, else as its header says; must be one of `symbol`."""
    if symbol == Dimension.NUMBER:
        return ""
    found = _HEADER_UNIT.fullmatch(header)
    unit = said or next((each for each in (found.groups() if found else ()) if each), "")
    unit = _SPELLINGS.get(unit, unit)
    if not unit:
        raise QuantityError(f"needs its unit, in the header or behind the field: '{header.strip()}=... {symbol}'")
    try:
        parse_quantity(f"1 {unit}", symbol)
    except QuantityError as error:
        raise QuantityError(f"the unit {unit!r} does not serve: {error}") from error
    return unit


def _symbol(name: str, unit_symbols: Mapping[str, str]) -> str | None:
    if name == TEMPERATURE:
        return Dimension.TEMPERATURE.value
    return Dimension.RESISTANCE.value if name == RAW_RESISTANCE else unit_symbols.get(name)


def _places(
    header: list[str], line: int, file: str, columns: Sequence[MappedColumn]
) -> tuple[dict[MappedColumn, int], list[Mistake]]:
    found = [each.strip().lower() for each in header]
    places, mistakes = dict[MappedColumn, int](), list[Mistake]()
    for column in columns:
        count = found.count(column.header.lower())
        if count == 1:
            places[column] = found.index(column.header.lower())
        else:
            said = f"stands {count} times in the header line" if count else "is no column"
            listed = ", ".join(repr(each.strip()) for each in header)
            mistakes.append(Mistake(file, line, column.header, f"{said}; the file has {listed}"))
    return places, mistakes
