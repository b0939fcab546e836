"""Gauge studies that were made on benches, as text and as facts."""

from collections.abc import Sequence

from station.app.study_begin import words_of_study
from station.app.study_results import FinishedStudy, StudyResult, in_readable_unit, words_of_repeats
from station.cli.gauge_facts import Fact, crossed_fact, type1_fact
from station.cli.gauge_more_text import type1_text
from station.cli.gauge_text import crossed_text
from station.cli.output import table
from station.quality.study_state import StudySetup, StudyState
from station.reports.gauge_words import number, pair


def studies_table(found: Sequence[StudyState]) -> str:
    """Return the studies on record, one a line."""
    rows = [
        (
            each.setup.name,
            each.setup.opened_utc.isoformat(" ", "minutes")[:16],
            each.setup.kind.value,
            words_of_study(each),
            "all" if each.complete else f"{len(each.taken)} of {len(each.steps)}",
            each.setup.why,
        )
        for each in found
    ]
    return table(("study", "opened (UTC)", "kind", "of", "readings", "why"), rows)


def study_text(study: FinishedStudy) -> str:
    """Return a finished study: what it was of, then each characteristic."""
    setup, state = study.setup, study.state
    repeats = words_of_repeats(state)
    head = [
        f"Study {setup.name}, {setup.kind.value}, opened {setup.opened_utc:%Y-%m-%d %H:%M} UTC by {setup.who}"
        f"{f' ({setup.why})' if setup.why else ''}: {words_of_study(state)}.",
        f"The bench then: {setup.bench_state}; fixture {setup.fixture_identity}. Plan {setup.part} "
        f"{setup.plan_hash[:12]}. Order of loading by seed {setup.seed}.",
        *([f"{repeats}."] if repeats else []),
    ]
    return "\n\n".join(["\n".join(head), *(_result_text(setup, each) for each in study.results)])


def _result_text(setup: StudySetup, result: StudyResult) -> str:
    unit, shown = in_readable_unit(setup, result)
    title = f"{setup.name}, {shown.studied.name} in {unit}"
    if shown.crossed is not None:
        return crossed_text(shown.crossed, title)
    if shown.type1 is not None:
        return f"{type1_text(shown.type1, shown.system, title)}\nThe value is {shown.studied.assigned_origin}."
    if shown.bias is not None:
        return (
            f"{title}: bias {number(shown.bias.bias)} ({pair(shown.bias.interval)}), standard deviation "
            f"{number(shown.bias.standard_deviation)}. Without limits in the plan there is no Cg."
        )
    return f"{title}: {shown.trouble}"


def study_fact(state: StudyState, results: Sequence[StudyResult] = ()) -> Fact:
    """Return a study as a fact, with its results if it is finished; values SI, unscaled."""
    setup = state.setup
    fact: Fact = {
        "study": setup.name,
        "kind": setup.kind.value,
        "opened_utc": setup.opened_utc.isoformat(),
        "who": setup.who,
        "why": setup.why,
        "bench": setup.bench,
        "nest": setup.nest,
        "fixture": setup.fixture_identity,
        "bench_state": setup.bench_state,
        "simulated": setup.simulated,
        "part": setup.part,
        "plan_hash": setup.plan_hash,
        "method": setup.method,
        "characteristics": [each.name for each in setup.characteristics],
        "units": list(setup.units),
        "appraisers": list(setup.appraisers),
        "trials": setup.trials,
        "seed": setup.seed,
        "readings": len(state.steps),
        "taken": len(state.taken),
        "repeated": [
            {"unit": each.step.part, "appraiser": each.step.appraiser, "run": each.run_id, "cause": each.code}
            for each in state.not_taken
        ],
        "complete": state.complete,
    }
    return fact | ({"results": {each.studied.name: _result_fact(each) for each in results}} if results else {})


def _result_fact(result: StudyResult) -> Fact:
    studied = result.studied
    fact: Fact = {"unit_symbol": studied.unit_symbol, "lower": studied.lower, "upper": studied.upper}
    if studied.assigned is not None:
        fact |= {
            "assigned": studied.assigned,
            "assigned_expanded_uncertainty": studied.assigned_uncertainty,
            "assigned_origin": studied.assigned_origin,
        }
    if result.crossed is not None:
        return fact | crossed_fact(result.crossed)
    if result.type1 is not None:
        return fact | type1_fact(result.type1, result.system)
    if result.bias is not None:
        return fact | {"bias": result.bias.bias, "standard_deviation": result.bias.standard_deviation}
    return fact | {"trouble": result.trouble}
