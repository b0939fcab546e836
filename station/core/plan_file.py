"""Makes a plan from its text, or says everything that is wrong with it."""

import hashlib
import math
import re

from station.core.bin_check import find_bin_mistakes
from station.core.characteristics import yields
from station.core.file_reader import Mistakes, Table, did_you_mean, read_file
from station.core.guard_text import parse_guard
from station.core.intervals import parse_interval
from station.core.plan import (
    Bin,
    BinFor,
    Characteristic,
    CoilDesign,
    FrequencyKind,
    Guard,
    Interval,
    MethodStep,
    Plan,
)
from station.core.plan_checks import check_coil, check_drive, check_guards, check_steps
from station.core.plan_methods import read_steps
from station.core.plan_panel import read_panel
from station.core.plan_sorting import read_sets, read_trays
from station.core.quantity import Dimension, format_quantity
from station.core.serial_pattern import SCAN_LENGTH_LIMIT, pattern_mistakes
from station.errors import PlanError

_SHAPES = ("circle", "square", "polygon")
_CHECK_DIGITS = ("", "iso7064-mod37-2", "luhn")
_NOT_DUE = "not due"
_A_NAME = re.compile(r"R20|(L|Rs|Q)(@[0-9.]+kHz)?|B@[0-9.]+mm|rise@[0-9.]+[VA]")
_FAIL_NUMBER, _HOLD_NUMBER = 90, 99


def parse_plan(text: str, file_name: str) -> Plan:
    """Return the plan that a TOML text states. `file_name` is for the messages.

    Bins that the file leaves out are made: `1 pass` if none takes PASS, `90 reject` for units that fail, `99
    hold` for everything else (the next free numbers if those are taken). Raises PlanError with all mistakes,
    in order of line; text that is no TOML has one.
    """
    root, mistakes = read_file(text, file_name)
    if mistakes.found:
        raise PlanError(mistakes.found)
    plan = _read(root, mistakes, text)
    if mistakes.found:
        raise PlanError(mistakes.found)
    return plan


def _read(root: Table, mistakes: Mistakes, text: str) -> Plan:
    part, title = root.text("part", limit=40), root.text("title", default="")
    pattern, check_digit = root.text("serial"), root.choice("check_digit", _CHECK_DIGITS, default="")
    for message in pattern_mistakes(pattern, check_digit=check_digit) if pattern else []:
        root.mistake("serial", message)
    coil = _read_coil(root)
    if not mistakes.within("coil"):
        check_coil(coil, mistakes)
    tables = root.tables("measure", required=True)
    steps = read_steps(tables)
    if not mistakes.within("measure"):
        check_steps(steps, mistakes)
    steps_stand = not mistakes.within("measure")
    characteristics = _read_characteristics(root.table("characteristic", required=True), steps, steps_stand)
    if steps_stand and not mistakes.within("coil"):
        check_drive(coil, steps, characteristics, mistakes)
    check_guards(characteristics, mistakes)
    _check_panel(root, pattern, steps)
    bins = _read_bins(root.tables("bin"), steps, characteristics)
    plan = Plan(
        part=part,
        title=title,
        serial_pattern=pattern,
        serial_length_limit=root.integer("serial_length", default=64, lower=1, upper=SCAN_LENGTH_LIMIT),
        check_digit=check_digit,
        coil=coil,
        steps=steps,
        characteristics=characteristics,
        bins=bins,
        winding_constant_k=root.number("winding_constant", default=234.5, lower=200.0, upper=260.0),
        invalid_runs_before_held=root.integer("invalid_runs_before_held", default=3, lower=1, upper=20),
        retest_agreement_fraction=root.quantity(
            "retest_agreement", Dimension.FRACTION, default=0.01, lower=0.0, upper=0.5
        ),
        fixture=root.text("fixture", default="", limit=120),
        sets=read_sets(root, steps if steps_stand else ()),
        trays=read_trays(root),
        panel=read_panel(root, "" if mistakes.within("serial") else pattern),
        source_text=text,
        text_hash=hashlib.sha256(text.encode()).hexdigest(),
    )
    root.close()
    # Bins can be checked only against limits and methods that stand.
    if not any(mistakes.within(section) for section in ("measure", "characteristic", "bin")):
        for wrong in find_bin_mistakes(steps, characteristics, bins):
            mistakes.add(("bin",) if wrong.index is None else ("bin", wrong.index), wrong.message)
    return plan


def _check_panel(root: Table, pattern: str, steps: tuple[MethodStep, ...]) -> None:
    per_panel = any(each.frequency.kind is FrequencyKind.PER_PANEL for each in steps)
    if per_panel and "(?P<panel>" not in pattern:
        root.mistake("serial", "must name the panel, (?P<panel>...): a method is due by panel")


