"""Waiting on descriptors, by poll and by select."""

import fcntl
import os
import resource
import socket
import sys
from collections.abc import Iterator

import pytest

from drivers.links.ready import wait_for_input, wait_for_room


@pytest.fixture(params=["linux", "darwin"])
def pipe(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[int, int]]:
    """Give both ends of an empty pipe; waits go by poll, or by select as on macOS."""
    monkeypatch.setattr(sys, "platform", request.param)
    near, far = os.pipe()
    os.set_blocking(far, False)
    yield near, far
    os.close(near)
    os.close(far)


def test_wait_for_input_tells_whether_bytes_are_here(pipe: tuple[int, int]) -> None:
    """Nothing there is False after the wait, a byte is True."""
    near, far = pipe
    wait = wait_for_input(near)

    assert not wait(0.01)
    os.write(far, b"1")
    assert wait(5.0)


def test_wait_for_room_tells_whether_bytes_are_taken(pipe: tuple[int, int]) -> None:
    """An empty pipe takes bytes, a full one doesn't."""
    _, far = pipe
    wait = wait_for_room(far)

    assert wait(5.0)
    while True:
        try:
            os.write(far, bytes(65_536))
        except BlockingIOError:
            break
    assert not wait(0.01)


def test_waits_take_descriptors_of_any_number() -> None:
    """A descriptor above 1023, where select ends, is waited on like any other."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, 2048), hard))
    near, far = socket.socketpair()
    try:
        high = socket.socket(fileno=fcntl.fcntl(near.fileno(), fcntl.F_DUPFD, 1500))
        far.send(b"1")

        assert wait_for_input(high.fileno())(5.0)
        assert wait_for_room(high.fileno())(5.0)
        high.close()
    finally:
        near.close()
        far.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
