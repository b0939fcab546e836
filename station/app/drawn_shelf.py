"""A simulated shelf of one's own coil: the lot that a board maker could make of a plan's drawing, reference units too.

Before there is a board or a fixture, the plan can be tried from scan to bin. What the drawing should read comes from
the coil model; how units spread is the simulation's own statement. Nothing of it is measured.
"""

import re
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from sim.design import DesignValues, design_values
from station.app.drawing import geometry_of
from station.app.drawn_heat import drawn_rises
from station.coil import GeometryError
from station.coil.geometry import CoilGeometry
from station.core.characteristics import field_name, yields
from station.core.plan import Characteristic, FieldStep, Plan
from station.core.quantity import format_quantity
from station.core.verification import AssignedValue, ReferenceKind, ReferenceUnit
from station.errors import BenchError

FIRST_PLACE = "01-A01"
"""Panel, row and column of the first unit of a simulated lot."""
NEAR_THE_END = 0.1
"""Good reference units lie so far from either end of the lot's R20, as a share of its span."""
SPREAD = 0.15
"""Span of a simulated lot's R20 about the drawing's, relative, to either side."""
ASSIGNED = 1e-3
_RELATIVE = {"B": 1e-2, "rise": 0.022, "surface": 0.022, "Rth": 0.02, "tau": 0.1, "drive": 0.01}
"""Expanded uncertainties of assigned values, relative: about those of the shipped invented reference units."""


def drawn_shelf(plan: Plan, *, lot: str = "L2641") -> tuple[CoilGeometry, tuple[ReferenceUnit, ...]]:
    """Return what a simulated bench needs to have a plan's own coils on its shelf.

    Raises:
        BenchError: the simulation can't make this coil, or no serial of its lot is one of this plan.
    """
    if plan.coil.shape != "circle":
        raise BenchError(f"{plan.part}: a simulated bench makes round coils only; this one is a {plan.coil.shape}.")
    first = f"{lot}-{FIRST_PLACE}"
    if re.fullmatch(plan.serial_pattern, first) is None:
        raise BenchError(
            f"{plan.part}: serials of the simulated lot read {first}, which the plan's `serial` does not take. "
            "Name another lot (--lot), or try it with the pattern of fixtures/plans/IS-20.toml."
        )
    geometry = geometry_of(plan.coil)
    return geometry, _references(plan, design_values(geometry))


def outside_limits(plan: Plan) -> tuple[str, ...]:
    """Return, in words, what the drawing should read outside the plan's own limits: most units would fail there."""
    values = _drawn_values(plan, design_values(geometry_of(plan.coil)))
    found = []
    for each in plan.characteristics:
        value = values.get(each.name)
        if value is not None and not _within(each, value):
            said = format_quantity(value, each.unit_symbol, digits=4)
            found.append(f"{each.name} of the drawing should read {said}, outside its limits")
    return tuple(found)


def looks(plan: Plan) -> tuple[str, ...]:
    """Return what to look at before a plan is released, as `outside_limits`; nothing for a drawing of no sound coil.

    It refuses nothing: limits may be meant so, for a process that is known to be off its drawing.
    """
    try:
        return outside_limits(plan)
    except GeometryError:
        return ()


def references_folder(home: Path, part: str) -> Path:
    """Return where the reference units' files of a simulated shelf are kept."""
    return home / "simulated-references" / _safe(part)


def write_references(units: tuple[ReferenceUnit, ...], folder: Path) -> Path:
    """Write a file for each reference unit; return the folder.

    Raises:
        BenchError: it can't be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for each in units:
            (folder / f"{_safe(each.serial)}.toml").write_text("\n".join(_lines(each)) + "\n", encoding="utf-8")
    except OSError as error:
        raise BenchError(f"{folder}: can't be written: {error.strerror or error}.") from error
    return folder


def forget_references(home: Path, part: str) -> None:
    """Remove the files of an earlier simulated shelf, so that the shipped reference units of the part serve again."""
    shutil.rmtree(references_folder(home, part), ignore_errors=True)


def _safe(name: str) -> str:
    return re.sub(r"[^\w.-]", "_", name)


def _within(limited: Characteristic, value: float) -> bool:
    above = limited.lower is None or value >= limited.lower
    return above and (limited.upper is None or value <= limited.upper)


def _drawn_values(plan: Plan, drawn: DesignValues) -> dict[str, float]:
    heights = [height for step in plan.steps if isinstance(step, FieldStep) for height in step.heights_m]
    fields = {field_name(each): drawn.field_per_ampere(each, 0.0) for each in heights}
    return {"R20": drawn.resistance_20_ohm, "L": drawn.inductance_h} | fields


def _references(plan: Plan, drawn: DesignValues) -> tuple[ReferenceUnit, ...]:
    """Two good units near both ends of R20, one of assigned rises where the plan heats, a track that is cut through."""
    values = _drawn_values(plan, drawn)
    lowest, highest = (drawn.resistance_20_ohm * (1.0 + sign * SPREAD) for sign in (-1.0, 1.0))
    limits = plan.characteristic("R20")
    if limits is not None and limits.lower is not None and limits.upper is not None:
        lowest, highest = limits.lower, limits.upper
    room = NEAR_THE_END * (highest - lowest)
    good = [
        ReferenceUnit(f"{plan.part}-REF-{name}", plan.part, ReferenceKind.GOOD, _assigned(plan, values | {"R20": ohm}))
        for name, ohm in (("low-R", lowest + room), ("high-R", highest - room))
    ]
    middle = (lowest + highest) / 2.0
    rises = drawn_rises(plan, middle)
    if rises:
        known = _assigned(plan, values | {"R20": middle} | rises)
        good.append(ReferenceUnit(f"{plan.part}-REF-thermal", plan.part, ReferenceKind.GOOD, known))
    return (*good, ReferenceUnit(f"{plan.part}-REF-open", plan.part, ReferenceKind.OPEN, ()))


def _assigned(plan: Plan, values: dict[str, float]) -> tuple[AssignedValue, ...]:
    """Values of what the plan judges, and of every rise: a reference unit is heated only if it has one assigned."""
    units = {name: unit for step in plan.steps for name, unit in yields(step) if name.startswith("rise@")}
    units |= {each.name: each.unit_symbol for each in plan.characteristics}
    today = datetime.now(UTC).date().isoformat()
    return tuple(
        AssignedValue(
            name, units[name], value, value * _RELATIVE.get(name.partition("@")[0], ASSIGNED), today,
            "the coil model, for a simulated bench",
        )
        for name, value in values.items()
        if name in units
    )  # fmt: skip


def _lines(unit: ReferenceUnit) -> Iterator[str]:
    yield "# A reference unit of a simulated shelf, made from the plan's drawing: nothing real."
    yield f'serial = "{unit.serial}"'
    yield f'part = "{unit.part}"'
    yield f'kind = "{unit.kind}"'
    for each in unit.values:
        yield ""
        yield f'[assigned."{each.characteristic}"]'
        yield f'value = "{format_quantity(each.value, each.unit_symbol, digits=None)}"'
        uncertainty = format_quantity(each.expanded_uncertainty, each.unit_symbol, digits=None)
        yield f'expanded_uncertainty = "{uncertainty}"'
        yield f"assigned_on = {each.assigned_on}"
        yield f'assigned_by = "{each.assigned_by}"'
