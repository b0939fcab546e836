"""A lot's life in words and as a fact for JSON: state, reconciliation, closings, what happened."""

from station.cli.output import table
from station.core.lot_life import Closing, LotEvent, LotState
from station.core.lot_tally import HELD_PLACE, LotNow, missing_of, missing_words, never_words, place_words

POPULATION = (
    "all units of the lot: received, on record or scrapped, each once, by the latest decision on its latest "
    "decided production run"
)
_COUNTS = ("passed", "failed", "held", "conceded", "scrapped", "not_measured")


def life_text(now: LotNow) -> str:
    """Return where the lot stands, how its numbers add up, what lies where, and the closings that stand."""
    life, found = now.life, now.tally
    received = "received: not on record" if found.received is None else f"{found.received} received"
    lines = [f"State: {now.state.value}{_state_words(now)}. {received}{f', part {life.part}' if life.part else ''}."]
    sums = ", ".join(f"{getattr(found, name)} {name.replace('_', ' ')}" for name in _COUNTS)
    never = f" (of these {never_words(found)})" if found.never_measured else ""
    lines.append(f"Each once: {sums}{never}; {found.total} in all.")
    if found.missing:
        lines.append(missing_words(found))
    if found.surplus:
        lines.append(f"{found.surplus} more on record than received: look for a wrong label, or correct the receipt.")
    if now.state is not LotState.CLOSED:
        shown = (each for each in found.places if each.recorded or not _special(each.place))
        rows = [(place_words(each), str(each.recorded)) for each in shown]
        lines += ["", table(("to be counted", "on record"), rows)]
    for closing in life.closings:
        lines += ["", closing_text(now, closing)]
    if now.since_closing:
        words = "; ".join(f"{place_words(e)}: {e.recorded} then, {e.counted} now" for e in now.since_closing)
        lines.append(f"Since it was closed the records have changed: {words}.")
    return "\n".join(lines)


def closing_text(now: LotNow, closing: Closing) -> str:
    """Return one closing, bin by bin."""
    event = closing.event
    what = "the whole lot" if closing.whole else f"a part, {len(event.serials)} units"
    lines = [f"Closing {closing.number}: {what}, by {event.who} at {event.utc:%Y-%m-%d %H:%M} UTC."]
    rows = [
        (place_words(each), str(each.recorded), str(each.counted), f"{each.difference:+d}" if each.difference else "0")
        for each in event.counts
    ]
    lines.append(table(("place", "on record", "counted", "difference"), rows))
    missing = missing_of(now.life, closing)
    if missing:
        lines.append(f"In all {abs(missing)} {'fewer' if missing > 0 else 'more'} counted than received.")
    if event.why:
        lines.append(f"Reason: {event.why}")
    return "\n".join(lines)


def life_fact(now: LotNow) -> dict[str, object]:
    """Return a lot's state and reconciliation."""
    life, found = now.life, now.tally
    return {
        "lot": life.lot,
        "state": now.state.value,
        "part": life.part or None,
        "received": found.received,
        **{name: getattr(found, name) for name in _COUNTS},
        "never_measured": found.never_measured,
        "missing_places": found.missing,
        "missing_received": found.missing_received,
        "total": found.total,
        "surplus": found.surplus,
        "closed_in_parts": found.closed,
        "held_for": None if life.hold is None else life.hold.why,
        "places": [{"place": e.place, "name": e.name, "on_record": e.recorded} for e in found.places],
        "closings": [_closing_fact(now, each) for each in life.closings],
        "since_closing": [{"place": e.place, "then": e.recorded, "now": e.counted} for e in now.since_closing],
        "events": [_event_fact(each) for each in life.events],
        "population": POPULATION,
    }


def _closing_fact(now: LotNow, closing: Closing) -> dict[str, object]:
    event = closing.event
    return {
        "closing": closing.number,
        "whole": closing.whole,
        "who": event.who,
        "utc": event.utc.isoformat(),
        "counts": [
            {"place": e.place, "on_record": e.recorded, "counted": e.counted, "difference": e.difference}
            for e in event.counts
        ],
        "missing": missing_of(now.life, closing),
        "units": len(event.serials),
        "why": event.why or None,
    }


def _event_fact(event: LotEvent) -> dict[str, object]:
    return {
        "event": event.change.value,
        "who": event.who,
        "utc": event.utc.isoformat(),
        "quantity": event.quantity or None,
        "units": len(event.serials) or None,
        "why": event.why or None,
    }


def _state_words(now: LotNow) -> str:
    life = now.life
    if now.state is LotState.HELD and life.hold is not None:
        return f", by {life.hold.who}: {life.hold.why}"
    if now.state is LotState.CLOSED and life.closed is not None:
        return f" on {life.closed.event.utc:%Y-%m-%d}, by {life.closed.event.who}"
    return f", {now.tally.closed} units of it closed in parts" if now.tally.closed else ""


def _special(place: str) -> bool:
    return not place.isdecimal() and place != HELD_PLACE