def _read_coil(root: Table) -> CoilDesign:
    table = root.table("coil", required=True)
    metre = Dimension.LENGTH
    coil = CoilDesign(
        shape=table.choice("shape", _SHAPES),
        layers=table.integer("layers", lower=1, upper=32),
        turns_per_layer=table.number("turns_per_layer", lower=0.25, upper=1000.0),
        inner_diameter_m=table.quantity("inner_diameter", metre, lower=1e-5, upper=0.5),
        track_width_m=table.quantity("track_width", metre, lower=1e-6, upper=0.02),
        track_gap_m=table.quantity("track_gap", metre, lower=1e-6, upper=0.02),
        copper_m=table.quantity("copper", metre, lower=1e-7, upper=1e-3),
        layer_gap_m=table.quantity("layer_gap", metre, default=0.0, lower=1e-6, upper=5e-3),
        sides=table.integer("sides", default=0, lower=3, upper=100),
        lead_resistance_ohm=table.quantity(
            "lead_resistance", Dimension.RESISTANCE, default=0.0, lower=0.0, upper=1e3
        ),
    )
    table.close()
    return coil


def _read_characteristics(
    table: Table, steps: tuple[MethodStep, ...], steps_stand: bool
) -> tuple[Characteristic, ...]:
    known = {name: (unit, step.method) for step in steps for name, unit in yields(step)}
    found: dict[str, Characteristic] = {}
    for name in table.names():
        if name not in known:
            # A method that could not be read may be the one that gives it: one mistake is not told twice.
            if steps_stand or not _A_NAME.fullmatch(name):
                given = f"{did_you_mean(name, known)}; given: {', '.join(known)}"
                table.mistake(name, f"no method of this plan gives it{given}")
            continue
        unit, method = known[name]
        found[name] = _read_characteristic(table.table(name), name, unit, method)
    if not table.names() and known:
        table.mistake("", "must state limits of one characteristic at least, such as [characteristic.R20]")
    return tuple(found[name] for name in known if name in found)


def _read_characteristic(table: Table, name: str, unit: str, method: str) -> Characteristic:
    dimension = Dimension(unit)
    lower = table.optional_quantity("lower", dimension)
    upper = table.optional_quantity("upper", dimension)
    if lower is None and upper is None:
        table.mistake("", "must have `lower` or `upper`, or both")
    if lower is not None and upper is not None and not lower < upper and not math.isnan(lower + upper):
        said = format_quantity(lower, unit, digits=None)
        table.mistake(
            "upper", f"must be above lower ({said}); got {format_quantity(upper, unit, digits=None)}"
        )
    characteristic = Characteristic(
        name=name,
        unit_symbol=unit,
        method=method,
        lower=lower,
        upper=upper,
        lower_included=table.flag("lower_included", default=True),
        upper_included=table.flag("upper_included", default=True),
        guard=_read_guard(table, unit),
    )
    table.close()
    return characteristic


def _read_guard(table: Table, unit: str) -> Guard:
    try:
        return parse_guard(table.text("guard", default="U95"), unit)
    except ValueError as error:
        table.mistake("guard", str(error))
        return Guard()


def _read_bins(
    tables: list[Table], steps: tuple[MethodStep, ...], characteristics: tuple[Characteristic, ...]
) -> tuple[Bin, ...]:
    bins: list[Bin] = []
    for table in tables:
        number = table.integer("number", lower=1, upper=999)
        name = table.text("name", limit=40)
        if any(each.number == number for each in bins):
            table.mistake("number", f"{number} is taken by another bin; each needs its own")
        if name and any(each.name == name for each in bins):
            table.mistake("name", f"{name!r} is taken by another bin; each needs its own")
        takes = BinFor(table.choice("takes", [each.value for each in BinFor], default="PASS"))
        needs = _read_needs(table.table("needs"), steps, characteristics)
        table.close()
        bins.append(Bin(number, name, takes, needs))
    return _with_defaults(bins)


def _with_defaults(bins: list[Bin]) -> tuple[Bin, ...]:
    taken = {each.number for each in bins}
    if not any(each.takes is BinFor.PASS for each in bins):
        bins.append(Bin(_free(1, taken), "pass"))
    if not any(each.takes is BinFor.FAIL and not each.needs for each in bins):
        bins.append(Bin(_free(_FAIL_NUMBER, taken), "reject", BinFor.FAIL))
    if not any(each.takes is BinFor.HOLD for each in bins):
        bins.append(Bin(_free(_HOLD_NUMBER, taken), "hold", BinFor.HOLD))
    return tuple(bins)


def _free(number: int, taken: set[int]) -> int:
    while number in taken:
        number += 1
    taken.add(number)
    return number


def _read_needs(
    table: Table, steps: tuple[MethodStep, ...], characteristics: tuple[Characteristic, ...]
) -> tuple[tuple[str, Interval | None], ...]:
    limited = {each.name: each for each in characteristics}
    always_due = {
        name for step in steps if step.frequency.kind is FrequencyKind.EVERY for name, _ in yields(step)
    }
    needs: list[tuple[str, Interval | None]] = []
    for name in table.names():
        text = table.text(name)
        if name not in limited:
            hint = did_you_mean(name, limited)
            table.mistake(name, f"has no limits in this plan{hint}; state them in [characteristic.{name}]")
        elif text == _NOT_DUE:
            if name in always_due:
                table.mistake(name, "is due for every unit, so it can't be needed as 'not due'")
            needs.append((name, None))
        elif text:
            try:
                needs.append((name, parse_interval(text, limited[name].unit_symbol)))
            except ValueError as error:
                table.mistake(name, str(error))
    return tuple(needs)
