"""The operator's live board: what is drawn of `Shown`, and the event stream that keeps browsers up to date.

The stream sends the whole board each time it changes, numbered. A browser that comes back says which number it saw
last and gets what is shown now if that is another: nothing can be missed, because the board is the sum of its events.
"""

import asyncio
import json
import secrets
from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import UTC, datetime

from jinja2 import Environment
from markupsafe import Markup

from station.app.shown import Shown
from station.app.study_begin import words_of_study
from station.app.study_desk import words_of_turn
from station.app.workplace import Workplace
from station.core.board import Phase
from station.core.events import NestHot, ReadingTaken
from station.core.limits import judge
from station.core.results import Decision, Judgement, Result
from station.errors import StationError
from station.pages import svg
from station.pages.drawings import field_profile, heating_curve, heating_words, panel_map, panel_words, spread
from station.pages.words import KINDS, WORDS, clock_time, shape, to_the_second

BOOT = secrets.token_hex(4)
"""Tells this program's numbers from those of the one before it."""

ALIVE_S = 1.0
"""How often the stream says that it is there; a browser that hears nothing for 3 s dims what it shows."""


@dataclass(frozen=True, slots=True)
class Line:
    """One characteristic on the board."""

    name: str
    result: Result | None
    judgement: Judgement | None
    ruler: Markup
    reading: ReadingTaken | None = None
    """The last single reading, while there is no result."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The big tile: `kind` is a class of the style sheet and names the shape."""

    kind: str
    words: str
    place: str = ""
    """The bin."""
    because: str = ""


def verdict(shown: Shown, *, signed_in: bool = True) -> Verdict:
    """Return what the big tile says: the decision, else whether a unit may be loaded."""
    board = shown.board
    if board.latched:
        return Verdict("invalid", "bench latched", because=board.latched)
    if board.decided is not None:
        found = board.decided
        because = found.reason.words.replace("ohm", "Ω") if found.reason is not None else ""
        place = f"Bin {found.bin_number} · {found.bin_name}"
        return Verdict("held" if found.held else KINDS[found.decision], WORDS[found.decision], place, because)
    if board.hot is not None and not board.hot.driven:
        return Verdict("hot", "hot")
    if board.verifying:
        return Verdict("action", "verifying")
    if board.phase is Phase.LOADING:
        return Verdict("action", "load")
    if board.phase is Phase.MEASURING:
        if shown.confirm:
            return Verdict("action", "your hand")
        return Verdict("driven", "driving") if shown.driven else Verdict("action", "measuring")
    if shown.study is not None:
        step = shown.study.step
        return Verdict("action", "scan", "your badge" if step is None else step.part)
    if not signed_in:
        return Verdict("action", "sign in")
    against = shown.stands_against(datetime.now(UTC))
    if against is not None:
        return Verdict("invalid", "not ready", because=against.words)
    if shown.panel is not None and shown.panel.next is not None:
        return Verdict("action", shown.panel.next.name, f"next on panel {shown.panel.panel}")
    return Verdict("action", "scan")


def next_words(shown: Shown, *, signed_in: bool) -> str:
    """Return the one next action."""
    board = shown.board
    if board.latched:
        return "Do not touch the coil. Switch the source off by hand, then call the engineer."
    if board.hot is not None and not board.hot.driven and board.decided is None:
        return "Hands off: the coil cools."
    if board.action and not (shown.panel and board.phase is Phase.DECIDED):
        return _by_key(board.action)
    if shown.bench is None:
        return "Open a bench."
    if shown.study is not None:
        return words_of_turn(shown.study)
    if not signed_in:
        return "Scan your badge."
    against = shown.stands_against(datetime.now(UTC))
    if against is not None:
        remedy = "" if against.remedy in board.action else against.remedy.replace(", then scan again", "")
        return _by_key(" ".join((board.action, remedy)).strip())
    if shown.panel is not None:
        return " ".join((board.action, panel_words(shown.panel))).strip()
    return "Scan a unit." if shown.lot else "Scan the lot's traveller, or the first unit."


def _by_key(words_said: str) -> str:
    """On this page the reference units are one key away."""
    return words_said.replace("Run the reference units", "Press Verify bench (F9) to run the reference units", 1)


def hot_words(hot: NestHot) -> str:
    """Return the caution of a hot nest: until when nobody may touch the coil, by the thermometer and by the clock."""
    now = "" if hot.reads_degc is None else f" (now {hot.reads_degc:.0f} °C)"
    by_reading = f"the nest reads below {hot.touch_limit_degc:g} °C{now}"
    if hot.cool_by_utc is None:
        return f"Do not touch the coil until {by_reading} and this note is gone."
    by_clock = to_the_second(hot.cool_by_utc)
    if not hot.driven and hot.reads_degc is None:
        return f"Do not touch the coil until {by_clock}: no thermometer can tell that it is cool earlier."
    return f"Do not touch the coil until {by_reading}; at {by_clock} at the latest."


