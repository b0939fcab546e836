"""An engineer's signature on what changes what may be used: a badge, and its secret if it has one."""

from pathlib import Path

from station.app.accounts import ROLE_OF_BADGE, AccountError, Accounts, Role
from station.core.scans import BADGE


def needs_secret(home: Path, badge: str) -> bool:
    """Tell whether a badge signs with a secret: as soon as it has an account."""
    return Accounts(home).find(badge) is not None


def signed_by(home: Path, badge: str, secret: str = "", *, role: Role = Role.ENGINEER) -> str:
    """Return the badge of who signs.

    Raises:
        AccountError: no badge, its role may not sign this, or the secret is not its own.
    """
    badge = badge.strip()
    if not BADGE.fullmatch(badge):
        raise AccountError(f"{badge[:20]!r} is no badge. A badge reads like EN-02.")
    accounts = Accounts(home)
    account = accounts.find(badge)
    if account is not None and not accounts.proves(badge, secret):
        raise AccountError(f"badge {badge}: badge and secret do not go together. Nothing was signed.")
    held = account.role if account else ROLE_OF_BADGE[badge[:2]]
    if not held.includes(role):
        raise AccountError(f"badge {badge} is {held}; this is signed by the role {role}.")
    return badge
