"""Who may sign in with which role: badges with hashed secrets, in one file of the home folder.

Secrets are kept as scrypt hashes (RFC 7914; N = 2^14, r = 8, p = 1: 16 MB and some 50 ms a try). On the bench's own
machine a badge alone is enough as long as it has no account; see `station.pages.access`.
"""

import hashlib
import hmac
import json
import os
import secrets
from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path

from station.core.scans import BADGE
from station.errors import StationError

FEWEST_CHARACTERS = 10
_COST, _BLOCK, _PARALLEL = 2**14, 8, 1


class AccountError(StationError):
    """An account can't be made or read; the message says what to do."""


class Role(StrEnum):
    """What somebody may do; each may do what those before may."""

    VIEWER = "viewer"
    OPERATOR = "operator"
    ENGINEER = "engineer"

    def includes(self, other: "Role") -> bool:
        """Tell whether this role may do what `other` may."""
        order = list(Role)
        return order.index(self) >= order.index(other)


ROLE_OF_BADGE = {"OP": Role.OPERATOR, "EN": Role.ENGINEER, "VI": Role.VIEWER}


@dataclass(frozen=True, slots=True)
class Account:
    """One badge. `salt` and `digest` are hexadecimal."""

    badge: str
    role: Role
    salt: str
    digest: str


class Accounts:
    """The accounts in a home folder; read anew on each question, so that a new one works at once."""

    def __init__(self, home: Path) -> None:
        self._path = home / "accounts.json"

    def find(self, badge: str) -> Account | None:
        """Return a badge's account, or None."""
        return self._read().get(badge)

    def every(self) -> tuple[Account, ...]:
        """Return all accounts, in order of badge."""
        return tuple(sorted(self._read().values(), key=lambda each: each.badge))

    def add(self, badge: str, role: Role, secret: str) -> None:
        """Make or replace an account.

        Raises:
            AccountError: no badge code, or too short a secret.
        """
        if not BADGE.fullmatch(badge):
            raise AccountError(f"badge {badge[:20]!r}: must read like OP-07, EN-02 or VI-01.")
        if len(secret) < FEWEST_CHARACTERS:
            raise AccountError(f"badge {badge}: the secret must have {FEWEST_CHARACTERS} characters or more.")
        salt = secrets.token_bytes(16)
        self._write(self._read() | {badge: Account(badge, role, salt.hex(), _digest(secret, salt).hex())})

    def remove(self, badge: str) -> None:
        """Remove an account. Raises `AccountError` if there is none."""
        accounts = self._read()
        if badge not in accounts:
            raise AccountError(f"badge {badge[:20]!r} has no account.")
        del accounts[badge]
        self._write(accounts)

    def proves(self, badge: str, secret: str) -> bool:
        """Tell whether `secret` is the badge's; takes as long for a badge that has no account."""
        account = self.find(badge)
        salt = bytes.fromhex(account.salt) if account else b"0" * 16
        found = _digest(secret, salt)
        return account is not None and hmac.compare_digest(found, bytes.fromhex(account.digest))

    def _read(self) -> dict[str, Account]:
        try:
            rows = json.loads(self._path.read_text(encoding="utf-8"))
            return {row["badge"]: Account(**row | {"role": Role(row["role"])}) for row in rows}
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, TypeError, KeyError) as error:
            raise AccountError(f"{self._path}: can't be read as accounts: {error}. Restore it.") from error

    def _write(self, accounts: dict[str, Account]) -> None:
        unfinished = self._path.with_suffix(".part")
        try:
            unfinished.unlink(missing_ok=True)
            descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "w", encoding="utf-8") as stream:
                json.dump([asdict(each) for each in accounts.values()], stream, indent=1)
            unfinished.replace(self._path)
        except OSError as error:
            raise AccountError(f"{self._path}: can't be written: {error.strerror or error}.") from error


def _digest(secret: str, salt: bytes) -> bytes:
    return hashlib.scrypt(secret.encode(), salt=salt, n=_COST, r=_BLOCK, p=_PARALLEL)
