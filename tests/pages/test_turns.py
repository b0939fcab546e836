"""A crowd of pages: the operator's scan passes it, and what is too much is sent away."""

import asyncio
from collections.abc import Awaitable, Callable

from starlette.types import Message, Receive, Scope, Send

from station.pages.turns import WAITING, Turns


class _Crowd:
    """Sends requests through the turns to an application that answers each heavy page when it is told to."""

    def __init__(self) -> None:
        self.closing = asyncio.Event()
        self.go_on = asyncio.Event()
        self.begun: list[str] = []
        self.at_once = 0
        self.most_at_once = 0
        self.turns = Turns(self._application, closing=self.closing)

    async def _application(self, scope: Scope, receive: Receive, send: Send) -> None:
        self.begun.append(scope["path"])
        if scope["path"].startswith("/lots"):
            self.at_once += 1
            self.most_at_once = max(self.most_at_once, self.at_once)
            await self.go_on.wait()
            self.at_once -= 1
        await send({"type": "http.response.start", "status": 200, "headers": []})

    async def ask(self, path: str) -> int:
        """Ask for a page and return the status of the answer."""
        said: list[int] = []

        async def receive() -> Message:
            return {"type": "http.request", "body": b""}

        async def send(message: Message) -> None:
            if message["type"] == "http.response.start":
                said.append(message["status"])

        await self.turns({"type": "http", "path": path, "headers": []}, receive, send)
        return said[0]


def _in_a_crowd(story: Callable[[_Crowd], Awaitable[None]]) -> None:
    async def play() -> None:
        await story(_Crowd())

    asyncio.run(play())


async def _settle() -> None:
    """Let everything that can go on go on."""
    for _ in range(20):
        await asyncio.sleep(0)


def test_scan_passes_a_crowd_of_pages() -> None:
    """Thirty pages wait for one that takes for ever; scan, stop, keys and the event stream are answered."""

    async def story(crowd: _Crowd) -> None:
        waiting = [asyncio.ensure_future(crowd.ask(f"/lots/L{each}")) for each in range(30)]
        await _settle()
        operators = ("/scan", "/stop", "/events", "/", "/static/bench.js", "/panel/missing", "/study/leave")
        at_the_bench = [asyncio.ensure_future(crowd.ask(each)) for each in operators]
        await _settle()
        at_once = [each.result() for each in at_the_bench if each.done()]
        begun = sum(each.startswith("/lots") for each in crowd.begun)
        crowd.go_on.set()
        answered = [await each for each in waiting]

        assert [200] * len(operators) == at_once
        assert (1, 1) == (begun, crowd.most_at_once)
        assert [200] * 30 == answered

    _in_a_crowd(story)


def test_too_many_waiting_are_sent_away() -> None:
    """One works, so many wait, the rest is told to come again; afterwards there is room."""

    async def story(crowd: _Crowd) -> None:
        asked = [asyncio.ensure_future(crowd.ask("/lots/L1")) for _ in range(WAITING + 9)]
        await _settle()
        sent_away = [each.result() for each in asked if each.done()]
        crowd.go_on.set()
        answered = [await each for each in asked if not each.cancelled()]

        assert [503] * 8 == sent_away
        assert WAITING + 1 == answered.count(200)
        assert 200 == await crowd.ask("/lots/L1")

    _in_a_crowd(story)


def test_who_waits_is_sent_away_at_the_end() -> None:
    """The end of the program does not wait for a queue; the page under way is let finish."""

    async def story(crowd: _Crowd) -> None:
        asked = [asyncio.ensure_future(crowd.ask("/lots/L1")) for _ in range(5)]
        await _settle()
        crowd.closing.set()
        await _settle()
        sent_away = [each.result() for each in asked if each.done()]
        crowd.go_on.set()

        assert ([503] * 4, 200) == (sent_away, await asked[0])

    _in_a_crowd(story)


def test_turn_of_who_gives_up_waiting_is_not_lost() -> None:
    """A request that is cancelled while it waits, or as its turn comes: the next page gets its turn all the same."""

    async def story(crowd: _Crowd) -> None:
        first, second = (asyncio.ensure_future(crowd.ask(f"/lots/L{each}")) for each in (1, 2))
        await _settle()
        second.cancel()
        await _settle()
        crowd.go_on.set()
        answered = await first
        await _settle()
        third = asyncio.ensure_future(crowd.ask("/lots/L3"))
        await _settle()

        assert (200, True) == (answered, third.done())
        assert second.cancelled()

    _in_a_crowd(story)
