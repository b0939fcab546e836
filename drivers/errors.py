"""What can go wrong between us and an instrument.

    InstrumentError
      LinkError               the bytes did not move
        LinkOpenError         the address could not be opened (also OSError)
        LinkTimeout           no complete message within the time allowed (also TimeoutError)
        LinkClosed            the other end is gone (also ConnectionError)
      ReplyError              bytes came, but not what the protocol allows; carries them
      InstrumentReported      the instrument's own error queue spoke
      WrongInstrument         the identity is not the one that the bench file names
      DriveNotOff             output off was ordered and could not be verified

Each message says who, what was asked, what came, what to do, in that order. After a `LinkTimeout` or a
`ReplyError` the link is out of step: nothing read from it counts until it has been quiet.
"""


class InstrumentError(Exception):
    """Root of everything that an instrument or its link can do to us.

    A method that meets one gives "not measured", never a number.
    """


class LinkError(InstrumentError):
    """Bytes could not be moved. You get the subclass where the cause is known."""


class LinkOpenError(LinkError, OSError):
    """The address could not be opened: nothing there, refused, or held by another program."""


class LinkTimeout(LinkError, TimeoutError):
    """No complete message came within the time allowed.

    `partial` is what did come. It is never parsed: the tail of a number is a number too.
    """

    def __init__(self, message: str, *, partial: bytes = b"") -> None:
        super().__init__(message)
        self.partial = partial


class LinkClosed(LinkError, ConnectionError):
    """The other end closed, or the cable is gone. The link is of no more use: open a new one."""


class ReplyError(InstrumentError):
    """A message came that the protocol does not allow (garbled, over-long, unasked for, not ASCII)."""

    def __init__(self, message: str, *, received: bytes = b"") -> None:
        super().__init__(message)
        self.received = received


class InstrumentReported(InstrumentError):
    """The instrument's error queue held an error. `code` is its number, `text` its words."""

    def __init__(self, message: str, *, code: int, text: str) -> None:
        super().__init__(message)
        self.code = code
        self.text = text


class WrongInstrument(InstrumentError):
    """Another instrument than the bench file names answered."""


class DriveNotOff(InstrumentError):
    """Output off could not be verified: the state of the drive is unknown and the bench must latch."""
