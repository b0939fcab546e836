"""Who is signed in, and what each request may do.

On the bench's own machine (bound to a loopback address) pages can be read by whoever sits there, and a badge without
an account signs in alone. Reached from elsewhere, every page needs a badge and its secret.
"""

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from station.app.accounts import ROLE_OF_BADGE, Accounts, Role
from station.core.scans import BADGE

IDLE_S = 20 * 60.0
LONGEST_S = 12 * 3600.0
TRIES, TRIES_WITHIN_S = 5, 60.0
"""Wrong sign-ins that an address, or a badge, may make within so long."""


class SignInRefused(Exception):
    """Nobody was signed in; the message can be shown."""


@dataclass(slots=True)
class Session:
    """One browser's sign-in."""

    badge: str
    role: Role
    begun_s: float
    seen_s: float


@dataclass(slots=True)
class Access:
    """All sign-ins of this program; they end with it."""

    accounts: Accounts
    local: bool
    idle_s: float = IDLE_S
    longest_s: float = LONGEST_S
    now_s: Callable[[], float] = time.monotonic
    _sessions: dict[str, Session] = field(default_factory=dict)
    _failures: dict[str, list[float]] = field(default_factory=dict)

    def needs_secret(self, badge: str) -> bool:
        """Tell whether this badge signs in with a secret."""
        return not self.local or self.accounts.find(badge) is not None

    def sign_in(self, badge: str, secret: str, *, address: str) -> str:
        """Return the token of a new session.

        Raises:
            SignInRefused: not a badge, wrong secret, too many tries.
        """
        badge = badge.strip()
        self._require_few_tries(address, badge)
        if not BADGE.fullmatch(badge):
            raise SignInRefused(f"'{badge[:20]}' is no badge. A badge reads like OP-07.")
        role = ROLE_OF_BADGE[badge[:2]]
        if self.needs_secret(badge):
            if not self.accounts.proves(badge, secret):
                for key in (address, badge):
                    self._failures.setdefault(key, []).append(self.now_s())
                raise SignInRefused("Badge and secret do not go together.")
            account = self.accounts.find(badge)
            role = account.role if account else role
        token = secrets.token_urlsafe(32)
        self._sessions[token] = Session(badge, role, self.now_s(), self.now_s())
        return token

    def session(self, token: str, *, touch: bool = True) -> Session | None:
        """Return a session that has not expired; `touch` notes that somebody is there."""
        found = self._sessions.get(token)
        if found is None:
            return None
        now_s = self.now_s()
        if now_s - found.seen_s > self.idle_s or now_s - found.begun_s > self.longest_s:
            self.sign_out(token)
            return None
        if touch:
            found.seen_s = now_s
        return found

    def sign(self, badge: str, secret: str, *, address: str) -> None:
        """Let somebody who is signed in sign one act: with the secret, if the badge has an account.

        Raises:
            SignInRefused: wrong secret, too many tries.
        """
        self._require_few_tries(address, badge)
        if self.accounts.find(badge) is not None and not self.accounts.proves(badge, secret):
            for key in (address, badge):
                self._failures.setdefault(key, []).append(self.now_s())
            raise SignInRefused("Badge and secret do not go together. Nothing was signed.")

    def sign_out(self, token: str) -> None:
        """End a session."""
        self._sessions.pop(token, None)

    def _require_few_tries(self, *keys: str) -> None:
        since_s = self.now_s() - TRIES_WITHIN_S
        if len(self._failures) > 10_000:
            self._failures.clear()
        for key in keys:
            recent = [each for each in self._failures.get(key, []) if each > since_s]
            if len(recent) >= TRIES:
                raise SignInRefused("Too many wrong tries. Wait a minute.")
            if key in self._failures:
                self._failures[key] = recent
