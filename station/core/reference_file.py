"""Makes a reference unit from its text, or says everything that is wrong with it."""

from station.core.file_reader import Table, read_file
from station.core.quantity import Dimension
from station.core.verification import AssignedValue, ReferenceKind, ReferenceUnit
from station.errors import BenchError

KINDS = tuple(each.value for each in ReferenceKind)
FAILURES = ("below", "above", "open")
_UNITS = {
    "R20": "ohm",
    "Rs": "ohm",
    "L": "H",
    "Q": "1",
    "B": "T/A",
    "rise": "K",
    "surface": "K",
    "Rth": "K/W",
    "tau": "s",
    "drive": "V",
}
"""By what stands before the @ of a characteristic's name."""


def parse_reference_unit(text: str, file_name: str) -> ReferenceUnit:
    """Return the reference unit that a TOML text states. `file_name` is for the messages.

    A good one needs at least one assigned value, a known-defect one what it must fail for. Raises BenchError
    with all mistakes, in order of line.
    """
    root, mistakes = read_file(text, file_name)
    if not mistakes.found:
        unit = _read(root)
        if not mistakes.found:
            return unit
    raise BenchError(mistakes.found)


def _read(root: Table) -> ReferenceUnit:
    kind = root.choice("kind", KINDS)
    good = kind == ReferenceKind.GOOD
    values = root.table("assigned", required=good)
    unit = ReferenceUnit(
        serial=root.text("serial", limit=64),
        part=root.text("part", limit=40),
        kind=kind,
        values=tuple(_read_value(values, name) for name in values.names()),
        fails=_read_failures(root, kind),
        use_limit=root.optional_integer("use_limit", lower=1, upper=1_000_000),
    )
    if good and not unit.values:
        values.mistake("", "must state one value at least, such as [assigned.R20]")
    root.close()
    return unit


def _read_failures(root: Table, kind: str) -> tuple[tuple[str, str], ...]:
    if kind == ReferenceKind.GOOD:
        return ()
    table = root.table("fails", required=kind != ReferenceKind.OPEN)
    found = tuple((name, table.choice(name, FAILURES)) for name in table.names())
    for name, _ in found:
        if not _unit_of(name):
            table.mistake(name, _NO_CHARACTERISTIC)
    if kind == ReferenceKind.OPEN:
        return found or (("R20", "open"),)
    if "fails" in root and not found:
        table.mistake("", 'must state what it fails for, such as L = "below"')
    return found


_NO_CHARACTERISTIC = "is no characteristic; known are R20, L, Rs, Q, and such as B@2mm and rise@3V"


def _unit_of(name: str) -> str:
    return _UNITS.get(name.partition("@")[0], "")


def _read_value(values: Table, name: str) -> AssignedValue:
    unit_symbol = _unit_of(name)
    if not unit_symbol:
        values.mistake(name, _NO_CHARACTERISTIC)
        return AssignedValue(name, "", 0.0, 0.0, "", "")
    table = values.table(name)
    if name.startswith("drive@") and table.text("value", default="").rstrip().endswith("A"):
        unit_symbol = "A"  # a largest drive is in what the plan drives with
    dimension = Dimension(unit_symbol)
    assigned_on = table.day("assigned_on")
    if "assigned_on" not in table:
        table.mistake("assigned_on", "is missing; must be a date without quotes, such as 2026-09-01")
    value = AssignedValue(
        characteristic=name,
        unit_symbol=unit_symbol,
        value=table.quantity("value", dimension),
        expanded_uncertainty=table.quantity("expanded_uncertainty", dimension, lower=1e-30),
        assigned_on="" if assigned_on is None else assigned_on.isoformat(),
        assigned_by=table.text("assigned_by"),
        certificate=table.text("certificate", default="", limit=80),
        valid_until=table.day("valid_until"),
    )
    table.close()
    return value
