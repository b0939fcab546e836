"""What every request passes: the host's name, same origin, size; and what every response says to the browser."""

from collections.abc import Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 1_100_000
"""Bytes: a control plan of the largest size, as a form sends it."""

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # `no-referrer` would make a form say `Origin: null`
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Shield:
    """ASGI middleware. `hosts` are the names that this station answers to; empty: any."""

    def __init__(self, app: ASGIApp, *, hosts: Collection[str] = ()) -> None:
        self._app = app
        self._hosts = frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refusal = self._refusal(Headers(scope=scope), scope["method"])
        if refusal:
            status, words = refusal
            await PlainTextResponse(words, status)(scope, receive, send_with_headers)
            return
        await self._app(scope, receive, send_with_headers)

    def _refusal(self, headers: Headers, method: str) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if self._hosts and host.rsplit(":", 1)[0] not in self._hosts:
            # A name that an attacker's server gives to this machine's address (DNS rebinding).
            return 421, f"This station does not answer to the name {host[:60]!r}."
        if method in ("GET", "HEAD"):
            return None
        origin = headers.get("origin", "")
        if origin not in (f"http://{host}", f"https://{host}"):
            return 403, "This request comes from another site and was refused."
        length = headers.get("content-length", "")
        if not length.isdigit() or int(length) > LARGEST_BODY:
            return 413, "This request is too large, or does not say how large it is."
        return None
