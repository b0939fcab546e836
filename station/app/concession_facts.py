"""Deviation permits and concessions as plain facts."""

from datetime import datetime

from station.app.concessions import Candidate
from station.app.facts import Fact
from station.records.concessions import OnRecord


def concession_fact(found: OnRecord, latest_utc: datetime) -> Fact:
    """Return one, with where it stands; limits SI, unscaled."""
    each = found.granted
    return {
        "number": each.number,
        "kind": each.kind.value,
        "standing": found.standing(latest_utc).value,
        "part": each.part,
        "characteristic": each.characteristic,
        "unit": each.unit_symbol,
        "lower": each.lower,
        "upper": each.upper,
        "lot": each.lot or None,
        "quantity": each.quantity,
        "used": found.used,
        "expires_utc": each.expires_utc.isoformat(),
        "customer_reference": each.customer_reference,
        "why": each.why,
        "who": each.who,
        "granted_utc": each.granted_utc.isoformat(),
        "bin": each.bin_number,
        "bin_name": each.bin_name,
        "ended_why": found.ended_why or None,
    }


def candidate_fact(found: Candidate) -> Fact:
    """Return a failing unit, and why it can't be accepted; None if it can."""
    return {"serial": found.unit.serial, "fits": not found.why_not, "why_not": found.why_not or None}