def verified_words(shown: Shown) -> tuple[str, str]:
    """Return the class and the words that say whether the bench is verified, and until when."""
    against = shown.stands_against(datetime.now(UTC))
    found = shown.verification
    if against is not None:
        return ("fail" if against.code == "verification_failed" else "invalid"), against.words
    if found is None:
        return "invalid", "not verified"
    until, left = found.verified_until_utc, found.unit_limit - shown.units_since
    return "pass", f"verified until {clock_time(until)} · {left} units left"


def lines(shown: Shown) -> list[Line]:
    """Return each characteristic of the plan with its result so far."""
    plan = shown.plan
    by_name = {each.characteristic: each for each in shown.board.results}
    readings = {each.characteristic: each for each in shown.board.readings}
    if plan is None:
        return []
    made = []
    for each in plan.characteristics:
        found = by_name.get(each.name)
        judged = None if found is None else judge(each, found)
        value = None if found is None else found.value
        u95 = None if found is None else found.expanded_uncertainty
        title = f"{each.name} between its limits" if found else f"{each.name}: no result yet"
        ruler = svg.ruler(value, u95, (each.lower, each.upper), title=title)
        reading = None if found is not None or shown.board.decided else readings.get(each.name)
        made.append(Line(each.name, found, judged, ruler, reading))
    return made


def board_html(templates: Environment, shown: Shown, *, signed_in: bool) -> str:
    """Return the live part of the operator's page."""
    kind, words_said = verified_words(shown)
    return templates.get_template("board.html").render(
        shown=shown,
        board=shown.board,
        verdict=verdict(shown, signed_in=signed_in),
        next_words=next_words(shown, signed_in=signed_in),
        lines=lines(shown),
        profile=field_profile(shown.plan, shown.board.results, taken=shown.board.field),
        spread=spread(shown),
        curve=heating_curve(shown),
        curve_words=heating_words(shown),
        panel_map=panel_map(shown.panel),
        study_words="" if shown.study is None else words_of_study(shown.study.state),
        hot="" if shown.board.hot is None else hot_words(shown.board.hot),
        verified_kind=kind,
        verified=words_said,
        Decision=Decision,
        shape=shape,
    )


def spoken(shown: Shown) -> str:
    """Return what a screen reader says of a change."""
    board = shown.board
    if board.notice:
        return f"Refused. {board.notice}"
    if board.hot is not None and not board.hot.driven and board.decided is None:
        return "The coil is hot. Do not touch it."
    said = board.action
    if board.decided is not None:
        said = f"{board.serial}: {WORDS[board.decided.decision]}. {board.action}"
    if shown.panel is not None and not board.busy:
        said = " ".join(filter(None, (said, shown.panel_said, panel_words(shown.panel))))
    return said


async def stream(
    workplace: Workplace, templates: Environment, last_id: str, *, signed_in: bool, still_there: "asyncio.Event"
) -> AsyncIterator[str]:
    """Yield server-sent events: the board on every change, and a sign of life each second."""
    loop = asyncio.get_running_loop()
    changed = asyncio.Event()
    unsubscribe = workplace.subscribe(lambda: _wake(loop, changed))
    seen = last_id
    try:
        yield "retry: 500\n\n"
        while not still_there.is_set():
            changed.clear()
            shown = workplace.shown
            now = f"{BOOT}-{shown.version}"
            if now != seen:
                seen = now
                yield _event(now, board_html(templates, shown, signed_in=signed_in), spoken(shown), shown)
            try:
                await asyncio.wait_for(changed.wait(), ALIVE_S)
            except TimeoutError:
                yield "event: alive\ndata: 1\n\n"
    finally:
        unsubscribe()


def _wake(loop: asyncio.AbstractEventLoop, changed: asyncio.Event) -> None:
    try:
        loop.call_soon_threadsafe(changed.set)
    except RuntimeError as error:  # the server has ended and nobody listens any more
        if not loop.is_closed():
            raise StationError(str(error)) from error


def _asked(shown: Shown) -> dict[str, str | bool]:
    """Which keys there are besides the scan, and the serial of the place that they are about."""
    due = None if shown.panel is None else shown.panel.next
    at = "" if due is None else due.serial
    return {"confirm": shown.confirm, "panel": shown.panel is not None, "at": at, "study": shown.study is not None}


def _event(number: str, html: str, say: str, shown: Shown) -> str:
    data = json.dumps({"html": html, "say": say, "refusals": shown.board.refusals} | _asked(shown))
    return f"id: {number}\nevent: board\ndata: {data}\n\n"
