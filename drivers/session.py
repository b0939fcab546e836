"""One message exchange at a time, and never out of step.

`Exchange` is what all instruments share, `ScpiSession` what the SCPI ones add.

**In step.** The link is in step while every response that was asked for has been read and nothing else has
come. It is out of step from the moment that an exchange is left early, by whatever exception: then a late
response, or its tail, is still on its way and would be taken for the next unit's. Nothing is sent over a
link that is out of step until it has been quiet and its input thrown away. Input that nobody asked for,
seen before a query, is the same trouble (`ReplyError`).

**Framing.** Neither catches a response that is later than the quiet, or a doubled one that comes a moment
after the look. So a measurement counts only after a closing query of another form has been answered in that
form: on SCPI the error queue, `SYST:ERR?`. If responses are shifted by one, the measurement's query has
taken the stale one and the closing query takes the number; a number is not an error entry, so the shift
always shows, before the reading is handed out. One closing query proves all measurements since the last one
(`drivers.group`). It is no extra cost where the queue must be drained anyway.

**Messages in one go.** What needs no response is sent in the same write as the query that follows it, each
message with its own terminator: less to do for both ends, and no pause between two small packets.
"""

import re
from collections.abc import Sequence

from drivers.dialects import Wire
from drivers.errors import (
    InstrumentError,
    InstrumentReported,
    LinkError,
    LinkTimeout,
    ReplyError,
    WrongInstrument,
)
from drivers.link import Link
from drivers.numbers import parse_value, shown
from drivers.readings import Identity

REPLY_LIMIT = 1024
"""Longest response accepted, in bytes; the longest asked for is an identity (72 by IEEE 488.2)."""

_ERROR_QUERY = "SYST:ERR?"
_NO_ERROR = b'0,"No error"'  # what nearly always comes; saves taking it apart
_ERROR_ENTRY = re.compile(rb'([+-]?\d{1,6}),"((?:[ !#-~]|"")*)"')
_IDENTITY = re.compile(rb"[ -~]+")
_LONGEST_QUEUE = 64


class Exchange:
    """Message exchange over one link, with the guard against being out of step."""

    def __init__(self, link: Link, wire: Wire) -> None:
        self.name = link.name
        self.wire = wire
        self._link = link
        self._in_step = False  # what an earlier client left on the line is not ours

    @property
    def in_step(self) -> bool:
        """Tell whether the next response can only be the next query's."""
        return self._in_step

    def ask(self, message: bytes, *, timeout_s: float | None = None, look_first: bool = True) -> bytes:
        """Send one query and return its response without the terminator.

        `look_first=False` is for protocols that number their responses and so know a late one by themselves.

        Raises:
            ReplyError: input nobody asked for was waiting, or the response is over-long.
            LinkTimeout: no complete response within `timeout_s` (default: the dialect's).
        """
        if look_first or not self._in_step:
            self._get_in_step()
        self._in_step = False
        self._link.write(message + self.wire.terminator_out)
        return self.read_on(timeout_s=timeout_s)

    def read_on(self, *, timeout_s: float | None = None) -> bytes:
        """Return the next message, asked for before or streamed; errors as `ask`."""
        self._in_step = False
        timeout_s = self.wire.timeout_s if timeout_s is None else timeout_s
        reply = self._link.read_until(self.wire.terminator_in, timeout=timeout_s, limit=REPLY_LIMIT)
        self._in_step = True
        return reply

    def discard_waiting(self) -> bytes:
        """Throw away what is here already, and return it: for an instrument that talks unasked."""
        return self._link.discard_input(quiet=0)

    def tell(self, message: bytes) -> None:
        """Send a message that has no response."""
        self._get_in_step()
        self._in_step = False
        self._link.write(message + self.wire.terminator_out)
        self._in_step = True

    def resynchronise(self, *, quiet_s: float | None = None, timeout_s: float = 2.0) -> bytes:
        """Throw input away until the line has been quiet, and return it.

        Raises:
            LinkTimeout: it does not become quiet within `timeout_s`.
        """
        self._in_step = False
        quiet_s = self.wire.quiet_s if quiet_s is None else quiet_s
        discarded = self._link.discard_input(quiet=quiet_s, timeout=timeout_s)
        self._in_step = True
        return discarded

    def send_at_once(self, data: bytes) -> None:
        """Send `data` in step or not; the link is out of step afterwards. For switching a drive off, only."""
        self._in_step = False
        self._link.write(data)

    def refuse(self, message: bytes, problem: object, received: bytes) -> ReplyError:
        """Return the error for a response that is not allowed; the link is out of step from here."""
        self._in_step = False
        return ReplyError(
            f"{self.name}: the response to {_words(message)} cannot be used: {problem}. "
            "Nothing was measured; measure again, and check the cable if it comes back.",
            received=received,
        )

    def close(self) -> None:
        """Let the link go."""
        self._link.close()

    def _get_in_step(self) -> None:
        if not self._in_step:
            self.resynchronise()
            return
        unasked = self._link.discard_input(quiet=0)
        if unasked:
            self._in_step = False
            raise ReplyError(
                f"{self.name}: sent {shown(unasked)} without being asked. "
                "What it sends cannot be told from a response; measure again, and look for a second program "
                "or a doubled line if it comes back.",
                received=unasked,
            )


