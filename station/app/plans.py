"""Plans that runs may use: released ones from the records, or a file for engineering."""

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from station.app.files import read_plan
from station.core.plan import FieldStep, Plan
from station.core.plan_file import parse_plan
from station.errors import PlanError
from station.inspection import PlanInUse
from station.methods.table import can_carry_out
from station.records import Records


def plans_in_use(records: Records, plan_file: Path | None) -> tuple[PlanInUse, ...]:
    """Return the latest released revision of each part, or the plan of a file.

    A file counts as released if this very text is.
    """
    if plan_file is not None:
        plan = read_plan(plan_file)
        require_measurable(plan)
        return (_in_use(plan, released=records.plan_revision(plan.text_hash) is not None),)
    return tuple(
        _released(each.source_text, f"{each.part} revision {each.revision}") for each in records.released_plans()
    )


def require_measurable(plan: Plan) -> None:
    """Raise `PlanError` if this version can't measure one of the plan's methods."""
    missing = [each.method for each in plan.steps if not can_carry_out(each)]
    if missing:
        raise PlanError(
            f"plan {plan.part}: this version can't measure {', '.join(missing)}. Leave it out of the plan."
        )


@lru_cache(maxsize=32)
def _released(source_text: str, name: str) -> PlanInUse:
    """A released revision never changes: each scan asks for it, and it is read once."""
    return _in_use(parse_plan(source_text, name), released=True)


def _in_use(plan: Plan, *, released: bool) -> PlanInUse:
    return PlanInUse(plan, released, design_field_of(plan))


def design_field_of(plan: Plan) -> Callable[[float, float], float] | None:
    """Return the drawing's field in T/A at (height_m, lateral_m); None if no method needs it."""
    if not any(isinstance(each, FieldStep) for each in plan.steps):
        return None
    from station.app.drawing import axial_field

    return axial_field(plan.coil)
