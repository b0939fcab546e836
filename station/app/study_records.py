"""Gauge studies on record: audit entries in the station's digest chain, one when a study opens and one a reading.

So a study can be broken off at any point, by a power cut too, and go on where it was; and no reading can be taken out
of it unseen. An entry names the run; the values are the run's own.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from datetime import datetime
from typing import Any

from station.errors import RecordError
from station.quality.study_order import Step
from station.quality.study_state import NotTaken, Studied, StudyKind, StudySetup, StudyState
from station.records import AuditEntry, Records

OPENED = "gauge study opened"
TAKEN = "gauge study reading"
NOT_TAKEN = "gauge study run not measured"
READINGS = (TAKEN, NOT_TAKEN)
"""Actions that come by the hundred: lists of what people did leave them out."""

_FORMAT = 1
_STUDIES = "gauge studies"
"""Subject of every opening; the readings of a study have a subject of their own."""


def open_study(records: Records, setup: StudySetup) -> StudyState:
    """Put a new study on record under the next free name (G0001, ...); the name in `setup` is not looked at.

    One transaction: two programs that open studies at once get two names.
    """
    named: list[StudySetup] = []

    def entry(before: tuple[AuditEntry, ...]) -> AuditEntry:
        found = replace(setup, name=f"G{1 + len(before):04d}")
        named.append(found)
        text = json.dumps({"format": _FORMAT, **asdict(found)}, default=str)
        return AuditEntry(found.opened_utc, found.who, OPENED, _STUDIES, text)

    records.audit_from(_STUDIES, entry)
    return StudyState(named[-1])


def note_reading(records: Records, state: StudyState, step: Step, run_id: str, *, utc: datetime) -> StudyState:
    """Put on record that a step has its reading; return the state after it.

    Raises RecordError if it has one already: another program goes on with the same study.
    """
    _note(records, state, TAKEN, step, {"run": run_id}, utc)
    return replace(state, taken={**state.taken, step: run_id})


def note_not_taken(
    records: Records, state: StudyState, step: Step, run_id: str, code: str, *, utc: datetime
) -> StudyState:
    """Put on record that a run of a step gave no reading, with its cause; return the state after it."""
    _note(records, state, NOT_TAKEN, step, {"run": run_id, "code": code}, utc)
    return replace(state, not_taken=(*state.not_taken, NotTaken(step, run_id, code)))


def studies(records: Records) -> tuple[StudyState, ...]:
    """Return every study on record, in order of opening."""
    return tuple(_state(records, each) for each in _openings(records).values())


def study(records: Records, name: str) -> StudyState:
    """Return one study. Raises RecordError if there is none of this name."""
    openings = _openings(records)
    if name not in openings:
        known = f"On record are {', '.join(openings)}." if openings else "There is none yet."
        raise RecordError(f"gauge study {name[:40]!r} is not on record. {known}")
    return _state(records, openings[name])


def _note(
    records: Records, state: StudyState, action: str, step: Step, more: Mapping[str, str], utc: datetime
) -> None:
    subject = _subject(state.setup.name)

    def entry(before: tuple[AuditEntry, ...]) -> AuditEntry:
        if step in _readings(before)[0]:
            raise RecordError(
                f"study {state.setup.name}: {step.part} by {step.appraiser}, trial {step.trial}, has its reading "
                "already; another program goes on with this study. Begin the sitting again."
            )
        return AuditEntry(utc, step.appraiser, action, subject, json.dumps({"format": _FORMAT, **asdict(step), **more}))

    records.audit_from(subject, entry)


def _subject(name: str) -> str:
    return f"gauge study {name}"


def _openings(records: Records) -> dict[str, AuditEntry]:
    return {str(_read(each)["name"]): each for each in records.audit_entries(subject=_STUDIES)}


def _state(records: Records, opening: AuditEntry) -> StudyState:
    setup = _setup(_read(opening))
    taken, not_taken = _readings(records.audit_entries(subject=_subject(setup.name)))
    return StudyState(setup, taken, not_taken)


def _readings(entries: Iterable[AuditEntry]) -> tuple[dict[Step, str], tuple[NotTaken, ...]]:
    taken: dict[Step, str] = {}
    not_taken: list[NotTaken] = []
    for each in entries:
        entry = _read(each)
        step = Step(entry["appraiser"], entry["trial"], entry["part"])
        if each.action == TAKEN:
            taken.setdefault(step, entry["run"])
        else:
            not_taken.append(NotTaken(step, entry["run"], entry["code"]))
    return taken, tuple(not_taken)


def _read(entry: AuditEntry) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(entry.why)
    if found.get("format") != _FORMAT:
        raise RecordError("a gauge study was recorded by a newer version. Update coilgate.")
    return found


def _setup(entry: Mapping[str, Any]) -> StudySetup:
    plain = {key: value for key, value in entry.items() if key != "format"}
    own = {
        "kind": StudyKind(entry["kind"]),
        "characteristics": tuple(Studied(**each) for each in entry["characteristics"]),
        "units": tuple(entry["units"]),
        "appraisers": tuple(entry["appraisers"]),
        "opened_utc": datetime.fromisoformat(entry["opened_utc"]),
    }
    return StudySetup(**plain | own)