class ScpiSession:
    """An `Exchange` with an IEEE 488.2 / SCPI-99 instrument: messages as text, error queue, identity."""

    def __init__(self, link: Link, wire: Wire) -> None:
        self.name = link.name
        self.exchange = Exchange(link, wire)
        self._used = False

    def query(self, *messages: str, timeout_s: float | None = None) -> bytes:
        """Send program messages in one go, the last of them with a query; return its response, unparsed."""
        self._recover()
        return self.exchange.ask(self._joined(messages), timeout_s=timeout_s)

    def write(self, *messages: str) -> None:
        """Send program messages without a query in one go; follow a group of them by `check_errors`."""
        self._recover()
        self.exchange.tell(self._joined(messages))

    def check_errors(self, *messages: str) -> None:
        """Send `messages`, then read the error queue until it is empty.

        The closing query of each group of measurements and each configuration.

        Raises:
            InstrumentReported: the queue held an error; all entries are in the message, the first is the
                code.
            ReplyError: what came is no error entry: the responses are shifted.
        """
        self._recover()
        entries = self._drain(self._joined((*messages, _ERROR_QUERY)))
        if not entries:
            return
        told = "; ".join(f'{code},"{text}"' for code, text in entries)
        code, text = entries[0]
        raise InstrumentReported(
            f"{self.name}: asked for its errors, the instrument reported {told}. Nothing was measured; check "
            "that the dialect file suits this instrument and the plan's settings are in its range.",
            code=code,
            text=text,
        )

    def prove(self) -> None:
        """Ask the closing query of a group of measurements; raises as `check_errors`.

        A link that got out of step since is not mended first: then nothing is proved any more.

        Raises:
            InstrumentError: the link is out of step.
        """
        if not self.exchange.in_step:
            raise InstrumentError(
                f"{self.name}: the link got out of step between measurements that belong together. "
                "Nothing was measured; measure again."
            )
        self.check_errors()

    def read_back(self, *messages: str, wanted: float, tolerance: float) -> None:
        """Send `messages`, the last of which asks a setting back; compare the response.

        Args:
            wanted: what the setting should be; `tolerance` is in the setting's own unit too.

        Raises:
            InstrumentError: it reads back otherwise.
            ReplyError: the response is no number.
        """
        reply, query = self.query(*messages), messages[-1]
        try:
            value = parse_value(reply)
        except ReplyError as error:
            raise self.refuse(query, error, reply) from error
        if abs(value - wanted) > tolerance:
            raise InstrumentError(
                f"{self.name}: was set to {wanted:g}; asked '{query}', it answered {shown(reply)}. "
                "The setting did not arrive, or is out of its range; nothing was measured."
            )

    def identity(self) -> Identity:
        """Ask `*IDN?`, then empty the error queue of what earlier clients left there."""
        reply = self.exchange.ask(b"*IDN?")
        self._used = True
        try:
            identity = parse_identity(reply)
        except ReplyError as error:
            raise self.exchange.refuse(b"*IDN?", error, reply) from error
        self._drain()
        return identity

    def clear_errors(self) -> None:
        """Empty the error queue of what belongs to nobody any more."""
        self._recover()
        self._drain()

    def refuse(self, message: str, problem: object, received: bytes) -> ReplyError:
        """Return the error for a response that is not allowed here; the link is out of step from here."""
        return self.exchange.refuse(message.encode("ascii"), problem, received)

    def close(self) -> None:
        """Let the link go."""
        self.exchange.close()

    def _recover(self) -> None:
        """Get in step again; the error entries of what failed before belong to nobody any more."""
        if self.exchange.in_step:
            return
        self.exchange.resynchronise()
        if self._used:
            self._drain()
        self._used = True

    def _joined(self, messages: Sequence[str]) -> bytes:
        if len(messages) == 1:
            return messages[0].encode("ascii")
        return self.exchange.wire.terminator_out.join([each.encode("ascii") for each in messages])

    def _drain(self, message: bytes = _ERROR_QUERY.encode("ascii")) -> list[tuple[int, str]]:
        """Ask `message`, which ends with the query for an error entry; then ask on until the queue is empty."""
        entries: list[tuple[int, str]] = []
        for _ in range(_LONGEST_QUEUE):
            reply = self.exchange.ask(message)
            if reply == _NO_ERROR:
                return entries
            try:
                code, text = parse_error_entry(reply)
            except ReplyError as error:
                raise self.refuse(_ERROR_QUERY, error, reply) from error
            if code == 0:
                return entries
            entries.append((code, text))
            message = _ERROR_QUERY.encode("ascii")
        raise self.refuse(
            _ERROR_QUERY, f"the error queue is not empty after {_LONGEST_QUEUE} entries", reply
        )


