"""Revisions of a datasheet: put on record by somebody, as audit entries in the digest chain, and compared.

A revision keeps its figures as they were, with how well each was known: what changed is then said from the record,
whatever has been measured since.
"""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from station.app.facts import Fact
from station.errors import RecordError
from station.quality.figure_intervals import Known, interval_of_change
from station.records import Records
from station.records.views import AuditEntry
from station.reports.datasheet import Datasheet, Line
from station.reports.datasheet_changes import MORE, WITHIN, Change, Revision, Revisions
from station.reports.pictures import printed

ACTION = "record datasheet"
FIGURES = ("minimum", "typical", "maximum")
_FORMAT = 1


def subject_of(sheet: Datasheet) -> str:
    """Return what a sheet's revisions are filed under: simulated units never count as a revision of real ones."""
    return f"datasheet {sheet.name}{' (simulated)' if sheet.simulated else ''}"


def revisions_of(records: Records, sheet: Datasheet) -> Revisions:
    """Return where a sheet stands among the revisions on record: one of them, or a draft behind the last.

    Raises RecordError for revisions that a newer version recorded.
    """
    contents = _contents(records.audit_entries(subject=subject_of(sheet)))
    history = tuple(revision for revision, _ in contents)
    now = _content(sheet)
    if contents and contents[-1][1] == now:
        before = contents[-2][1] if len(contents) > 1 else None
        return Revisions(history[-1], history, () if before is None else _changes(before, now))
    return Revisions(None, history, _changes(contents[-1][1], now) if contents else ())


def record_revision(records: Records, sheet: Datasheet, *, who: str, why: str, utc: datetime) -> Revisions:
    """Put a sheet on record as the next revision; return where it stands now.

    Raises RecordError without who or why, or if nothing has changed since the last one.
    """
    if not who.strip() or not why.strip():
        raise RecordError("a datasheet is put on record by somebody, for a reason: say --who and --why.")
    now = _content(sheet)

    def make(before: tuple[AuditEntry, ...]) -> AuditEntry:
        contents = _contents(before)
        if contents and contents[-1][1] == now:
            raise RecordError(f"nothing has changed since revision {len(contents)}: there is nothing to record.")
        entry = {"format": _FORMAT, "revision": len(contents) + 1, "why": why, "content": now}
        return AuditEntry(utc, who, ACTION, subject_of(sheet), json.dumps(entry))

    records.audit_from(subject_of(sheet), make)
    return revisions_of(records, sheet)


def revisions_fact(found: Revisions) -> Fact:
    """Return revision, history and changes as plain data."""
    before = found.before
    return {
        "revision": None if found.this is None else found.this.number,
        "changes_from": None if before is None else before.number,
        "changes": [
            {
                "characteristic": each.name,
                "figure": each.figure,
                "unit": each.unit_symbol,
                "before": each.before,
                "after": each.after,
                "process_change": None if each.interval is None else list(each.interval),
                "larger_than_chance": {MORE: True, WITHIN: False}.get(each.words),
                "words": each.words,
            }
            for each in found.changes
        ],
        "revisions": [
            {
                "revision": each.number,
                "who": each.who,
                "why": each.why,
                "utc": each.utc.isoformat(),
                "lots": list(each.lots),
            }
            for each in found.history
        ],
    }


def _contents(entries: tuple[AuditEntry, ...]) -> list[tuple[Revision, Mapping[str, Any]]]:
    found = []
    for each in entries:
        entry = json.loads(each.why)
        if entry.get("format") != _FORMAT:
            raise RecordError("a datasheet was recorded by a newer version. Update coilgate.")
        content = entry["content"]
        revision = Revision(entry["revision"], each.who, entry["why"], each.utc, tuple(content["lots"]))
        found.append((revision, content))
    return found


def _content(sheet: Datasheet) -> dict[str, Any]:
    """What a revision keeps; JSON gives back the very same numbers."""
    content = {
        "lots": list(sheet.lots),
        "plan": sheet.plan_words,
        "coverage": sheet.coverage,
        "confidence": sheet.confidence,
        "provisional": sheet.provisional,
        "figures": {each.name: _figures(each) for each in sheet.lines},
    }
    return dict(json.loads(json.dumps(content)))


def _figures(line: Line) -> dict[str, Any]:
    stated = line.stated
    return {
        "unit": line.unit_symbol,
        "conditions": line.conditions,
        "units": stated.units,
        "U": line.expanded_uncertainty,
        "limits": [stated.minimum_is_limit, False, stated.maximum_is_limit],
        **{figure: getattr(stated, figure) for figure in FIGURES},
        "known": [_kept(getattr(line.known, figure)) for figure in FIGURES],
    }


def _changes(before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[Change, ...]:
    names = list(dict.fromkeys([*before["figures"], *now["figures"]]))
    same = all(before[key] == now[key] for key in ("coverage", "confidence"))
    found = (
        _change(name, place, before["figures"].get(name), now["figures"].get(name), same)
        for name in names
        for place in range(len(FIGURES))
    )
    return tuple(each for each in found if each is not None)


def _change(
    name: str, place: int, old: Mapping[str, Any] | None, new: Mapping[str, Any] | None, same_promise: bool
) -> Change | None:
    """How one figure differs; None if it is printed alike."""
    figure = FIGURES[place]
    either = old if old is not None else new
    unit = str(either["unit"]) if either is not None else "1"
    before, after = (None if each is None else each[figure] for each in (old, new))
    if printed(before, unit) == printed(after, unit):
        return None
    if old is None or new is None or before is None or after is None:
        return Change(name, figure, unit, before, after, None, "now stated" if before is None else "no longer stated")
    if old["limits"][place] or new["limits"][place]:
        return Change(name, figure, unit, before, after, None, "a limit of the control plan")
    if not same_promise and figure != "typical":
        return Change(name, figure, unit, before, after, None, "other coverage or confidence")
    interval = interval_of_change(*(_known(each["known"][place]) for each in (old, new)))
    if interval is None:
        return Change(name, figure, unit, before, after, None, "too few units or lots to say")
    return Change(name, figure, unit, before, after, interval, WITHIN if interval[0] <= 0.0 <= interval[1] else MORE)


def _kept(known: Known | None) -> list[float] | None:
    return None if known is None else [known.estimate, known.low, known.high]


def _known(kept: list[float] | None) -> Known | None:
    return None if kept is None else Known(*kept)
