"""Pages of numbers take turns, so that an operator's scan never waits behind a crowd of them."""

import asyncio

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

AT_ONCE = 1
"""Heavy pages worked on at a time: all of them share one interpreter with the operator's page."""

WAITING = 32
"""Requests that may wait for their turn; one more is sent away rather than kept in memory."""

_AT_THE_BENCH = frozenset(
    ("/", "/events", "/scan", "/stop", "/confirm", "/verify", "/sign-in", "/sign-out", "/clear-latch")
)
_KEYS_AT_THE_BENCH = ("/static/", "/panel/", "/study/")


class Turns:
    """ASGI middleware. What the operator needs passes at once; every other page waits for the one before."""

    def __init__(self, app: ASGIApp, *, closing: asyncio.Event) -> None:
        """Take the next application, and the event that says the end: who waits then is sent away."""
        self._app = app
        self._closing = closing
        self._turn = asyncio.Semaphore(AT_ONCE)
        self._waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, now or when it is its turn, or send it away (503)."""
        if scope["type"] != "http" or _is_at_the_bench(scope["path"]):
            await self._app(scope, receive, send)
            return
        if not await self._wait_for_turn():
            words = "Many pages are asked for at once. Try again in a moment."
            await PlainTextResponse(words, 503, {"retry-after": "2"})(scope, receive, send)
            return
        try:
            await self._app(scope, receive, send)
        finally:
            self._turn.release()

    async def _wait_for_turn(self) -> bool:
        if not self._turn.locked():
            return await self._turn.acquire()
        if self._waiting >= WAITING:
            return False
        self._waiting += 1
        turn = asyncio.ensure_future(self._turn.acquire())
        end = asyncio.ensure_future(self._closing.wait())
        try:
            await asyncio.wait((turn, end), return_when=asyncio.FIRST_COMPLETED)
        except asyncio.CancelledError:
            if not turn.cancel():
                self._turn.release()
            raise
        finally:
            self._waiting -= 1
            end.cancel()
        # A turn that was not taken up would be lost to everybody.
        return turn.done() or not turn.cancel()


def _is_at_the_bench(path: str) -> bool:
    return path in _AT_THE_BENCH or path.startswith(_KEYS_AT_THE_BENCH)