def parse_error_entry(reply: bytes) -> tuple[int, str]:
    """Return (number, text) of a response to `SYST:ERR?` (SCPI-1999 vol. 2, 21.8.1), else `ReplyError`."""
    match = _ERROR_ENTRY.fullmatch(reply)
    if match is None:
        raise ReplyError(
            f'an error entry like 0,"No error" was expected; received {shown(reply)}', received=reply
        )
    return int(match[1]), match[2].decode("ascii").replace('""', '"')


def parse_identity(reply: bytes) -> Identity:
    """Return the four fields of an identity (IEEE 488.2-1992, 10.14); `ReplyError` for other forms."""
    fields = reply.decode("ascii").split(",", 3) if _IDENTITY.fullmatch(reply) else []
    if len(fields) != 4 or not fields[0].strip() or not fields[1].strip():
        raise ReplyError(f"maker,model,serial,firmware was expected; received {shown(reply)}", received=reply)
    return Identity(*(field.strip() for field in fields))


def check_identity(name: str, identity: Identity, expected: str) -> None:
    """Raise `WrongInstrument` unless the fields of `expected` (maker, or maker,model, ...) lead `identity`.

    An empty `expected` allows any identity.
    """
    wanted = [field.strip() for field in expected.split(",")] if expected.strip() else []
    have = [identity.maker, identity.model, identity.serial, identity.firmware]
    if have[: len(wanted)] != wanted:
        raise WrongInstrument(
            f"{name}: asked who it is, '{identity}' answered; the bench file names '{expected}'. "
            "Check the address and the cable, or correct the bench file."
        )


def link_lost(error: BaseException) -> bool:
    """Tell whether only opening the link anew can help (closed, or failed otherwise than by a timeout)."""
    return isinstance(error, LinkError) and not isinstance(error, LinkTimeout)


def _words(message: bytes) -> str:
    return repr(message.decode("ascii", "backslashreplace"))
