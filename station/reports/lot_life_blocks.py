"""A lot's life on paper: where it stands, whether its numbers add up, each closing bin by bin."""

from collections.abc import Iterator

from station.core.lot_life import Closing, LotState
from station.core.lot_tally import LotNow, missing_of, missing_words, never_words, place_words
from station.reports.document import Block, Facts, Heading, Paragraph, Table


def life_blocks(now: LotNow) -> Iterator[Block]:
    """Yield nothing for a lot that nothing was entered of: then there is nothing to add up to."""
    if not now.life.events:
        return
    found = now.tally
    yield Heading("State and reconciliation")
    received = "not on record" if found.received is None else str(found.received)
    yield Facts(
        (
            ("State", now.state.value + _state_words(now)),
            ("Received", received),
            ("Passed + failed + held", f"{found.passed} + {found.failed} + {found.held}"),
            ("Accepted by concession", str(found.conceded)),
            ("Scrapped", str(found.scrapped)),
            ("Not measured", f"{found.not_measured}, of these {never_words(found) or '0 never'}"),
            ("In all", f"{found.total}{_surplus(found.surplus)}"),
        )
    )
    if found.missing:
        yield Paragraph(missing_words(found))
    yield Paragraph(
        "Population: all units of the lot, each once, by the latest decision on its latest decided production run. A "
        "unit counts as the first of these that it is: scrapped, held, accepted by concession, passed, failed, not "
        "measured; so a held unit is no fail here, and is one in the counts above if its decision says so."
    )
    for closing in now.life.closings:
        yield from _closing(now, closing)
    if now.since_closing:
        words = "; ".join(f"{place_words(e)}: {e.recorded} then, {e.counted} now" for e in now.since_closing)
        yield Paragraph(f"Since the lot was closed its records have changed: {words}.")


def _closing(now: LotNow, closing: Closing) -> Iterator[Block]:
    event = closing.event
    what = "the whole lot" if closing.whole else f"a part, {len(event.serials)} units"
    missing = missing_of(now.life, closing)
    rows = tuple(
        (place_words(each), str(each.recorded), str(each.counted), f"{each.difference:+d}" if each.difference else "0")
        for each in event.counts
    )
    yield Paragraph(f"Closing {closing.number}, {what}: {event.who}, {event.utc:%Y-%m-%d %H:%M} UTC.")
    yield Table(("place", "on record", "counted", "difference"), rows)
    words = [f"In all {abs(missing)} {'fewer' if missing > 0 else 'more'} counted than received."] if missing else []
    words += [f"Reason: {event.why}"] if event.why else []
    if words:
        yield Paragraph(" ".join(words))


def _state_words(now: LotNow) -> str:
    if now.state is LotState.HELD and now.life.hold is not None:
        return f": {now.life.hold.why}"
    return f"; {now.tally.closed} units of it closed in parts" if now.tally.closed else ""


def _surplus(surplus: int) -> str:
    return f": {surplus} more on record than received" if surplus else ""
