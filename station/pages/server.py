"""Serves the pages until the station is asked to stop. Signals only set the station's stop token."""

import asyncio
import contextlib
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import uvicorn

from drivers.stop import POLL_S
from station.app.workplace import Workplace
from station.errors import StationError
from station.pages.application import LOOPBACK, make_application
from station.stop import NestStop

GRACEFUL_S = 1
"""An open event stream would keep the server from stopping for ever."""


class ServeError(StationError):
    """The pages can't be served; the message says what to do."""


class _Server(uvicorn.Server):
    """A server that leaves signals to the station: they end the session, and the drive goes off first."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Install nothing."""
        yield


def is_loopback(host: str) -> bool:
    """Tell whether an address can be reached from this machine only."""
    return host in LOOPBACK or host.startswith("127.")


def bind(host: str, port: int) -> socket.socket:
    """Return a socket bound to `host` and `port` (0: any free one).

    Raises:
        ServeError: the port is taken, or the address is not this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    bound = socket.socket(family, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except OSError as error:
        bound.close()
        raise ServeError(f"{host}:{port}: can't be used: {error.strerror or error}. Give another: --port") from error
    return bound


def serve(
    workplace: Workplace, bound: socket.socket, *, local: bool, bench_file: Path | None, ready: Callable[[], object]
) -> None:
    """Serve the pages on a bound socket until the station's stop token says the end.

    Args:
        local: bound to a loopback address.
        ready: called once the pages can be reached.
    """
    application = make_application(workplace, local=local, bench_file=bench_file, hosts=LOOPBACK if local else ())
    config = uvicorn.Config(
        application,
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=GRACEFUL_S,
        timeout_keep_alive=30,
        lifespan="on",
        ws="none",
    )
    asyncio.run(_serve(_Server(config), bound, workplace.station.stop, application.state.closing, ready))


async def _serve(
    server: uvicorn.Server, bound: socket.socket, stop: NestStop, closing: asyncio.Event, ready: Callable[[], object]
) -> None:
    serving = asyncio.ensure_future(server.serve(sockets=[bound]))
    while not server.started and not serving.done():
        await asyncio.sleep(0.01)
    if not serving.done():
        ready()
    while not stop.ended and not serving.done():
        await asyncio.sleep(POLL_S / 2)
    closing.set()  # ends the event streams, which would else be waited for
    server.should_exit = True
    await serving
