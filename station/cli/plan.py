"""`coilgate plan`: check, release, show control plans."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.output import emit, table
from station.cli.plan_draft import accept, draft

if TYPE_CHECKING:
    from station.core.plan import Plan
    from station.records.views import PlanRevision


@click.group()
def plan() -> None:
    """Control plans: check a file, release it, show the released revisions."""


plan.add_command(draft)
plan.add_command(accept)


@plan.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def check(file: Path, as_json: bool) -> None:
    """Check a plan file; every mistake is told at once, with its line.

    Example: coilgate plan check IS-20.toml
    """
    from station.app.files import read_plan
    from station.app.plans import require_measurable
    from station.core.frequency import frequency_words
    from station.errors import PlanError

    try:
        found = read_plan(file)
        require_measurable(found)
    except PlanError as error:
        if as_json:
            emit({"file": str(file), "sound": False, "mistakes": [_mistake(each) for each in error.mistakes]})
        raise
    if as_json:
        fact = {"file": str(file), "sound": True, "part": found.part, "plan_hash": found.text_hash}
        emit(fact | _sorting_fact(found) | {"look": [each.removeprefix("look: ") for each in _looks(found)]})
        return
    click.echo(f"{file}: sound. Part {found.part}, {found.title}.")
    rows = [(each.method, frequency_words(each.frequency)) for each in found.steps]
    click.echo(table(("method", "frequency"), rows))
    for line in _sorting_lines(found):
        click.echo(line)
    for line in _cautions(found):
        click.echo(line)


def _cautions(found: "Plan") -> list[str]:
    """What doesn't make a plan unsound but should be looked at: limits that the drawing misses, proposed numbers."""
    from station.core.plan_draft import proposed_marks

    lines = _looks(found)
    marks = len(proposed_marks(found.source_text))
    if marks:
        lines.append(f"{marks} lines are only proposed: coilgate plan accept FILE --who EN-02")
    return lines


def _looks(found: "Plan") -> list[str]:
    from station.app.drawn_shelf import looks

    return [f"look: {words}" for words in looks(found)]


def _plan_of(revision: "PlanRevision") -> "Plan | None":
    """The plan of a revision; None for a text that only the version that released it could read."""
    from station.core.plan_file import parse_plan
    from station.errors import PlanError

    try:
        return parse_plan(revision.source_text, revision.part)
    except PlanError:
        return None


def _limit_lines(plan: "Plan | None") -> list[str]:
    """Limits with their guard band, a line a characteristic."""
    from station.core.plan_edit import limit_texts

    texts = {} if plan is None else {each.name: limit_texts(each) for each in plan.characteristics}
    return [
        f"{name}: {each.lower or 'no lower limit'} to {each.upper or 'no upper limit'}, guard band {each.guard}"
        for name, each in texts.items()
    ]


def _limits_fact(plan: "Plan | None") -> dict[str, object] | None:
    if plan is None:
        return None
    return {
        each.name: {
            "unit": each.unit_symbol,
            "lower": each.lower,
            "upper": each.upper,
            "guard_factor": None if each.guard.by_risk else each.guard.factor,
            "largest_specific_risk": each.guard.specific_risk,
            "largest_global_risk": each.guard.global_risk,
            "process_mean": each.guard.process_mean,
            "process_deviation": each.guard.process_deviation,
        }
        for each in plan.characteristics
    }


def _sorting_lines(plan: "Plan | None") -> list[str]:
    """What comes after measuring, in words; nothing if the plan says nothing of it."""
    lines: list[str] = []
    if plan is None:
        return lines
    if plan.sets is not None:
        agree = ", ".join(f"{name} within {text}" for name, text in plan.sets.tolerances)
        lines.append(f"sets of {plan.sets.size}, {agree}")
    if plan.trays is not None:
        lines.append(f"trays of {plan.trays.pockets} pockets")
    return lines


def _sorting_fact(plan: "Plan | None") -> dict[str, object]:
    sets, trays = (None, None) if plan is None else (plan.sets, plan.trays)
    return {
        "sets": None if sets is None else {"size": sets.size, "tolerance": dict(sets.tolerances)},
        "trays": None if trays is None else {"pockets": trays.pockets},
    }


def _mistake(mistake: object) -> dict[str, object]:
    return {name: getattr(mistake, name) for name in ("file", "line", "key", "message")}


@plan.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--who", required=True, help="Badge code of the engineer.")
@click.option("--why", required=True, help="What changed, in words, for the record.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def release(ctx: click.Context, file: Path, who: str, why: str, as_json: bool) -> None:
    """Release a plan: from now on this revision is what runs. It never changes again.

    Example: coilgate plan release IS-20.toml --who EN-02 --why "first release"
    """
    from station.app.files import read_plan
    from station.app.plans import require_measurable
    from station.cli.opening import open_station

    found = read_plan(file)
    require_measurable(found)
    with open_station(ctx) as station:
        revision = station.records.release_plan(found, who=who, why=why, utc=station.clock.utc_now())
    if as_json:
        emit({"part": revision.part, "revision": revision.revision, "plan_hash": revision.plan_hash})
        return
    click.echo(f"{revision.part} revision {revision.revision} is released ({revision.plan_hash[:12]}).")
    for line in _looks(found):
        click.echo(line, err=True)


@plan.command()
@click.argument("part", required=False)
@click.option("--text", is_flag=True, help="The whole text of the newest revision, as released.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def show(ctx: click.Context, part: str | None, text: bool, as_json: bool) -> None:
    """Show the released revisions, newest last.

    Example: coilgate plan show IS-20 --text
    """
    from station.cli.opening import open_station
    from station.errors import RecordError

    with open_station(ctx) as station:
        every = station.records.released_plans(every_revision=True)
    revisions = [each for each in every if part in (None, each.part)]
    if not revisions:
        which = f" for {part}" if part else ""
        raise RecordError(f"no released plan{which}. Release one: coilgate plan release FILE")
    if text:
        click.echo(revisions[-1].source_text, nl=False)
        return
    if as_json:
        for each in revisions:
            emit(
                {
                    "part": each.part,
                    "revision": each.revision,
                    "title": each.title,
                    "plan_hash": each.plan_hash,
                    "released_utc": each.released_utc.isoformat(),
                    "who": each.who,
                    "why": each.why,
                    **_sorting_fact(_plan_of(each)),
                    "limits": _limits_fact(_plan_of(each)),
                }
            )
        return
    rows = [
        (each.part, str(each.revision), each.released_utc.isoformat(" ", "minutes"), each.who, each.why)
        for each in revisions
    ]
    click.echo(table(("part", "revision", "released (UTC)", "who", "why"), rows))
    for each in {each.part: each for each in revisions}.values():
        for line in (*_limit_lines(_plan_of(each)), *_sorting_lines(_plan_of(each))):
            click.echo(f"{each.part} revision {each.revision}: {line}")
