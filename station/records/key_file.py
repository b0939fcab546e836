"""The key of the digest chains: a file in the home, outside the database, readable by its owner only."""

import hashlib
import os
import secrets
from pathlib import Path

from station.errors import RecordError

KEY_FILE_NAME = "records.key"
_KEY_BYTES = 32


def read_key(home: Path) -> bytes | None:
    """Return the key kept in `home`, or None if there is none.

    Raises:
        RecordError: the file can't be read, or holds something else.
    """
    path = home / KEY_FILE_NAME
    try:
        text = path.read_text("ascii")
        key = bytes.fromhex(text.strip())
    except FileNotFoundError:
        return None
    except OSError as error:
        raise RecordError(f"{path}: the key can't be read ({error.strerror}). Check its owner.") from error
    except ValueError:
        key = b""
    if len(key) != _KEY_BYTES:
        raise RecordError(f"{path}: not a key ({2 * _KEY_BYTES} hex digits). Restore it from a backup.")
    return key


def make_key(home: Path) -> bytes:
    """Make the key of `home`, mode 0600, and return it; if another process was first, return that one's.

    Raises:
        RecordError: the file can't be written.
    """
    path = home / KEY_FILE_NAME
    draft = home / f".{KEY_FILE_NAME}.{os.getpid()}.{secrets.token_hex(4)}"
    try:
        _write_private(draft, secrets.token_hex(_KEY_BYTES) + "\n")
        try:
            # A link appears whole or not at all, and never replaces a key that is there.
            os.link(draft, path)
        except FileExistsError:
            pass
        finally:
            draft.unlink()
    except OSError as error:
        raise RecordError(f"{path}: the key can't be written ({error.strerror}).") from error
    key = read_key(home)
    if key is None:
        raise RecordError(f"{path}: the key was removed while it was made. Try again.")
    return key


def fingerprint(key: bytes) -> str:
    """Return what tells one key from another and gives neither away (first half of a SHA-256, hex)."""
    return hashlib.sha256(b"coilgate key 1:" + key).hexdigest()[:32]


def _write_private(path: Path, text: str) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
