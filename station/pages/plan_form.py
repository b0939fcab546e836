"""The form of a plan: what it shows of a text, and what somebody has put into it."""

from collections.abc import Mapping
from dataclasses import dataclass

from station.core.frequency import frequency_words
from station.core.plan import Bin, BinFor, Plan
from station.core.plan_draft import Mark, proposed_marks
from station.core.plan_edit import BinTexts, LimitTexts, PlanForm, bin_texts, limit_texts

EMPTY_BIN = BinTexts("", "", BinFor.PASS.value, "")
_LONGEST = 100
"""Rows that a form is read for."""


@dataclass(frozen=True, slots=True)
class ShownForm:
    """What the form shows: of the text, or as it was sent if that could not be put in."""

    limits: dict[str, LimitTexts]
    frequencies: tuple[tuple[str, str], ...]
    """Method with what tells it from its like, and its frequency."""
    bins: tuple[BinTexts, ...]
    by_itself: tuple[Bin, ...]
    """Bins that the text leaves out."""
    marks: tuple[Mark, ...]


def shown_form(plan: Plan, sent: PlanForm | None) -> ShownForm:
    """Return what the form of a plan shows, with what was sent in its place if given."""
    written = bin_texts(plan)
    limits = {each.name: limit_texts(each) for each in plan.characteristics}
    words = {i: frequency_words(each.frequency) for i, each in enumerate(plan.steps)}
    bins = written
    if sent is not None:
        limits |= {name: texts for name, texts in sent.limits.items() if name in limits}
        words |= {i: said for i, said in sent.frequencies.items() if i in words}
        bins = tuple(each for each in sent.bins if each != EMPTY_BIN) or written
    return ShownForm(
        limits,
        tuple((_name(plan, i), words[i]) for i in range(len(plan.steps))),
        (*bins, EMPTY_BIN),
        plan.bins[len(written) :],
        proposed_marks(plan.source_text),
    )


def _name(plan: Plan, place: int) -> str:
    step = plan.steps[place]
    suffix = getattr(step, "suffix", "")
    return f"{step.method} {suffix}".strip()


def read_form(form: Mapping[str, str]) -> PlanForm:
    """Return what was put into the form; fields that are not there stay as they are in the text."""
    limits = {
        name: LimitTexts(form[key], form.get(f"upper:{name}", ""), form.get(f"guard:{name}", ""))
        for key in form
        if key.startswith("lower:") and (name := key.removeprefix("lower:"))
    }
    frequencies = {i: form[f"frequency:{i}"] for i in range(_LONGEST) if f"frequency:{i}" in form}
    bins = tuple(
        BinTexts(*(form.get(f"bin:{i}:{part}", "") for part in ("number", "name", "takes", "needs")))
        for i in range(_LONGEST)
        if f"bin:{i}:number" in form
    )
    return PlanForm(limits, frequencies, bins)
